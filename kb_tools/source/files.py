"""Find the files of a library and read them as text, within limits.

A file that cannot be read yields findings and no text; it never hides another file.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

from kb_tools.findings import Finding, LibraryError, Place, Severity

if TYPE_CHECKING:
    from collections.abc import Mapping

MAX_BYTES = 2_000_000
"""A tree file is a few kilobytes; what is larger than this was not written by a person."""

MAX_COUNTED_BYTES = 20_000_000
"""The file of counts is written by a machine, with some lines for each step of each tree."""

_PERMISSION = "Give yourself read permission on it"

TREES = "trees"
CONTENT = "content"
"""The folder of pages and pictures."""
PICTURES = (".svg", ".png", ".jpg", ".jpeg", ".webp", ".gif", ".avif")
"""How the names of pictures end."""
FIGURES = f"{CONTENT}/figures"
"""The folder of the tables of figures, each a file."""
CARRIED = "kb/source.zip"
"""Where a built site carries the files that it was made from."""
PREVIOUS = "kb/previous.zip"
"""Where it carries the files of the edition before, which its page of what is new compares with."""
ACCEPTED = "kb/accepted.json"
"""Where it carries what got less safe and was accepted, with the reasons."""
NOT_AREAS = ("shared", "tables", "maps")
SHARED_NAMES = (
    "hazards",
    "cautions",
    "checks",
    "fixes",
    "proofs",
    "equipment",
    "words",
    "desk",
    "library",
    "moved",
)
COUNTS = "counts"
"""The shared file that the command for field records writes."""
SUFFIXES = (".yml", ".yaml")


@dataclass(frozen=True, slots=True)
class SourceFile:
    """A file of the library by what it holds."""

    path: Path
    """Where it lies on disk."""
    name: str
    """POSIX path relative to the root, as findings print it."""
    role: str
    """`tree`, `table`, `map`, `figures`, or the name of a shared file."""
    area: str = ""
    """The folder below trees/ for a tree, else empty."""

    @property
    def stem(self) -> str:
        """The file's name without its ending: the id of a tree, table or map."""
        return PurePosixPath(self.name).stem


@dataclass(slots=True)
class Listing:
    """All files of a library, with findings about those that do not belong."""

    root: Path
    files: list[SourceFile] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    hidden: set[str] = field(default_factory=set)
    """Folders and links, by name, that were not entered: what lies in them is not known."""

    def hide(self, finding: Finding) -> None:
        """Note that what `finding` tells of was not entered."""
        self.findings.append(finding)
        self.hidden.add(finding.place.file)


def unreadable(name: str, message: str, remedy: str, line: int = 1, column: int = 1) -> Finding:
    """Return a `file-readable` finding at a place of the file `name`."""
    return Finding(Place(name, line, column), "file-readable", Severity.ERROR, message, remedy)


def list_files(root: Path, texts: Mapping[str, str | None] | None = None) -> Listing:
    """List the YAML files below `root`/trees and `root`/content/figures, in the order of their names.

    Args:
        root: The folder that holds trees/.
        texts: Files to list as if they lay there, by POSIX path below `root`; with None in place of
            a text, files to leave out.

    Raises:
        LibraryError: when `root` is no folder.

    """
    if not root.is_dir():
        msg = f"{root} is no folder. Name the folder that holds {TREES}/."
        raise LibraryError(msg)
    listing = Listing(root)
    for name in (TREES, FIGURES):
        folder = root / name
        try:
            way = [root / part for part in (name.partition("/")[0], name)]
            outside = [place for place in way if place.is_symlink() and not _inside(place, root.resolve())]
            if outside:
                listing.hide(_leads_out(outside[0].relative_to(root).as_posix()))
            elif folder.is_dir():
                _walk(folder, root.resolve(), listing)
        except PermissionError:
            listing.hide(unreadable(name, "The library cannot be entered", _PERMISSION))
    if texts:
        listing.files = [file for file in listing.files if file.name not in texts]
        for name, text in texts.items():
            if text is not None and name.startswith((f"{TREES}/", f"{FIGURES}/")) and name.endswith(SUFFIXES):
                _classify(root / name, name, listing)
    listing.files.sort(key=lambda file: file.name)
    return listing


def _walk(folder: Path, real_root: Path, listing: Listing) -> None:
    """Add the files of `folder` and below; links that lead out of the root become findings."""
    name = folder.relative_to(listing.root).as_posix()
    try:
        entries = sorted(os.scandir(folder), key=lambda entry: entry.name)
    except OSError as error:
        listing.hide(unreadable(name, f"The folder cannot be read: {_reason(error)}", _PERMISSION))
        return
    for entry in entries:
        if entry.name.startswith("."):
            continue
        path = folder / entry.name
        child = f"{name}/{_printable(entry.name)}"
        if entry.is_symlink() and not _inside(path, real_root):
            listing.hide(_leads_out(child))
        elif entry.is_dir():
            if not entry.is_symlink():
                _walk(path, real_root, listing)
        elif entry.name.endswith(SUFFIXES):
            if entry.is_file():
                _classify(path, child, listing)
            else:
                listing.hide(unreadable(child, "This is no file that can be read", "Put a plain file there"))
        elif entry.name.casefold().endswith(SUFFIXES):
            listing.findings.append(
                unreadable(child, "The file's ending is in capital letters", "Rename it to end in .yml")
            )


def _printable(name: str) -> str:
    """Return a file's name; bytes of it that are not UTF-8 are spelt out."""
    return os.fsencode(name).decode("utf-8", "backslashreplace")


def _leads_out(name: str) -> Finding:
    return unreadable(
        name,
        "This link leads out of the library, or to nothing",
        "Put the file itself there; a library must be whole when its folder is copied",
    )


def _inside(path: Path, real_root: Path) -> bool:
    try:
        return path.resolve(strict=True).is_relative_to(real_root)
    except (OSError, RuntimeError):
        return False


def _classify(path: Path, name: str, listing: Listing) -> None:
    """Say what a YAML file is from where it lies."""
    if name.startswith(f"{FIGURES}/"):
        listing.files.append(SourceFile(path, name, "figures"))
        return
    parts = name.split("/")[1:]
    area = parts[0]
    if len(parts) == 1:
        listing.findings.append(
            unreadable(name, "A tree lies in a folder of its area", f"Move it to {TREES}/<area>/{parts[-1]}")
        )
    elif area == "shared":
        is_direct = parts[1:] == [path.name]
        if path.stem in (*SHARED_NAMES, COUNTS) and is_direct:
            listing.files.append(SourceFile(path, name, path.stem))
        else:
            known = ", ".join(f"{known}.yml" for known in SHARED_NAMES)
            listing.findings.append(
                unreadable(name, "No shared file has this name", f"The shared files are {known}; move or rename it")
            )
    elif area in ("tables", "maps"):
        listing.files.append(SourceFile(path, name, area.removesuffix("s")))
    else:
        listing.files.append(SourceFile(path, name, "tree", area))


def read_text(file: SourceFile) -> tuple[str | None, list[Finding]]:
    """Return the file's text, or None, and what was wrong with reading it.

    A byte-order mark is reported and passed over, so that other findings of the file still appear.
    """
    name = file.name
    try:
        size = file.path.stat().st_size
        most = MAX_COUNTED_BYTES if file.role == COUNTS else MAX_BYTES
        if size > most:
            return None, [
                Finding(
                    Place(name),
                    "limit-kept",
                    Severity.ERROR,
                    f"The file has {size:,} bytes; the limit is {most:,}",
                    "Split it: one tree a file, and pictures below content/",
                )
            ]
        raw = file.path.read_bytes()
    except OSError as error:
        return None, [unreadable(name, f"The file cannot be read: {_reason(error)}", _PERMISSION)]
    return decode(raw, name)


def decode(raw: bytes, name: str) -> tuple[str | None, list[Finding]]:
    """Decode UTF-8 `raw` of the file `name`; see `read_text`."""
    findings: list[Finding] = []
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        message = "The file is UTF-16, as some editors call Unicode"
        return None, [unreadable(name, message, "Save it as UTF-8 in the editor")]
    if raw.startswith(b"\xef\xbb\xbf"):
        raw = raw[3:]
        findings.append(
            unreadable(name, "The file starts with a byte-order mark", "Save it as UTF-8 without a byte-order mark")
        )
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        line, column = _position(raw[: error.start].decode("utf-8"))
        byte = raw[error.start]
        findings.append(
            unreadable(
                name,
                f"The file is not UTF-8: byte 0x{byte:02x} here fits no character",
                "Save it as UTF-8 in the editor",
                line,
                column,
            )
        )
        return None, findings
    nul = text.find("\0")
    if nul >= 0:
        line, column = _position(text[:nul])
        findings.append(
            unreadable(name, "A NUL byte stands here", "Delete it; a YAML file is plain text", line, column)
        )
        return None, findings
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    if not text.strip():
        findings.append(unreadable(name, "The file is empty", "Write the file's content or delete it"))
        return None, findings
    return text, findings


def _position(before: str) -> tuple[int, int]:
    """Return line and column, from 1, of the character after `before`."""
    return before.count("\n") + 1, len(before) - before.rfind("\n")


def _reason(error: OSError) -> str:
    return (error.strerror or type(error).__name__).lower()
