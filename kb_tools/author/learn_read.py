"""Find and read visit records: folders, files of one record, files of one record a line; all streamed.

What cannot be read is named and passed over; one bad record never hides another.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from kb_tools.author.learn_record import PROBLEMS, Visit, decode, problem_of
from kb_tools.findings import LibraryError, UsageError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

ONE_EACH = (".json",)
ONE_A_LINE = (".jsonl", ".ndjson")
LONGEST = 16_000_000
"""Bytes of a record; the walk cuts its texts and lists long before."""
BATCH = 128
"""So few and so little at once stay in the processor's caches, which halves the time of reading."""
_CHUNK = 1 << 18
_NAMED = 100
"""So many bad records are named; of the others only the number is told."""
_MARK = b"\xef\xbb\xbf"


@dataclass(slots=True)
class Bad:
    """Records that could not be read."""

    named: list[str] = field(default_factory=list)
    """Each as file:line:column, and what is wrong."""
    number: int = 0

    def add(self, path: Path, line: int, column: int, what: str) -> None:
        """Note one."""
        self.number += 1
        if len(self.named) < _NAMED:
            self.named.append(f"{_shown(path)}:{line}:{column}: {what}; it was passed over")


def record_files(paths: list[Path]) -> list[Path]:
    """Return the files of records that are named or lie in the folders named, in the order of their names.

    Raises:
        LibraryError: when one does not exist, or a folder cannot be entered.

    """
    found: list[Path] = []
    for path in paths:
        if path.is_dir():
            found += sorted(_below(path))
        elif path.exists():
            found.append(path)
        else:
            raise UsageError(f"{path} does not exist; name folders or files of visit records")
    return list(dict.fromkeys(found))


def visits(files: list[Path], bad: Bad, progress: Callable[[int, int], None] | None = None) -> Iterator[list[Visit]]:
    """Yield the visits of all files, some at a time.

    Args:
        files: What `record_files` found.
        bad: Where records go that cannot be read.
        progress: Called with (bytes read, bytes in all).

    """
    total = sum(_size(path) for path in files)
    done = 0
    batch: list[Visit] = []
    for path in files:
        try:
            for visit in _one_a_line(path, bad) if path.suffix.lower() in ONE_A_LINE else _one_each(path, bad):
                batch.append(visit)
                if len(batch) >= BATCH:
                    yield batch
                    batch = []
        except OSError as error:
            bad.add(path, 1, 1, f"the file cannot be read: {(error.strerror or type(error).__name__).lower()}")
        done += _size(path)
        if progress:
            progress(done, total)
    if batch:
        yield batch


def _below(folder: Path) -> Iterator[Path]:
    def refuse(error: OSError) -> None:
        raise LibraryError(f"{error.filename} cannot be entered: {error.strerror}; give yourself read permission on it")

    for root, folders, names in os.walk(folder, onerror=refuse):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in names:
            if not name.startswith(".") and name.lower().endswith((*ONE_EACH, *ONE_A_LINE)):
                yield Path(root, name)


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _one_each(path: Path, bad: Bad) -> Iterator[Visit]:
    """Yield the record of a file; of a file with a record a line under another ending, all of them."""
    with path.open("rb") as stream:
        raw = stream.read(LONGEST + 1)
    whole = raw.removeprefix(_MARK)
    if len(raw) > LONGEST:
        # No record is so long: it may hold one a line all the same.
        yield from _one_a_line(path, bad)
        return
    try:
        yield decode(whole)
    except PROBLEMS as error:
        lines = [line for line in whole.split(b"\n") if line.strip()]
        if len(lines) > 1 and all(line.lstrip().startswith(b"{") and line.rstrip().endswith(b"}") for line in lines):
            yield from _one_a_line(path, bad)
            return
        what, at = problem_of(whole, error)
        before = whole[:at]
        bad.add(path, before.count(b"\n") + 1, len(before) - before.rfind(b"\n"), what)


def _one_a_line(path: Path, bad: Bad) -> Iterator[Visit]:
    """Yield the records of a file that holds one a line."""
    number = 0
    for raw in _lines(path):
        number += 1
        if len(raw) > LONGEST:
            bad.add(path, number, 1, f"the line is longer than {LONGEST:,} bytes")
            continue
        try:
            yield decode(raw)
        except PROBLEMS as error:
            if raw.strip():
                what, at = problem_of(raw, error)
                bad.add(path, number, at + 1, what)


def _lines(path: Path) -> Iterator[bytes]:
    """Yield the lines of a file; of one that is longer than a record can be, only so much that this shows."""
    with path.open("rb") as stream:
        rest = stream.read(len(_MARK)).removeprefix(_MARK)
        while chunk := stream.read(_CHUNK):
            lines = (rest + chunk).split(b"\n")
            rest = lines.pop()
            yield from lines
            if len(rest) > LONGEST:
                rest = rest[: LONGEST + 1]
        if rest:
            yield rest


def _shown(path: Path) -> str:
    """Return a path as it can be printed: what a terminal would act on is spelt out."""
    return "".join(char if char.isprintable() else char.encode("unicode_escape").decode() for char in str(path))
