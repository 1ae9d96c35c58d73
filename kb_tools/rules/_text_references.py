"""What the texts and content pages of a library lead to: rows of figures, cautions, pictures, pages of trees."""

from __future__ import annotations

from pathlib import PurePosixPath
from typing import TYPE_CHECKING

from kb_tools.model.contents import texts_of
from kb_tools.model.figures import Mark, references_in
from kb_tools.model.moved import Moves
from kb_tools.rules._addresses import links, pictures, relative
from kb_tools.rules._broken import is_broken
from kb_tools.rules._content_pages import content_marks
from kb_tools.rules._names import meant
from kb_tools.source.files import CONTENT

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.findings import Place
    from kb_tools.model.entities import Library
    from kb_tools.rules._pictures import Pictures

Problem = tuple[str, str]
"""What is wrong, and how to mend it."""


def problems_in_texts(library: Library, on_disk: Pictures) -> Iterator[tuple[Place, Problem]]:
    """Yield where a text leads to a picture, tree, caution or row of figures that there is not, and what is wrong."""
    declared = (
        *(library.trees, library.tables, library.maps, library.figures),
        *(library.hazards, library.cautions, library.checks, library.fixes, library.proofs, library.settings),
    )
    for word in texts_of(declared):
        if "]" in word:
            for problem in _problems(word, library, on_disk):
                yield word.place, problem
    for place, mark in content_marks(library):
        if problem_here := _problem_with_mark(mark, library):
            yield place, problem_here


def _problems(text: str, library: Library, on_disk: Pictures) -> Iterator[Problem]:
    found = [_problem_with_row(name, library) for name in references_in(text)]
    found += [on_disk.problem_with(path) for path in relative(pictures(text))]
    found += [_problem_with_page(path, library) for path in relative(links(text))]
    yield from filter(None, found)


def _problem_with_mark(mark: Mark, library: Library) -> Problem | None:
    if mark.what != "caution":
        return _problem_with_row(mark.name, library, whole=mark.what == "figures") if mark.name else None
    if mark.name in library.cautions or library.doubts.item("cautions", mark.name):
        return None
    return f"There is no caution `{mark.name}`", meant(mark.name, library.cautions, "cautions")


def _problem_with_page(address: str, library: Library) -> Problem | None:
    """Judge a link to a tree's page; which other pages a site has is not known here."""
    path = PurePosixPath(address)
    name, folder = path.stem, path.parent.as_posix()
    if path.suffix not in (".html", ".md"):
        return None
    if ".." in path.parts or (folder == "." and name in library.trees and not _is_content(path, library)):
        remedy = f"Write trees/{name}.html" if name in library.trees else "Write it from there, without `..`"
        return f"The link `{address}` does not start at the site's root", remedy
    if folder != "trees" or name in library.trees or name in Moves(library).old_trees():
        return None
    if is_broken("trees", name, library) or library.doubts.item("trees", name) or _is_content(path, library):
        return None
    return f"There is no tree `{name}` to link to", meant(name, library.trees, "trees")


def _is_content(path: PurePosixPath, library: Library) -> bool:
    return (library.root / CONTENT / path.with_suffix(".md")).is_file()


def _problem_with_row(name: str, library: Library, *, whole: bool = False) -> Problem | None:
    """Judge the name of a row, or of a whole table."""
    table_id, _, row = name.partition("/")
    table = library.figures.get(table_id)
    if table is None:
        if library.doubts.item("figures", table_id):
            return None
        return f"There is no table of figures `{table_id}`", meant(table_id, library.figures, "tables of figures")
    if (whole and not row) or row in table.rows or library.doubts.key(table.place, "rows"):
        return None
    missing = f"no row `{row}`" if row else "no row without a name"
    return f"The table of figures `{table_id}` has {missing}", meant(row, table.rows, "rows")
