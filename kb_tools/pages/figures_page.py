"""Tables of figures on pages: a page for each, and where a content page asks for one.

A content page asks by a comment on a line of its own: `<!-- figures: proof-load-torque -->` for a
table, `<!-- figures -->` for a list of all, `<!-- caution: live-harness -->` for a caution of the
library. Its links to rows are written as in any text: `[M6](figure:proof-load-torque/m6-8-8)`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from markupsafe import Markup, escape

from kb_tools.model.figures import NONE, SCHEME, converted, figure_of, marks_of
from kb_tools.model.units import shown_unit
from kb_tools.pages.panels import panels_of
from kb_tools.pages.render import marked, render
from kb_tools.pages.rich_text import FIGURES, figure_address, html, inline
from kb_tools.pages.words import words_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from kb_tools.model.entities import FigureColumn, FigureRow, FigureTable, Library
    from kb_tools.pages.words import Words

_MARK = re.compile(r"(?:<p>\s*)?<!--\s*(?P<what>figures|caution)(?:\s*:\s*(?P<id>[^\s<>]+))?\s*-->(?:\s*</p>)?")
_LINK = re.compile(rf'href="{SCHEME}:(?P<table>[^"/#]*)(?:/(?P<row>[^"]*))?"')
_TITLE = re.compile(r"^# +(.+?)\s*#*$", re.MULTILINE)
_SHORT = 12
_SENTENCE = 40


@dataclass(frozen=True, slots=True)
class RowView:
    """A row as a page shows it."""

    id: str
    anchor: str
    title: str
    note: Markup | str
    cells: list[str]
    source: int
    """The number of its source, from 1."""


@dataclass(frozen=True, slots=True)
class FiguresView:
    """A table of figures as a page shows it."""

    id: str
    title: str
    head: str
    of_maker: bool
    note: Markup | str
    formula: Markup | str
    disagree: Markup | str
    columns: list[tuple[str, str]]
    """Title, and the units that its figures are in."""
    rows: list[RowView]
    sources: list[Markup]
    """Each source once, in the order of the rows."""

    @property
    def has_long_titles(self) -> bool:
        """Whether its rows are named by more than a size or a number."""
        return any(len(row.title) > _SHORT for row in self.rows)

    @property
    def is_of_words(self) -> bool:
        """Whether it holds sentences, which no column of a phone has room for."""
        return any(len(cell) > _SENTENCE for row in self.rows for cell in row.cells)


def figures_view(table: FigureTable, root: str, words: Words) -> FiguresView:
    """Return what a page shows of a table.

    Args:
        table: The table.
        root: What leads from the page to the site's root.
        words: The words of the library's language.

    """
    sources = list(dict.fromkeys(str(row.source) for row in table.rows.values()))
    return FiguresView(
        table.id,
        table.title,
        table.head,
        table.of_maker,
        html(table.note, root) if table.note else "",
        inline(table.formula, root) if table.formula else "",
        inline(table.disagree, root) if table.disagree else "",
        [(str(column.title), _units(column)) for column in table.columns.values()],
        [
            RowView(
                name,
                f"{table.id}-{name}",
                row.title,
                inline(row.note, root) if row.note else "",
                [_cell(row, name, column, words) for name, column in table.columns.items()],
                sources.index(str(row.source)) + 1,
            )
            for name, row in table.rows.items()
        ],
        [inline(source, root) for source in sources],
    )


def _units(column: FigureColumn) -> str:
    unit = shown_unit(column.unit) if column.unit else ""
    return f"{unit} ({shown_unit(column.also)})" if column.also and unit else unit


def _cell(row: FigureRow, name: str, column: FigureColumn, words: Words) -> str:
    """Return a cell's text: its words, or its figure and in brackets the same in the second unit."""
    cell = row.values.get(name)  # type: ignore[call-overload]
    if cell is None or (column.unit and cell == NONE):
        return "\N{EN DASH}"
    figure = figure_of(cell) if column.unit else None
    if figure is None:
        return str(cell)
    if not column.also:
        return _range(*figure, words)
    return f"{_range(*figure, words)} ({_range(*converted(figure, str(column.unit), column.also), words)})"


def _range(low: str, high: str, words: Words) -> str:
    low, high = (end.replace("-", "\N{MINUS SIGN}") for end in (low, high))
    return low if low == high else words.say("tables.range", low=low, high=high)


def figures_page(table: FigureTable, shown_on: Iterable[tuple[str, str]], words: Words) -> Markup:
    """Return the page of one table.

    Args:
        table: The table.
        shown_on: Title and address, from the site's root, of the content pages that show it.
        words: The words of the library's language.

    """
    others = [(title, f"../{address}") for title, address in shown_on]
    return render("figures-page", words, table=figures_view(table, "../", words), own_page=True, shown_on=others)


def figures_html(library: Library) -> Markup:
    """Return all tables of a library one below the other, makers' own first, for a page at the site's root."""
    words = words_of(library)
    return Markup("\n").join(
        render("figures", words, table=figures_view(table, "", words), own_page=False)
        for table in _listed(library.figures)
    )


def pages_that_show(pages: Iterable[tuple[str, str]]) -> dict[str, list[tuple[str, str]]]:
    """Return for each table the content pages that ask for it: their titles and addresses.

    Args:
        pages: Path below content/ and Markdown of each content page.

    """
    found: dict[str, list[tuple[str, str]]] = {}
    for path, text in pages:
        for mark in marks_of(text):
            if mark.what == "figures" and mark.name:
                title = _TITLE.search(text)
                entry = (title[1] if title else path.removesuffix(".md"), f"{path.removesuffix('.md')}.html")
                shown = found.setdefault(mark.name, [])
                if entry not in shown:
                    shown.append(entry)
    return found


def with_figures(content: str, library: Library, root: str) -> str:
    """Return a content page's HTML with the tables and cautions that it asks for, and links to rows that lead there.

    Args:
        content: The page's HTML.
        library: The library.
        root: What leads from the page to the site's root.

    """
    if "<!--" not in content and f'"{SCHEME}:' not in content:
        return content
    here = {mark["id"] for mark in _MARK.finditer(content) if mark["what"] == "figures" and mark["id"]}
    filled = _MARK.sub(lambda mark: str(_filled(mark["what"], mark["id"] or "", library, root)), content)
    return _LINK.sub(lambda link: _link(link["table"], link["row"] or "", here, root), filled)


def _filled(what: str, name: str, library: Library, root: str) -> Markup:
    """Return what stands in the place of a mark."""
    words = words_of(library)
    if what == "caution":
        if name in library.cautions:
            known = [word for word in library.cautions if word == name]
            return render("caution", words, panels=panels_of(known, library, root))
    elif not name:
        return render("figures-list", words, tables=_listed(library.figures), root=f"{root}{FIGURES}")
    elif name in library.figures:
        return render("figures", words, table=figures_view(library.figures[name], root, words), own_page=False)
    told = marked(words.text("tables.no_caution" if what == "caution" else "tables.no_table"))
    return Markup("<p><strong>{}</strong></p>").format(told.format(name=name))


def _listed(tables: Mapping[str, FigureTable]) -> list[FigureTable]:
    """Return the tables, makers' own first."""
    return sorted(tables.values(), key=lambda table: not table.of_maker)


def _link(table: str, row: str, here: set[str], root: str) -> str:
    address = figure_address(f"{table}/{row}" if row else table)
    within = "#" + address.partition("#")[2]
    return f'href="{escape(within if table in here else root + address)}"'
