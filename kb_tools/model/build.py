"""Read a library from disk: files -> nodes -> entities, with all findings of all files.

One broken file never hides another: whatever can be read is read.
"""

from __future__ import annotations

import dataclasses
import gc
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Any

from kb_tools.findings import Finding, Place, Severity
from kb_tools.model import entities as e
from kb_tools.model.figures import check_cells
from kb_tools.model.records import Group, keys_of, read_entity
from kb_tools.model.values import MISSING, Context, Kind, ListOf, MapOf, Text, Use, is_id
from kb_tools.source.files import COUNTS, NOT_AREAS, TREES, decode, list_files, read_text
from kb_tools.source.yaml_nodes import compose, cut_lines

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping
    from pathlib import Path

    from yaml.nodes import Node

    from kb_tools.source.files import SourceFile

SHARED_KINDS: dict[str, Kind] = {
    "hazards": MapOf(Group(e.Hazard)),
    "cautions": MapOf(Group(e.Caution)),
    "checks": MapOf(e.SharedStep()),
    "fixes": MapOf(e.SharedStep()),
    "proofs": MapOf(Group(e.Proof)),
    "equipment": Group(e.Equipment),
    "words": ListOf(ListOf(Text())),
    "desk": ListOf(Group(e.DeskQuestion)),
    "library": Group(e.Settings),
    "moved": ListOf(Group(e.Moved)),
    COUNTS: Group(e.Counts),
}
"""What each shared file holds."""


def load(
    root: Path,
    progress: Callable[[int, int], None] | None = None,
    texts: Mapping[str, str | None] | None = None,
) -> e.Library:
    """Read the library below `root`.

    Args:
        root: The folder that holds trees/.
        progress: Called with (files read, files in all) after each file.
        texts: What to read in place of files that lie there: POSIX path below `root` -> its text, or
            None for a file that is to be taken as removed.

    Returns:
        The library; `findings` holds what was wrong with reading it.

    Raises:
        LibraryError: when `root` is no folder.

    """
    listing = list_files(root, texts or {})
    library = e.Library(root, texts=texts or {}, findings=list(listing.findings))
    for name in listing.hidden:
        _doubt_what_is_in(name, library)
    # Reading makes millions of small objects that all stay: collecting in between only costs time.
    collecting = gc.isenabled()
    gc.disable()
    try:
        for number, file in enumerate(each_role_once(listing.files, library), 1):
            read_file(file, library, texts or {})
            if progress:
                progress(number, len(listing.files))
        resolve_uses(library)
    finally:
        if collecting:
            gc.enable()
    note_empty(library)
    return library


def note_empty(library: e.Library) -> None:
    """Report a library without any tree."""
    if not library.tree_files and not library.findings:
        library.findings.append(
            Finding(
                Place(TREES),
                "file-readable",
                Severity.ERROR,
                "The library holds no tree" if (library.root / TREES).is_dir() else f"There is no folder {TREES}/ here",
                f"Write one: {TREES}/<area>/<id>.yml; a library elsewhere is named with --library DIR, and "
                "`kb start DIR` begins a new one",
            )
        )


def each_role_once(files: list[SourceFile], library: e.Library) -> Iterator[SourceFile]:
    """Yield the files; a shared file that is there already, with another ending, is a finding."""
    first: dict[str, str] = {}
    for file in files:
        if file.role not in SHARED_KINDS or first.setdefault(file.role, file.name) == file.name:
            yield file
        else:
            library.findings.append(
                Finding(
                    Place(file.name),
                    "id-unique",
                    Severity.ERROR,
                    f"This file is there already, as {first[file.role]}",
                    "Put what both hold into one of them",
                )
            )
            _give_up(file, library)


def read_file(file: SourceFile, library: e.Library, texts: Mapping[str, str | None]) -> None:
    """Read one file into the library; the shared items that it uses are not looked up yet."""
    if file.role == "tree":
        library.tree_files += 1
    given = texts.get(file.name)
    text, findings = read_text(file) if given is None else decode(given.encode("utf-8"), file.name)
    library.findings += findings
    node: Node | None = None
    if text is not None:
        node, findings = compose(text, file.name)
        library.findings += findings
    if node is None:
        _give_up(file, library)
        return
    context = Context(file.name, library.findings, library.doubts, cut_lines(text or ""))
    if file.role in SHARED_KINDS:
        _read_shared(file, node, context, library)
    elif file.role in _DOCUMENTS:
        _read_document(file, node, context, library)


def _give_up(file: SourceFile, library: e.Library) -> None:
    """Note that nothing is known of what `file` declares."""
    library.broken.add(file.name)
    library.doubts.shelves.update(_EQUIPMENT if file.role == "equipment" else (file.role,))


def _doubt_what_is_in(name: str, library: e.Library) -> None:
    """Note that nothing is known of what a folder or link that was not entered may hold."""
    library.broken.add(name)
    top, _, below = name.partition("/")
    room, _, file = below.partition("/")
    shared = {*SHARED_KINDS, *_EQUIPMENT}
    if top != TREES:
        library.doubts.shelves.add("figures")
    elif not room:
        library.doubts.shelves |= shared | {"trees", "tables", "maps"}
    elif room == "shared":
        stem = PurePosixPath(file).stem
        library.doubts.shelves.update(_EQUIPMENT if stem == "equipment" else {stem} & shared or shared)
    else:
        library.doubts.shelves.add(room if room in NOT_AREAS else "trees")


_DOCUMENTS: dict[str, tuple[type, str]] = {
    "tree": (e.Tree, "trees"),
    "table": (e.Table, "tables"),
    "map": (e.EquipmentMap, "maps"),
    "figures": (e.FigureTable, "figures"),
}


def _read_document(file: SourceFile, node: Node, context: Context, library: e.Library) -> None:
    """Read a tree, a table, a map or figures; the id is the file's stem."""
    entity, shelf_name = _DOCUMENTS[file.role]
    shelf: dict[str, Any] = getattr(library, shelf_name)
    if not is_id(file.stem):
        context.report(
            node,
            "value-type",
            f"The file's name makes the id `{file.stem}`, which is none",
            "Rename the file: small letters, digits and hyphens, a letter first",
        )
    document = read_entity(entity, node, context)
    if document is MISSING:
        _give_up(file, library)
        return
    document.id, document.file = file.stem, file.name
    if isinstance(document, e.Tree):
        document.area = file.area
    if isinstance(document, e.FigureTable):
        check_cells(document, context)
    shelve(document, shelf, library)


def shelve(
    document: e.Tree | e.Table | e.EquipmentMap | e.FigureTable, shelf: dict[str, Any], library: e.Library
) -> None:
    """Put a document on its shelf; one whose id is taken is a finding."""
    if document.id in shelf:
        library.findings.append(
            Finding(
                Place(document.file),
                "id-unique",
                Severity.ERROR,
                f"The id `{document.id}` is taken by {shelf[document.id].file}",
                "Rename one of the two files",
            )
        )
        library.broken |= {document.file, shelf[document.id].file}
        library.doubts.ids.add(document.id)
        return
    shelf[document.id] = document


_EQUIPMENT = ("equipment", "tools", "spares")
"""The groups of keys of equipment.yml, each a shelf of its own."""


def _read_shared(file: SourceFile, node: Node, context: Context, library: e.Library) -> None:
    """Read one of the shared files."""
    value = SHARED_KINDS[file.role].read(node, context)
    if value is MISSING:
        _give_up(file, library)
    elif file.role == "equipment":
        for shelf in _EQUIPMENT:
            group = getattr(value, shelf)
            if group is None and library.doubts.key(value.place, shelf):
                library.doubts.shelves.add(shelf)
            setattr(library, shelf, group or {})
    else:
        setattr(library, {"library": "settings"}.get(file.role, file.role), value)


_NOT_MERGED = {"place", "kind", "text", "use", "shared_answers", *e.STEP_KINDS}


def resolve_uses(library: e.Library) -> None:
    """Give every step its text, and the body of the shared item that it uses."""
    for shelf in (library.checks, library.fixes):
        for step in shelf.values():
            body = getattr(step, step.kind) if step.kind else None
            if isinstance(body, Use):
                library.findings.append(
                    Finding(
                        body.id.place,
                        "value-type",
                        Severity.ERROR,
                        f"A text belongs here: a shared item cannot use another, `{body.id}`",
                        "Write the text out",
                    )
                )
            else:
                step.text = body
    for tree in library.trees.values():
        resolve_uses_of(tree, library)


def resolve_uses_of(tree: e.Tree, library: e.Library) -> None:
    """Give every step of a tree its text, and the body of the shared item that it uses."""
    for step in tree.steps.values():
        if not step.kind:
            continue
        body = getattr(step, step.kind)
        if isinstance(body, Use):
            _merge(step, body, library)
        else:
            step.text = body
        _require(step, library)


def _merge(step: e.Step, use: Use, library: e.Library) -> None:
    """Fill `step` from the shared item; the step's own keys win."""
    step.use = use.id
    shared = (library.fixes if step.kind == "fix" else library.checks).get(use.id)
    own = {
        name
        for name, _ in keys_of(e.Step).values()
        if name not in _NOT_MERGED and getattr(step, name) not in (None, ())
    }
    if shared is None or not shared.kind:
        # That it is not there is told where it is named; nothing else may follow from it.
        missing = {name for name, _ in keys_of(e.Step).values() if name not in _NOT_MERGED} - own
        library.doubts.keys.update((step.place, name) for name in missing)
        return
    if shared.kind != step.kind:
        library.findings.append(
            Finding(
                use.id.place,
                "step-kind",
                Severity.ERROR,
                f"The shared item `{use.id}` is a `{shared.kind}`, this step a `{step.kind}`",
                f"Write {shared.kind}: {{use: {use.id}}}",
            )
        )
        return
    for name in sorted(own - e.OWN_KEYS_WITH_USE):
        value = getattr(step, name)
        first: Any = value[0] if isinstance(value, tuple) else value
        library.findings.append(
            Finding(
                getattr(first, "word", first).place,
                "key-known",
                Severity.ERROR,
                f"The key `{name}` comes from the shared item `{use.id}` and cannot be set here",
                f"Delete it, or set it in the shared file; a step may set {', '.join(sorted(e.OWN_KEYS_WITH_USE))}",
            )
        )
    for field in dataclasses.fields(e.Step):
        if field.name not in _NOT_MERGED and field.name not in own:
            setattr(step, field.name, getattr(shared, field.name))
    step.text = shared.text
    step.shared_answers = shared.shared_answers
    library.doubts.spread(shared.place, step.place)
    if shared.shared_answers and step.answers and not library.doubts.key(shared.place, "answers"):
        _fill_answers(step, library)


def _fill_answers(step: e.Step, library: e.Library) -> None:
    """Give the step's answers the wording that the shared check has for them."""
    wording = {answer.answer: answer for answer in step.shared_answers}
    for answer in step.answers or ():
        shared = wording.get(answer.answer)
        if shared is None and answer.answer:
            library.findings.append(
                Finding(
                    answer.place,
                    "answers-differ",
                    Severity.ERROR,
                    f"The shared check `{step.use}` has no answer `{answer.answer}`",
                    f"Its answers are {', '.join(wording)}",
                )
            )
        elif shared:
            answer.say = answer.say or shared.say
            answer.unsure = answer.unsure or shared.unsure


def _require(step: e.Step, library: e.Library) -> None:
    """Report keys that a step of its kind cannot do without, once the shared body is in."""
    if step.use and step.text is None:
        return
    if step.kind == "measure" and step.unit is None and not library.doubts.key(step.place, "unit"):
        _missing(step, "unit", "the unit of the reading, or 1 for a plain number", library)
    if step.picture and not step.picture_text and not library.doubts.key(step.place, "picture_text"):
        _missing(step, "picture_text", "the picture's text alternative", library)


def _missing(step: e.Step, name: str, what: str, library: e.Library) -> None:
    library.doubts.keys.add((step.place, name))
    library.findings.append(
        Finding(step.place, "key-required", Severity.ERROR, f"The key `{name}` is missing", f"Add `{name}`: {what}")
    )
