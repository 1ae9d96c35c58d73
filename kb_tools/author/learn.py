"""Learn from visit records: count them, add up parts, and keep which ones were counted.

Order does not matter, with one rule: of several records of one visit that was ended the first one
read counts, and one that was ended goes before one that was not (exported in the middle, say).
"""

from __future__ import annotations

import gc
import tempfile
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING

from kb_tools.author.learn_count import OTHER_LIBRARY, Tally
from kb_tools.author.learn_file import PART, read_counts
from kb_tools.author.learn_read import BATCH, Bad, record_files, visits
from kb_tools.author.learn_record import decode, encode
from kb_tools.author.learn_seen import Seen
from kb_tools.findings import LibraryError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path
    from typing import IO

    from kb_tools.author.learn_record import Visit
    from kb_tools.model.entities import Library
    from kb_tools.model.graph import StepGraph

NEWEST = date(2100, 1, 1)
"""No record that any clock dates later is believed."""
LIST = (".seen",)
"""How the list of counted records ends that belongs to a part."""
_IN_MEMORY = 8_000_000
"""Bytes of visits that were not ended before they go to a file."""


@dataclass(slots=True)
class Learned:
    """What was learned."""

    tally: Tally
    seen: Seen
    """The records that were counted, and those of the list that was given."""
    bad: Bad = field(default_factory=Bad)
    fresh: int = 0
    """Records that were counted now."""
    parts: int = 0
    """Files of counts that were added."""
    knows_doubles: bool = False
    """Whether a list tells which records are in the counts that were added."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What to learn from."""

    paths: list[Path]
    """Folders and files of records, files of counts, and lists of the records that those hold."""
    seen: Path | None = None
    """Where the list of counted records is, if it is there yet."""
    also: tuple[str, ...] = ()
    """Keys of the library from the time when it was called otherwise."""


def learn(
    library: Library,
    graph: StepGraph,
    asked: Asked,
    today: date,
    progress: Callable[[int, int], None] | None = None,
) -> Learned:
    """Count visit records, and add the counts of parts.

    Args:
        library: The library as it is today.
        graph: Its graph.
        asked: What to learn from.
        today: No record is younger; `NEWEST` where that is not known.
        progress: Called with (bytes read, bytes in all).

    Raises:
        LibraryError: when something named is not there, counts are of another library, or a list of
            counted records does not belong to the counts beside it.

    """
    tally = Tally(library, graph, today)
    keys = {library.key, *asked.also}
    learned = Learned(tally, _counted_already(asked))
    learned.knows_doubles = bool(len(learned.seen))
    for path in asked.paths:
        if _is(path, PART):
            _add_part(tally, path, keys)
            learned.parts += 1
    if (asked.seen or learned.knows_doubles) and len(learned.seen) != tally.records:
        raise LibraryError(
            f"The lists of counted records hold {len(learned.seen):,}, the counts beside them {tally.records:,}. Name "
            "the files that were written together, or begin both anew"
        )
    files = record_files([path for path in asked.paths if not _is(path, (*PART, *LIST))])
    collecting = gc.isenabled()
    # A visit holds nothing that holds the visit: there is nothing to collect.
    gc.disable()
    try:
        with tempfile.SpooledTemporaryFile(max_size=_IN_MEMORY) as unended:
            for batch in visits(files, learned.bad, progress):
                _count(_ended(batch, tally, keys, unended), learned)
            unended.seek(0)
            for batch in _batches(unended):
                _count(batch, learned)
    finally:
        if collecting:
            gc.enable()
    return learned


def _is(path: Path, kind: tuple[str, ...]) -> bool:
    return path.suffix.lower() in kind and not path.is_dir()


def _counted_already(asked: Asked) -> Seen:
    """Return the records that the lists name; one that stands in two of them was counted twice, which is refused."""
    lists = [path for path in asked.paths if _is(path, LIST) and path != asked.seen]
    if asked.seen and asked.seen.exists():
        lists.append(asked.seen)
    known = Seen()
    for path in lists:
        other = Seen.read(path)
        if shared := known.shared_with(other):
            raise LibraryError(
                f"{shared:,} records of {path} were counted in another part too, and would count twice. Count the "
                "records of that part again, with --seen and the list of the other"
            )
        known.update(other)
    return known


def _add_part(tally: Tally, path: Path, keys: set[str]) -> None:
    counts = read_counts(path)
    if counts.library is not None and counts.library not in keys:
        raise LibraryError(
            f"{path} was counted for the library {counts.library}, this one is {tally.library}. If it only was called "
            f"otherwise then, say --also {counts.library}"
        )
    tally.add(counts)


def _ended(batch: list[Visit], tally: Tally, keys: set[str], unended: IO[bytes]) -> list[Visit]:
    """Return the visits of this library that began in a tree of it and were ended; put by those that were not."""
    found = []
    for visit in batch:
        if visit.library.key not in keys:
            tally.set_aside[OTHER_LIBRARY] += 1
        elif tally.knows(visit):
            if visit.ended:
                found.append(visit)
            else:
                unended.write(encode(visit) + b"\n")
    return found


def _batches(unended: IO[bytes]) -> Iterator[list[Visit]]:
    batch: list[Visit] = []
    for line in unended:
        batch.append(decode(line))
        if len(batch) >= BATCH:
            yield batch
            batch = []
    yield batch


def _count(batch: list[Visit], learned: Learned) -> None:
    """Count the visits that were not counted before."""
    if not batch:
        return
    tally = learned.tally
    fresh = learned.seen.add([visit.id for visit in batch])
    count = tally.count
    for visit, new in zip(batch, fresh, strict=True):
        if new:
            count(visit)
    learned.fresh += sum(fresh)
    tally.doubles += len(batch) - sum(fresh)
