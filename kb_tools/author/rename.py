"""New ids: a tree, a step, a shared item, a map, a part or a table is called otherwise everywhere it is named.

Old walk codes, stored walks and addresses of trees and steps still answer: the change is put down in
trees/shared/moved.yml, which every edition carries.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Any

from kb_tools.author.splice import Sheet
from kb_tools.author.yaml_text import flow
from kb_tools.findings import LibraryError, UsageError
from kb_tools.model.contents import references_of
from kb_tools.model.records import nearest
from kb_tools.model.values import is_id
from kb_tools.source.files import FIGURES, NOT_AREAS, TREES

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from kb_tools.author.change import Change
    from kb_tools.model.entities import Library, Step, Table, Tree
    from kb_tools.model.values import Word

MOVED = f"{TREES}/shared/moved.yml"
_MOVED_HEAD = (
    "# Ids that changed, oldest first. `kb rename` writes it; keep the lines, so that old walk codes,\n"
    "# stored visits and addresses still answer.\n"
)
SHELVES = {
    "hazard": "hazards",
    "caution": "cautions",
    "check": "checks",
    "fix": "fixes",
    "proof": "proofs",
    "equipment": "equipment",
    "tool": "tools",
    "spare": "spares",
    "map": "maps",
    "table": "tables",
    "tree": "trees",
    "figures": "figures",
}
"""Kind of thing -> the shelf of a library that holds it."""
KINDS = (*SHELVES, "step", "part", "cause", "row")
_PAGES = {
    "caution": "cautions",
    "fix": "fixes",
    "proof": "proofs",
    "tool": "tools-and-spares",
    "spare": "tools-and-spares",
}
"""Kind of thing -> the page of the site where it has an address of its own."""


@dataclass(frozen=True, slots=True)
class Named:
    """A thing with an id."""

    kind: str
    id: str
    within: str = ""
    """Of a step its tree, of a part its map, of a cause or row its table."""

    @property
    def full(self) -> str:
        """The id as a person writes it."""
        return f"{self.within}/{self.id}" if self.within else self.id


def named(library: Library, text: str, kind: str = "") -> Named:
    """Return the thing that a person means.

    Args:
        library: The library.
        text: An id; of a step `tree/step`, of a part `map/part`, of a cause or
            row `table/cause`.
        kind: One of `KINDS`; left out: whatever bears the id, a tree before anything else.

    Raises:
        UsageError: when nothing bears it, or several things do.

    """
    found = [one for one in _all(library) if one.full == text and (not kind or one.kind == kind)]
    tree = next((one for one in found if one.kind == "tree"), None)
    if len(found) == 1 or tree:
        return tree or found[0]
    if found:
        kinds = [one.kind for one in found]
        raise UsageError(f"{text!r} is the id of a {' and of a '.join(kinds)}: say which with --kind {kinds[0]}")
    close = nearest(text, {one.full for one in _all(library) if not kind or one.kind == kind})
    raise UsageError(f"No {kind or 'thing'} has the id {text!r}." + (f" Did you mean {close}?" if close else ""))


def _all(library: Library) -> Iterator[Named]:
    for kind, shelf in SHELVES.items():
        yield from (Named(kind, str(name)) for name in getattr(library, shelf))
    for tree in library.trees.values():
        yield from (Named("step", str(name), tree.id) for name in tree.steps)
    for one in library.maps.values():
        yield from (Named("part", str(name), one.id) for name in one.parts)
    for table in library.tables.values():
        yield from (Named("cause", str(name), table.id) for name in table.causes)
    for figures in library.figures.values():
        yield from (Named("row", str(name), figures.id) for name in figures.rows)


def rename(change: Change, library: Library, thing: Named, new: str) -> int:
    """Give a thing a new id everywhere.

    Args:
        change: Takes the new texts.
        library: The library as it stands, free of errors in reading it.
        thing: What is renamed.
        new: Its new id.

    Returns:
        In how many places the id was written anew.

    Raises:
        UsageError: when the new id is none, or is taken.
        LibraryError: when a place cannot be changed.

    """
    new = new.removeprefix(f"{thing.within}/") if thing.within else new
    if not is_id(new):
        raise UsageError(f"{new!r} is no id: small letters, digits and hyphens, a letter first")
    other = Named(thing.kind, new, thing.within)
    if new == thing.id or other in _all(library):
        raise UsageError(f"The {thing.kind} {other.full!r} is there already; nothing was changed")
    broken = next(iter(library.findings), None)
    if broken:
        raise LibraryError(f"{broken.place}: {broken.message}. Mend what cannot be read first; nothing was changed")
    places = {word.place: (str(word), _renamed(str(word), thing, new)) for word in _occurrences(library, thing)}
    sheets: dict[str, Sheet] = {}
    for place, (old, written) in sorted(places.items()):
        sheet = sheets.setdefault(place.file, change.sheet(place.file))
        sheet.rename(place, old, written)
    for sheet in sheets.values():
        change.take(sheet)
    count = len(places) + _in_pages(change, library, thing, new)
    if thing.kind in ("tree", "step"):
        _put_down(change, library, thing.full, other.full)
    if thing.kind in ("tree", "map", "table", "figures"):
        shelf: Mapping[str, Any] = getattr(library, SHELVES[thing.kind])
        _refile(change, shelf[thing.id].file, lambda path: path.with_name(f"{new}{path.suffix}"))
    return count


def _renamed(word: str, thing: Named, new: str) -> str:
    """Return an id, or `tree/step`, with the new id in it."""
    first, slash, second = word.partition("/")
    if thing.kind == "tree":
        return f"{new}{slash}{second}"
    return f"{first}{slash}{new}" if slash else new


def _occurrences(library: Library, thing: Named) -> Iterator[Word]:
    """Yield every word of the library's files that names a thing."""
    if thing.kind == "step":
        yield from _of_step(library, library.trees[thing.within], thing.id)
    elif thing.kind == "tree":
        yield from _of_tree(library, thing.id)
    elif thing.kind == "part":
        yield from _of_part(library, thing)
    elif thing.kind == "cause":
        table = library.tables[thing.within]
        yield from (key for group in (table.causes, table.shows) for key in group if key == thing.id)
    elif thing.kind == "row":
        yield from (key for key in library.figures[thing.within].rows if key == thing.id)
    elif thing.kind not in ("table", "figures"):
        yield from _of_shared(library, thing)


def _of_step(library: Library, tree: Tree, step: str) -> Iterator[Word]:
    full = f"{tree.id}/{step}"
    yield from (key for key in tree.steps if key == step)
    yield from (word for _, word in references_of(tree, frozenset({"step"})) if word == step)
    for other in library.trees.values():
        yield from (word for _, word in references_of(other, frozenset({"step", "tree"})) if word == full)
        own = {full, step} if other is tree else {full}
        yield from (key for case in other.cases for key in case.given if key in own)
    for table in library.tables.values():
        if table.tree == tree.id:
            yield from _of_step_in_table(table, step)
    counted = library.counts.trees if library.counts else None
    for name, counts in (counted or {}).items():
        if name == tree.id:
            yield from (key for group in (counts.causes, counts.steps) for key in group or {} if key == step)


def _of_step_in_table(table: Table, step: str) -> Iterator[Word]:
    """Yield where a table names a step of its tree: as what mends a cause, and as a check that mirrors it."""
    yield from (cause.fix for cause in table.causes.values() if cause.fix == step and cause.fix is not None)
    if step in table.checks:
        yield from (key for key in table.checks if key == step)
        yield from (key for row in table.shows.values() for key in row if key == step)


def _of_tree(library: Library, tree_id: str) -> Iterator[Word]:
    for value in (library.trees, library.tables):
        for _, word in references_of(value, frozenset({"tree", "step"})):
            if word.startswith(f"{tree_id}/") or (_ == "tree" and word == tree_id):
                yield word
    for tree in library.trees.values():
        yield from (key for case in tree.cases for key in case.given if key.startswith(f"{tree_id}/"))
    if library.counts:
        yield from (key for key in library.counts.trees or {} if key == tree_id)


def _of_part(library: Library, thing: Named) -> Iterator[Word]:
    one = library.maps[thing.within]
    trees = [tree for tree in library.trees.values() if tree.map == one.id]
    tables = [table for table in library.tables.values() if table.tree in {tree.id for tree in trees}]
    yield from (key for key in one.parts if key == thing.id)
    for value in (one, *trees, *tables):
        yield from (word for _, word in references_of(value, frozenset({"part"})) if word == thing.id)


def _of_shared(library: Library, thing: Named) -> Iterator[Word]:
    shelf: Mapping[Any, Any] = getattr(library, SHELVES[thing.kind])
    if thing.kind != "map":
        yield from (key for key in shelf if key == thing.id)
    of = f"shared {thing.kind}" if thing.kind in ("check", "fix") else thing.kind
    everything = (library.trees, library.checks, library.fixes, library.proofs, library.cautions, library.tables)
    yield from (word for _, word in references_of(everything, frozenset({of})) if word == thing.id)
    if thing.kind == "fix":
        for table in library.tables.values():
            tree = library.trees.get(table.tree) if table.tree else None
            own = tree is not None and thing.id in tree.steps
            yield from (
                row.fix for row in table.causes.values() if row.fix is not None and row.fix == thing.id and not own
            )


# --- addresses, the list of moved ids, and files --------------------------------------------------


def _in_pages(change: Change, library: Library, thing: Named, new: str) -> int:
    """Write the addresses of a thing anew in content pages, in texts of the library, and in mkdocs.yml."""
    pattern = _address(thing)
    if pattern is None:
        return 0
    count = 0
    root = library.root
    files = [
        path
        for folder, ending in (("content", "*.md"), (FIGURES, "*.yml"), (TREES, "*.yml"))
        for path in sorted((root / folder).rglob(ending))
    ]
    for path in [*files, root / "mkdocs.yml"]:
        name = path.relative_to(root).as_posix()
        if not path.is_file() or any(part.startswith(".") for part in PurePosixPath(name).parts):
            continue
        text = change.text(name) or ""
        text, found = pattern.subn(lambda match: f"{match[1]}{new}{match[2]}", text)
        if found:
            change.texts[name] = text
            count += found
    return count


def _address(thing: Named) -> re.Pattern[str] | None:
    """Return what finds a thing's address on the site: before its id, the id, behind it."""
    own = re.escape(thing.id)
    if thing.kind in ("tree", "map"):
        return re.compile(rf"((?<![\w-]){thing.kind}s/){own}(\.(?:html|md)\b)")
    if thing.kind == "step":
        return re.compile(rf"((?<![\w-])trees/{re.escape(thing.within)}\.(?:html|md)#){own}()(?![\w-])")
    if thing.kind == "part":
        return re.compile(rf"((?<![\w-])maps/{re.escape(thing.within)}\.(?:html|md)#part-){own}()(?![\w-])")
    if thing.kind == "figures":
        return re.compile(rf"((?<![\w-])(?:figure:|figures/|<!--\s*figures\s*:\s*)){own}()(?![\w-])")
    if thing.kind == "row":
        table = re.escape(thing.within)
        return re.compile(rf"((?<![\w-])(?:figure:{table}/|figures/{table}\.(?:html|md)#{table}-)){own}()(?![\w-])")
    page = _PAGES.get(thing.kind)
    shown = r"|<!--\s*caution\s*:\s*" if thing.kind == "caution" else ""
    return re.compile(rf"((?<![\w-])(?:{page}\.(?:html|md)#{shown})){own}()(?![\w-])") if page else None


def _put_down(change: Change, library: Library, was: str, now: str) -> None:
    """Add a line to the list of moved ids."""
    name = next((one.was.file for one in library.moved), MOVED)
    line = f"- {flow({'was': was, 'now': now})}\n"
    text = change.text(name)
    if text is None or not text.strip():
        change.texts[name] = f"{_MOVED_HEAD}{line}"
        return
    newline = "\r\n" if "\r\n" in text else "\n"
    gap = "" if text.endswith("\n") else newline
    change.texts[name] = f"{text}{gap}{line.replace(chr(10), newline)}"
    Sheet(name, change.texts[name] or "")


def _refile(change: Change, name: str, to: Any) -> str:  # noqa: ANN401 - from path to path
    """Let a file lie elsewhere; return where."""
    target = str(to(PurePosixPath(name)))
    if (change.root / target).exists():
        raise LibraryError(f"{target} is there already; nothing was changed")
    change.texts[target] = change.text(name)
    change.texts[name] = None
    return target


def move_tree(change: Change, library: Library, tree_id: str, area: str) -> str:
    """Let a tree lie in another area.

    Returns:
        The file's new name.

    Raises:
        UsageError: when there is no such tree, or the area is none.

    """
    tree = library.trees[named(library, tree_id, "tree").id]
    if not is_id(area) or area in NOT_AREAS:
        raise UsageError(f"{area!r} is no area: small letters, digits and hyphens, and not {', '.join(NOT_AREAS)}")
    if area == tree.area:
        raise UsageError(f"The tree {tree.id} lies in {area} already; nothing was changed")
    return _refile(change, tree.file, lambda path: PurePosixPath(TREES, area, path.name))


def shared_words(step: Step) -> str:
    """Return the kind of shared item that a step's body can become: `check` or `fix`.

    Raises:
        UsageError: when it can become none.

    """
    if step.use:
        raise UsageError(f"The step takes its body from the shared item {step.use} already; nothing was changed")
    kind = {"check": "check", "measure": "check", "fix": "fix"}.get(step.kind)
    if kind is None:
        raise UsageError(f"A `{step.kind}` cannot be shared: checks, measurements and fixes can")
    return kind
