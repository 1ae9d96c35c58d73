"""Every id that is named is declared, and every picture is there.

Hazards, cautions, tools, spares, proofs and pieces of equipment are declared in `trees/shared/`;
parts of the map in the file of the map that the tree names with `map`. A link leads to a tree, or to
a step of one. An evidence table names a tree, and for each cause a step of that tree or a shared
fix. The flows and points of a map name its own parts.

A picture is a file below `content/`, named from there with small and capital letters as on disk. It
is copied into the site, so it must not lie elsewhere: neither above `content/`, nor at the end of a
link that leads out of it, nor on the net. The same holds for a picture that stands in a text, as in
`![the plug](pictures/plug.svg)`. A text's link to another tree names its page from the site's root:
`[the charger](trees/charger-does-not-charge.html)`.

A link to a row of figures, as in `[M6 class 8.8](figure:proof-load-torque/m6-8-8)`, names a table
below `content/figures/` and a row of it. So does a content page, where it asks for a table by
`<!-- figures: proof-load-torque -->`, for a caution by `<!-- caution: moving-chair -->`, or links to a row.

The list of moved ids leads to trees and steps that there are: whoever deletes a tree deletes its
lines there too.

Of a shared file that cannot be read nothing is known, so what it would have declared is not
reported.

To mend it, correct the id, or declare what it names.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity
from kb_tools.model.graph import link_target
from kb_tools.model.moved import Moves
from kb_tools.model.records import nearest
from kb_tools.rules._broken import is_broken
from kb_tools.rules._names import meant
from kb_tools.rules._pictures import Pictures
from kb_tools.rules._text_references import problems_in_texts

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from kb_tools.model.entities import Answer, Band, EquipmentMap, Library, Step, Table, Tree
    from kb_tools.model.values import Word
    from kb_tools.rules.contract import Subject

ID = "reference-resolves"
SEVERITY = Severity.ERROR
SUMMARY = "Every id that is named is declared, and every picture is there."


_SINGULAR = {
    "equipment": "piece of equipment",
    "proofs": "proof",
    "hazards": "hazard",
    "cautions": "caution",
    "tools": "tool",
    "spares": "spare",
    "checks": "shared check",
    "fixes": "shared fix",
    "maps": "map",
    "trees": "tree",
    "figures": "table of figures",
}
"""The shelves of a library, and what one thing on each is called."""
_LISTS_OF_A_STEP = (
    ("tools", "tools"),
    ("spares", "spares"),
    ("cautions", "cautions"),
    *((effect, "hazards") for effect in ("exposes", "works_live", "needs", "isolates", "confirms", "restores")),
)
"""Keys of a step that hold lists of ids, and the shelf that they name things on."""
_FILE = {"tools": "equipment", "spares": "equipment"}
"""The shared file of a shelf where it is not called like the shelf."""


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each id that names nothing and each picture that is not there."""
    library = subject.library
    pictures = Pictures(library.root)
    for shelf in (library.checks, library.fixes):
        for step in shelf.values():
            yield from _step(step, library, pictures)
    for tree in library.trees.values():
        yield from _tree(tree, library, pictures)
    for caution in library.cautions.values():
        yield from _named((caution.hazard,), "hazards", library)
    for proof in library.proofs.values():
        yield from _named(proof.needs, "hazards", library)
        yield from _named(proof.cautions, "cautions", library)
    for table in library.tables.values():
        yield from _table(table, library)
    for equipment_map in library.maps.values():
        yield from _map(equipment_map, library)
    yield from _moved(library)
    for place, problem in problems_in_texts(library, pictures):
        yield Finding(place, ID, SEVERITY, *problem)


def _named(words: Iterable[Word | None], shelf: str, library: Library) -> Iterator[Finding]:
    """Yield a finding for each of `words` that names nothing on `shelf`."""
    known = getattr(library, shelf)
    for word in words:
        if not word or word in known or library.doubts.item(shelf, word):
            continue
        if shelf in ("maps", "trees") and is_broken(shelf, word, library):
            continue
        if shelf in ("maps", "trees") or nearest(word, known):
            remedy = meant(word, known, shelf)
        else:
            file = _FILE.get(shelf, shelf)
            remedy = f"Declare it in trees/shared/{file}.yml, or name one that is there"
        yield _finding(word, f"There is no {_SINGULAR[shelf]} `{word}`", remedy)


def _finding(word: Word, message: str, remedy: str) -> Finding:
    return Finding(word.place, ID, SEVERITY, message, remedy)


def _tree(tree: Tree, library: Library, pictures: Pictures) -> Iterator[Finding]:
    yield from _named(tree.equipment, "equipment", library)
    yield from _named(tree.cautions, "cautions", library)
    yield from _named((tree.map,), "maps", library)
    for step in tree.steps.values():
        yield from _step(step, library, pictures)
        if step.looks_at:
            yield from _parts(step.looks_at, tree, library)
        if step.kind == "link" and step.link:
            yield from _link(step.link, library)


def _step(step: Step, library: Library, pictures: Pictures) -> Iterator[Finding]:
    """Yield what is wrong with the ids that a step names, wherever the step is kept."""
    for field, shelf in _LISTS_OF_A_STEP:
        words = getattr(step, field)
        if words:
            yield from _named(words, shelf, library)
    ways: tuple[Answer | Band, ...] = (*(step.answers or ()), *(step.bands or ()))
    for way in ways:
        for hazards in (way.isolates, way.confirms, way.restores):
            if hazards:
                yield from _named(hazards, "hazards", library)
    if step.proof is not None:
        yield from _named((step.proof,), "proofs", library)
    if step.in_doubt:
        yield from _shared(step, library)
    problem = pictures.problem_with(step.picture) if step.picture is not None else None
    if step.picture is not None and problem:
        yield _finding(step.picture, *problem)


def _shared(step: Step, library: Library) -> Iterator[Finding]:
    """Yield a finding when a step's body is not in the shared file of its kind."""
    shelf, other = ("fixes", "checks") if step.kind == "fix" else ("checks", "fixes")
    elsewhere = getattr(library, other).get(step.use)
    if step.use and elsewhere and elsewhere.kind and step.use not in getattr(library, shelf):
        remedy = f"Write {elsewhere.kind}: {{use: {step.use}}}"
        yield _finding(step.use, f"`{step.use}` is a {_SINGULAR[other]}, and this step a `{step.kind}`", remedy)
    else:
        yield from _named((step.use,), shelf, library)


def _parts(parts: tuple[Word, ...], tree: Tree, library: Library) -> Iterator[Finding]:
    """Yield a finding for each part that is not on the tree's map."""
    if tree.map is None:
        if parts and not library.doubts.key(tree.place, "map"):
            yield _finding(
                parts[0],
                f"The part `{parts[0]}` is named, but the tree `{tree.id}` names no map",
                "Add `map:` and the id of the equipment map to the tree",
            )
    elif tree.map in library.maps:
        yield from _on_map(parts, library.maps[tree.map], library)


def _on_map(parts: Iterable[Word | None], equipment_map: EquipmentMap, library: Library) -> Iterator[Finding]:
    known = equipment_map.parts
    for part in parts:
        if part and known and part not in known and part not in library.doubts.ids:
            yield _finding(
                part,
                f"There is no part `{part}` on the map `{equipment_map.id}`",
                meant(part, known, "parts"),
            )


def _link(link: Word, library: Library) -> Iterator[Finding]:
    """Yield a finding when a link leads nowhere, and that is not another finding already."""
    tree_id, _, step = link.partition("/")
    if link_target(link, library) or is_broken("trees", tree_id, library) or library.doubts.item("trees", tree_id):
        return
    tree = library.trees.get(tree_id)
    if tree is None:
        yield _finding(link, f"There is no tree `{tree_id}`", meant(tree_id, library.trees, "trees"))
    elif step and tree.steps:
        yield _finding(link, f"The tree `{tree_id}` has no step `{step}`", meant(step, tree.steps, "steps"))


def _table(table: Table, library: Library) -> Iterator[Finding]:
    yield from _named((table.tree,), "trees", library)
    named = table.tree if table.tree not in library.doubts.ids else None
    tree = library.trees.get(named) if named else None
    if tree or (table.tree is None and not library.doubts.key(table.place, "tree")):
        for cause in table.causes.values():
            yield from _cause(cause.fix, tree, library)
    for check_ in table.checks.values():
        yield from _named(check_.tools, "tools", library)
        for hazards in (check_.exposes, check_.needs, check_.works_live):
            yield from _named(hazards, "hazards", library)
        if tree:
            yield from _parts(check_.looks_at, tree, library)


def _cause(fix: Word | None, tree: Tree | None, library: Library) -> Iterator[Finding]:
    """Yield a finding when what mends a cause is neither a step of the table's tree nor shared."""
    if tree is None:
        yield from _named((fix,), "fixes", library)
    elif (
        fix
        and tree.steps
        and fix not in tree.steps
        and fix not in library.fixes
        and not library.doubts.item("fixes", fix)
    ):
        yield _finding(
            fix,
            f"`{fix}` is neither a step of the tree `{tree.id}` nor a shared fix",
            meant(fix, [*tree.steps, *library.fixes], "steps and fixes"),
        )


def _map(equipment_map: EquipmentMap, library: Library) -> Iterator[Finding]:
    for flow in equipment_map.flows:
        yield from _on_map((flow.start, flow.to), equipment_map, library)
    yield from _on_map((point.at for point in equipment_map.points), equipment_map, library)


def _moved(library: Library) -> Iterator[Finding]:
    """Yield a finding for each moved id that leads to nothing today."""
    for number in Moves(library).dead():
        word = library.moved[number].now
        tree_id, _, step = word.partition("/")
        tree = library.trees.get(tree_id)
        if not library.broken and not (tree and (not tree.steps or library.doubts.item("steps", step))):
            remedy = "Name where it went, or delete the line if it is gone for good"
            yield _finding(word, f"`{word}` was moved and is not there any more", remedy)
