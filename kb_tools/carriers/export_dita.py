"""The library as DITA 1.3: a map, a troubleshooting topic for each tree, a task for each proof.

A tree is a graph, a troubleshooting topic is a condition with pairs of cause and remedy. So that
nothing of the graph is lost:

- The condition holds what people say, what the tree is about and its cautions (`hazardstatement`,
  which follows ANSI Z535.6 as the library does).
- The first solution has no cause: its remedy, *Find the cause*, holds every step that asks, measures,
  does or leads to another tree, in the order of their numbers. Each way on is a `choice` with a
  reference to the next step.
- Each fix, handing over and end is a solution of its own: the cause tells of it by the cases that
  ended there, the remedy holds the step, the proof and the way on when it did not cure.
- What has no element of its own (minutes, units, bands, effects on hazards, shares) stands in `data`
  elements, each named after its key in the file format.

Not carried: evidence tables, equipment maps, synonyms, the desk's questions and field counts;
the JSON export has them. Grammar: OASIS Standard "Darwin Information Typing Architecture (DITA)
Version 1.3, Part 3", 17 December 2015.
"""

from __future__ import annotations

import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kb_tools.carriers.dita_topic import Topic, data_of, hazard_statements, language
from kb_tools.carriers.dita_xml import add, blocks_of, document_text, element, inline_of
from kb_tools.carriers.folder import recover, swap
from kb_tools.findings import BuildError
from kb_tools.pages.rich_text import blocks
from kb_tools.pages.tree_page import named
from kb_tools.pages.words import words_of

if TYPE_CHECKING:
    from collections.abc import Iterable
    from xml.etree.ElementTree import Element

    from kb_tools.model.entities import FigureColumn, FigureTable, Library, Proof, Thing, Tree
    from kb_tools.model.values import Word
    from kb_tools.rules.contract import Subject

DITA_MAP = "library.ditamap"


@dataclass(frozen=True, slots=True)
class Exported:
    """What was written."""

    topics: int
    pictures: int


def export_dita(root: Path, out: Path, subject: Subject) -> Exported:
    """Write the library as DITA into a folder, which must be new, empty, or an earlier export.

    Args:
        root: The folder that holds trees/ and content/.
        out: The folder.
        subject: The library of `root`, read and found without errors.

    Raises:
        BuildError: when it cannot be written; what was there is untouched.

    """
    recover(out)
    if out.exists() and not (out / DITA_MAP).is_file() and (not out.is_dir() or any(out.iterdir())):
        raise BuildError(f"{out} holds something that is no export; empty it or name another folder")
    aside: Path | None = None
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        aside = Path(tempfile.mkdtemp(prefix=f".{out.name}.new-", dir=out.parent))
        aside.chmod(0o755)
        documents = dita_files(subject)
        for name, text in documents.items():
            (aside / name).parent.mkdir(exist_ok=True)
            (aside / name).write_text(text, "utf-8", newline="\n")
        pictures = sorted({str(step.picture) for _, _, step in subject.library.steps() if step.picture})
        for name in pictures:
            (aside / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(root / "content" / name, aside / name)
        swap(aside, out)
    except OSError as error:
        raise BuildError(f"{out} cannot be written: {error.strerror or error}") from error
    finally:
        if aside is not None:
            shutil.rmtree(aside, ignore_errors=True)
    return Exported(len(documents) - 1, len(pictures))


def dita_files(subject: Subject) -> dict[str, str]:
    """Return the files of the export: POSIX path -> text; the same library gives the same texts."""
    library = subject.library
    trees = [tree for tree in library.trees.values() if not tree.is_draft]
    made = {DITA_MAP: _map(library, trees)}
    for tree in trees:
        made[f"trees/{tree.id}.dita"] = Topic(library, subject.graph, tree).made()
    for name, proof in library.proofs.items():
        made[f"proofs/{name}.dita"] = _proof(name, proof, library)
    for table_id, table in library.figures.items():
        made[f"figures/{table_id}.dita"] = _figures(table_id, table, library)
    if library.hazards:
        made["shared/hazards.dita"] = _hazards(library)
    if library.tools or library.spares:
        made["shared/tools-and-spares.dita"] = _things(library)
    return {name: document_text(root) for name, root in made.items()}


def _map(library: Library, trees: list[Tree]) -> Element:
    settings = library.settings
    root = element("map", element("title", library.title), **language(library))
    if settings:
        facts = (("edition", settings.edition), ("date", settings.date and settings.date.date.isoformat()))
        given = [element("othermeta", name=name, content=str(value)) for name, value in facts if value]
        if given:
            add(root, element("topicmeta", *given))
    for area in dict.fromkeys(tree.area for tree in trees):
        add(root, _chapter(area, "trees", [tree.id for tree in trees if tree.area == area], "troubleshooting"))
    add(root, _chapter("Proofs", "proofs", library.proofs, "task"))
    add(root, _chapter("Tables of figures", "figures", library.figures, "topic"))
    shared = [name for name, things in _shared(library).items() if things]
    add(root, _chapter("Shared", "shared", shared, "topic"))
    return root


def _shared(library: Library) -> dict[str, bool]:
    """Return the topics about what trees share, and whether there is anything to tell."""
    return {"hazards": bool(library.hazards), "tools-and-spares": bool(library.tools or library.spares)}


def _chapter(title: str, folder: str, names: Iterable[str], kind: str) -> Element | None:
    """Return the entries of a folder's topics under a title; None where there are none."""
    entries = [element("topicref", href=f"{folder}/{name}.dita", type=kind) for name in names]
    return element("topichead", element("topicmeta", element("navtitle", title)), *entries) if entries else None


def _proof(name: str, proof: Proof, library: Library) -> Element:
    context = element("context")
    if proof.needs:
        needs = ", ".join(named(library.hazards, hazard) for hazard in proof.needs)
        add(context, element("p", f"Must be back for it: {needs}"))
    add(context, element("p", f"People: {proof.people or 1}. Takes: {words_of(library).minutes(proof.minutes)}"))
    for caution in hazard_statements(proof.cautions, library):
        add(context, caution)
    for one in data_of(proof, frozenset(("title", "items", "cautions"))):
        add(context, one)
    steps = element("steps")
    for item in proof.items:
        importance = {"importance": "optional"} if item.optional else {}
        steps.append(element("step", element("cmd", *inline_of(blocks(item.item))), **importance))
    body = element("taskbody", context, steps)
    return element("task", element("title", proof.title), body, id=name, **language(library))


def _hazards(library: Library) -> Element:
    body = element("body")
    for name, hazard in library.hazards.items():
        section = element("section", element("title", hazard.name), element("p", "To isolate it:"), id=name)
        for block in blocks_of(blocks(hazard.how_isolated)):
            add(section, block)
        add(section, element("p", "To put it back:"))
        for block in blocks_of(blocks(hazard.put_back)):
            add(section, block)
        for one in data_of(hazard, frozenset(("name", "how_isolated", "put_back"))):
            add(section, one)
        add(body, section)
    title = element("title", "Hazards: how they are isolated and put back")
    return element("topic", title, body, id="hazards", **language(library))


def _figures(name: str, table: FigureTable, library: Library) -> Element:
    """Return a table of figures, each row with its source."""
    heads = [table.head, *(_head(column) for column in table.columns.values()), "Source"]
    shown = element("simpletable", element("sthead", *[element("stentry", head) for head in heads]))
    for row_id, row in table.rows.items():
        note = [element("p", *inline_of(blocks(row.note)))] if row.note else []
        cells = [str(row.values.get(column, "")) for column in table.columns]
        source = element("stentry", *inline_of(blocks(row.source)))
        first = element("stentry", row.title, *note)
        add(shown, element("strow", first, *[element("stentry", cell) for cell in cells], source, id=str(row_id)))
    above, below = ([block for text in texts if text for block in blocks_of(blocks(text))] for texts in _around(table))
    body = element("body", *above, shown, *below)
    for one in data_of(table, frozenset(("title", "head", "columns", "rows", "note", "formula", "disagree"))):
        add(body, one)
    return element("topic", element("title", table.title), body, id=name, **language(library))


def _around(table: FigureTable) -> tuple[tuple[Word | None, ...], ...]:
    """Return what stands above a table and what stands below it."""
    return (table.note,), (table.formula, table.disagree)


def _head(column: FigureColumn) -> str:
    return f"{column.title}, {column.unit}" if column.unit and column.unit != "1" else str(column.title)


def _things(library: Library) -> Element:
    body = element("body")
    shelves: tuple[tuple[str, dict[Any, Thing]], ...] = (("Tools", library.tools), ("Spares", library.spares))
    for title, things in shelves:
        if things:
            cells = ("Id", "Name", "Order as", "Price")
            table = element("simpletable", element("sthead", *[element("stentry", cell) for cell in cells]))
            for name, thing in things.items():
                price = "" if thing.price is None else f"{thing.price:g}"
                row = (str(name), thing.name, thing.order_as or "", price)
                add(table, element("strow", *[element("stentry", cell) for cell in row]))
            add(body, element("section", element("title", title), table))
    return element("topic", element("title", "Tools and spares"), body, id="tools-and-spares", **language(library))
