"""Read a library again and again: what did not change is not read anew.

For a preview, which follows an author's edits. What it gives is what `build.load` gives; a test over
random edits holds the two together. A change of anything but a tree reads everything anew: such
files are few, and any tree may use what they hold.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING

from kb_tools.model.build import each_role_once, note_empty, read_file, resolve_uses, resolve_uses_of, shelve
from kb_tools.model.entities import Library
from kb_tools.source.files import list_files

if TYPE_CHECKING:
    from pathlib import Path

    from kb_tools.findings import Finding
    from kb_tools.model.entities import Tree
    from kb_tools.source.files import SourceFile

_Stamp = tuple[int, int, int]
_SHARED = tuple(
    field.name
    for field in fields(Library)
    if field.name not in ("root", "trees", "findings", "broken", "doubts", "tree_files")
)
"""The shelves of a library that no tree file fills."""


@dataclass(slots=True)
class Changed:
    """What a reading found changed."""

    everything: bool = False
    """Whether a file that any tree may use is new, gone or other than it was."""
    files: set[str] = field(default_factory=set)
    """Tree files that are new, gone or other than they were."""
    trees: set[str] = field(default_factory=set)
    """Ids of trees that are new, gone or other than they were."""

    def __bool__(self) -> bool:
        """Tell whether there is any change."""
        return self.everything or bool(self.files)


@dataclass(frozen=True, slots=True)
class _Read:
    """One tree file as it was read: a library of one tree, or of none where it is broken."""

    stamp: _Stamp
    alone: Library

    @property
    def tree(self) -> Tree | None:
        return next(iter(self.alone.trees.values()), None)


class Rereader:
    """A library on disk that is followed."""

    def __init__(self, root: Path) -> None:
        """Read nothing yet; `root` is the folder that holds trees/."""
        self._root = root
        self._read: dict[str, _Read] = {}
        self._stamps: dict[str, _Stamp] = {}
        self._shared = Library(root)
        self._listed: list[Finding] = []
        self.library = Library(root)
        """The library as last read."""

    def read(self) -> Changed:
        """Read what changed since the last time, and tell what that was.

        Raises:
            LibraryError: when the root is gone.

        """
        listing = list_files(self._root)
        trees = {file.name: file for file in listing.files if file.role == "tree"}
        others = [file for file in listing.files if file.role != "tree"]
        stamps = {file.name: _stamp(file) for file in others}
        changed = Changed(everything=stamps != self._stamps or listing.findings != self._listed)
        if changed.everything:
            self._stamps, self._listed = stamps, listing.findings
            self._read_shared(others)
            self._read.clear()
        for name in [name for name in self._read if name not in trees]:
            self._note(changed, name, self._read.pop(name))
        for name, file in trees.items():
            before, stamp = self._read.get(name), _stamp(file)
            if before is None or before.stamp != stamp:
                self._read[name] = self._read_tree(file, stamp)
                self._note(changed, name, before, self._read[name])
        if changed:
            self.library = self._assembled(list(trees))
        return changed

    @staticmethod
    def _note(changed: Changed, name: str, *reads: _Read | None) -> None:
        changed.files.add(name)
        changed.trees.update(read.tree.id for read in reads if read and read.tree)

    def _read_shared(self, files: list[SourceFile]) -> None:
        self._shared = Library(self._root)
        for file in each_role_once(files, self._shared):
            read_file(file, self._shared, {})
        resolve_uses(self._shared)

    def _read_tree(self, file: SourceFile, stamp: _Stamp) -> _Read:
        shared = self._shared
        alone = Library(self._root, checks=shared.checks, fixes=shared.fixes)
        alone.doubts.keys |= shared.doubts.keys
        read_file(file, alone, {})
        for tree in alone.trees.values():
            resolve_uses_of(tree, alone)
        return _Read(stamp, alone)

    def _assembled(self, names: list[str]) -> Library:
        shared = self._shared
        library = Library(self._root, findings=[*self._listed, *shared.findings])
        for shelf in _SHARED:
            setattr(library, shelf, getattr(shared, shelf))
        for name in names:
            _add(self._read[name].alone, library)
        _add(shared, library)
        note_empty(library)
        return library


def _add(part: Library, library: Library) -> None:
    """Put into the library what a part of it was read to be, shared items apart."""
    library.tree_files += part.tree_files
    library.broken |= part.broken
    library.doubts.keys |= part.doubts.keys
    library.doubts.ids |= part.doubts.ids
    library.doubts.shelves |= part.doubts.shelves
    library.findings += part.findings
    for tree in part.trees.values():
        shelve(tree, library.trees, library)


def _stamp(file: SourceFile) -> _Stamp:
    """Return what tells a file from what it was before; of one that is gone meanwhile, zeros."""
    try:
        known = file.path.stat()
    except OSError:
        return (0, 0, 0)
    return (known.st_mtime_ns, known.st_size, known.st_ino)
