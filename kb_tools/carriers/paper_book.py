"""What the book on paper shows: the data of the tree pages, with places to go to instead of addresses."""

from __future__ import annotations

import dataclasses
import re
import unicodedata
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from kb_tools.carriers.paper_drawings import paper_drawings
from kb_tools.pages.figures_page import figures_view
from kb_tools.pages.index_pages import indexes
from kb_tools.pages.rich_text import FIGURES, html, read_back
from kb_tools.pages.tree_page import ROOT, chart_of, minutes_told, tree_page

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from datetime import date
    from pathlib import Path

    from kb_tools.carriers.paper_drawings import PaperDrawing
    from kb_tools.model.entities import FigureTable, Settings, Tree
    from kb_tools.pages.site_pages import SitePages
    from kb_tools.pages.tree_page import StepView, TreePage, WayView
    from kb_tools.pages.words import Words
    from kb_tools.rules.contract import Subject

PRINTED_PICTURES = (".svg", ".png", ".jpg", ".jpeg", ".gif", ".webp")
"""What the typesetter can print; of other pictures the text alternative stands in the book."""

_FIGURE = re.compile(rf"(?:\.\./)?{FIGURES}/(?P<table>[a-z0-9-]+)\.html(?:#(?P<row>.*))?")
_GROUPS = frozenset(("paper", "step", "tables", "legend", "tree"))
"""The groups of words that the template takes texts from."""
_BLOCKS = re.compile(r"\s*<(?:p|ul|ol|h[456]|blockquote|table)\b")


@dataclass(frozen=True, slots=True)
class Heard:
    """A phrase of the index."""

    phrase: str
    target: str


@dataclass(frozen=True, slots=True)
class Entry:
    """A tree in the table of contents."""

    title: str
    target: str


@dataclass(frozen=True, slots=True)
class Chapter:
    """The trees about one piece of equipment."""

    name: str
    trees: list[Entry]


@dataclass(slots=True)
class Book:
    """All that the book shows. `rich` texts are lists of blocks, as `rich_text.blocks` makes them."""

    title: str
    edition: str
    """`edition 7 of 20 November 2026`"""
    left_out: str
    """What is not in it, in words; empty where all of the library is."""
    language: str
    words: dict[str, str]
    """The texts of the book itself, by their keys; see `pages/words`."""
    note: list[Any] | None
    groups: list[Chapter]
    heard: list[Heard]
    trees: list[dict[str, Any]]
    licences: list[str]
    tables: list[dict[str, Any]] = field(default_factory=list)
    """Tables of figures; of a book of some trees only those that the trees name."""


def book_of(root: Path, subject: Subject, site: SitePages, trees: Sequence[Tree], licences: list[str]) -> Book:
    """Return what the book shows.

    Args:
        root: The folder that holds trees/ and content/.
        subject: A sound library.
        site: Its pages.
        trees: The trees to print.
        licences: The notices at the end, one paragraph each.

    """
    settings, words = subject.library.settings, site.words
    printed = {tree.id for tree in trees}
    rest = len(site.trees) - len([tree for tree in site.trees if tree.id in printed])
    groups = _groups(subject, trees)
    order = dict.fromkeys(entry.target for group in groups for entry in group.trees)
    by_target = {tree_target(tree.id): tree for tree in trees}
    shown = [_tree(root, subject, by_target[target], site, printed) for target in order]
    figures = sorted(subject.library.figures.items(), key=lambda item: not item[1].of_maker)
    tables = {name: _table(table, words) for name, table in figures}
    named = _figures_named(shown, tables)
    return Book(
        title=site.title,
        edition=_edition(settings, site.date, words),
        left_out=words.say("paper.left_out", trees=words.count("count.trees", len(trees)), rest=rest) if rest else "",
        language=subject.library.language,
        words={key: text for key, text in words.texts.items() if key.partition(".")[0] in _GROUPS},
        note=_printed(html(settings.note)) if settings and settings.note else None,
        groups=groups,
        heard=_heard(trees),
        trees=shown,
        licences=licences,
        tables=[table for name, table in tables.items() if not rest or name in named],
    )


def _edition(settings: Settings | None, date: date, words: Words) -> str:
    if settings and settings.edition:
        return words.say("paper.edition_number", number=settings.edition, date=words.day(date))
    return words.say("paper.edition", date=words.day(date))


def _table(table: FigureTable, words: Words) -> dict[str, Any]:
    """Return a table of figures, its rows as places of the book."""
    view = figures_view(table, ROOT, words)
    rows = [_printed(row) | {"target": figure_target(table.id, row.id)} for row in view.rows]
    shown: dict[str, Any] = _printed(view)
    return shown | {"target": figure_target(table.id), "rows": rows}


def figure_target(table: str, row: str = "") -> str:
    """Return the name of a table of figures in the book, or of one of its rows."""
    return f"figures/{table}/{row}" if row else f"figures/{table}"


def _figures_named(shown: list[Any], tables: Mapping[str, Any]) -> set[str]:
    """Return the tables of figures that texts refer to, and those that the tables themselves refer to."""
    found: set[str] = set()
    waiting = set(_names_in(shown))
    while waiting:
        name = waiting.pop()
        found.add(name)
        waiting |= set(_names_in(tables[name])) - found
    return found


def _names_in(value: Any) -> Iterator[str]:  # noqa: ANN401 - any part of a page's data
    """Yield the tables of figures that texts refer to."""
    if isinstance(value, dict):
        if str(value.get("figure", "")).startswith("figures/"):
            yield value["figure"].split("/")[1]
        value = list(value.values())
    for part in value if isinstance(value, list) else ():
        yield from _names_in(part)


def tree_target(tree: str, step: str = "") -> str:
    """Return the name of a place in the book: a tree, or one of its steps."""
    return f"tree/{tree}/{step}" if step else f"tree/{tree}"


def _groups(subject: Subject, trees: Sequence[Tree]) -> list[Chapter]:
    """Return the trees as home lists them; one that is about two things stands in both lists."""
    listed = indexes(subject.library, list(trees), {}).groups
    names = {f"trees/{tree.id}.html": tree.id for tree in trees}
    return [
        Chapter(group.name, [Entry(entry.title, tree_target(names[entry.href])) for entry in group.entries])
        for group in listed
    ]


def _heard(trees: Sequence[Tree]) -> list[Heard]:
    """Return what people say in the order of the alphabet, titles among it."""
    found = {
        (phrase, tree_target(tree.id)): None for tree in trees for phrase in (str(tree.title), *map(str, tree.heard_as))
    }
    return [Heard(phrase[:1].upper() + phrase[1:], target) for phrase, target in sorted(found, key=_alphabetical)]


def _alphabetical(entry: tuple[str, str]) -> tuple[str, str, str]:
    """Return a sort key without accents, signs and case."""
    spelt = unicodedata.normalize("NFKD", entry[0].casefold())
    return "".join(char for char in spelt if char.isalnum() or char == " ").strip(), *entry


def _tree(root: Path, subject: Subject, tree: Tree, site: SitePages, printed: set[str]) -> dict[str, Any]:
    """Return a tree as the template lays it out."""
    page, words = tree_page(subject.library, subject.graph, tree.id, []), site.words
    minutes = minutes_told(site.numbers.get(tree.id), words, "paper")
    reviewed = words.say("paper.reviewed", date=page.reviewed, due=page.review_due)
    places = {step.number: step.id for step in page.steps}
    facts = [
        *([", ".join(page.equipment)] if page.equipment else []),
        *([words.say("paper.holds_for", text=page.applies_to)] if page.applies_to else []),
        words.count("count.steps", len(page.steps)),
        *([minutes] if minutes else []),
        *([reviewed] if page.reviewed else []),
    ]
    return {
        "title": page.title,
        "target": tree_target(tree.id),
        "facts": facts,
        "heard_as": page.heard_as,
        "stop_use": _printed(page.stop_use),
        "panels": _printed(page.panels),
        "drawings": [dataclasses.asdict(one) for one in _drawings(subject, page, printed, words)],
        "steps": [_step(root, step, page.id, places, printed, words) for step in page.steps],
    }


def _step(
    root: Path, step: StepView, tree: str, places: Mapping[int, str], printed: set[str], words: Words
) -> dict[str, Any]:
    """Return a step: the view of its page with targets in place of addresses."""
    shown: dict[str, Any] = {one.name: _printed(getattr(step, one.name)) for one in dataclasses.fields(step)}
    shown["target"] = tree_target(tree, step.id)
    shown["exposes"] = [[hazard, [_ref(tree, name, number) for name, number in by]] for hazard, by in step.exposes]
    shown["ways"] = [_printed(way) | _way(way, tree, printed) for way in step.ways]
    shown["proof_at"] = _ref(tree, places[step.proof_at], step.proof_at) if step.proof_at else None
    if step.proof:
        shown["proof"]["people"] = words.count("count.people", step.proof.people) if step.proof.people > 1 else ""
    if step.picture:
        shown["picture"] = [_picture(root, step.picture[0]), step.picture[1]]
    return shown


def _ref(tree: str, step: str, number: int | None) -> dict[str, Any]:
    return {"target": tree_target(tree, step), "number": number}


def _way(way: WayView, tree: str, printed: set[str]) -> dict[str, Any]:
    """Return where a way leads; an empty target where that tree is not in the book."""
    page, _, step = way.href.partition("#")
    other = page.removesuffix(".html") or tree
    return {"target": tree_target(other, step) if other in printed else ""}


def _picture(root: Path, address: str) -> str:
    """Return the path of a picture below the library's root; empty where it cannot be printed."""
    name = f"content/{address.removeprefix('../')}"
    return f"/{name}" if name.lower().endswith(PRINTED_PICTURES) and (root / name).is_file() else ""


def _drawings(subject: Subject, page: TreePage, printed: set[str], words: Words) -> Iterator[PaperDrawing]:
    """Yield the drawings of a tree; a shape leads to its step, that of a link to the other tree, if that is printed."""
    links = {step.id: _way(way, page.id, printed)["target"] for step in page.steps for way in step.ways if way.leads_to}
    chart = chart_of(subject.library, subject.graph, page.id)
    return paper_drawings(chart, len(page.steps), lambda step: links.get(step) or tree_target(page.id, step), words)


def _printed(value: Any) -> Any:  # noqa: ANN401 - any part of a page's data
    """Return page data as JSON can hold it; rendered text becomes blocks."""
    if isinstance(value, Markup):
        return _with_places(read_back(value if _BLOCKS.match(value) else f"<p>{value}</p>"))
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {one.name: _printed(getattr(value, one.name)) for one in dataclasses.fields(value)}
    if isinstance(value, frozenset):
        return sorted(value)
    if isinstance(value, (list, tuple)):
        return [_printed(item) for item in value]
    return value


def _with_places(nodes: list[Any]) -> list[Any]:
    """Return rich text whose links lead into the book: to rows of figures; of other links their texts stay."""
    made: list[Any] = []
    for node in nodes:
        if isinstance(node, str):
            made.append(node)
            continue
        inside = _with_places(node[-1])
        address = node[1]["href"] if len(node) > 2 else ""  # noqa: PLR2004 - tag, attributes, what is inside
        if match := _FIGURE.fullmatch(address):
            table, row = match["table"], (match["row"] or "").removeprefix(match["table"]).removeprefix("-")
            made.append([node[0], {"figure": figure_target(table, row)}, inside])
        else:
            made.append([node[0], inside])
    return made
