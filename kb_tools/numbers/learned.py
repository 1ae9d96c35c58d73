"""What the field teaches: from the counts of visit records to what a workshop lead should look at.

Shares and cure rates are told with 90 % intervals (`records.share_interval`), the prior's strength
and the number of records, so that nobody takes twelve records for a law.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta
from typing import TYPE_CHECKING

from kb_tools.findings import LibraryError
from kb_tools.model.graph import UNINFORMED
from kb_tools.numbers.odds import library_numbers
from kb_tools.numbers.records import share_interval
from kb_tools.numbers.shares import found_causes, prior_shares, prior_strength

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from datetime import date

    from kb_tools.model.entities import Counts, Library, StepCounts, Tree
    from kb_tools.model.graph import StepGraph
    from kb_tools.numbers.odds import TreeNumbers

YEAR = timedelta(days=365)
LEAST_TIMED = 5
"""From so many times on a median is told."""
FAR_LONGER = 2.0
"""A step takes far longer than its author says when the median is more than so many times as long."""
_FIRST_BIN = 0.25
"""Minutes up to which the first bin of times reaches; each further one reaches twice as far."""
_TIMED = ("check", "measure", "do")
_ANSWERED = ("answer", "band")


@dataclass(frozen=True, slots=True)
class Often:
    """How often something happened at a step, of how often it could have."""

    tree: str
    step: str
    number: int
    of: int


@dataclass(frozen=True, slots=True)
class Slow:
    """A step that takes far longer than its author says."""

    tree: str
    step: str
    median: float
    """Minutes, interpolated within a bin of times."""
    says: float
    """Minutes hands on and waiting, as the tree has them."""
    timed: int


@dataclass(frozen=True, slots=True)
class Cured:
    """How often a fix cured, where it did not always."""

    tree: str
    step: str
    cured: int
    of: int
    expected: float
    """Chance that it cures when it is made, as the tree has it."""
    low: float
    high: float
    """90 % interval of the chance that it cures, from the counts and even odds worth two records."""

    @property
    def is_surprising(self) -> bool:
        """Whether it cures less often than the tree says, and hardly by chance."""
        return self.high < self.expected


@dataclass(frozen=True, slots=True)
class Silent:
    """An answer that nobody has given for a year, at a step of a tree that was opened."""

    tree: str
    step: str
    answer: str
    last: date | None


@dataclass(frozen=True, slots=True)
class Unopened:
    """A tree that nobody has opened for a year, or ever."""

    tree: str
    last: date | None


@dataclass(frozen=True, slots=True)
class Share:
    """A cause's share, from the author and the records."""

    cause: str
    found: int
    author: float
    mean: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Lessons:
    """What the counts teach; in each list the weightiest first."""

    records: int
    first: date | None
    last: date | None
    until: date | None
    """The day from which a year is counted back."""
    strength: float
    """How many records the author's shares weigh as much as."""
    set_aside: dict[str, int] = field(default_factory=dict)
    spans_a_year: bool = False
    """Whether the records reach back a year; without that no answer is called silent."""
    shares: dict[str, list[Share]] = field(default_factory=dict)
    """Tree -> its causes, where records found any."""
    no_cure: list[Often] = field(default_factory=list)
    """Walks that ended at a step without a cure, of all that ended in its tree."""
    cannot_tell: list[Often] = field(default_factory=list)
    back: list[Often] = field(default_factory=list)
    slow: list[Slow] = field(default_factory=list)
    fixes: list[Cured] = field(default_factory=list)
    silent: list[Silent] = field(default_factory=list)
    unopened: list[Unopened] = field(default_factory=list)
    searches: dict[str, int] = field(default_factory=dict)
    """Word that was searched for and found nothing -> in how many visits."""


def tree_shares(library: Library, tree: Tree) -> list[Share]:
    """Return the shares of a tree's causes from author and records, in the order written; empty without records."""
    found = found_causes(library, tree)
    if not found:
        return []
    prior = prior_shares(tree)
    known = share_interval(list(found.values()), [float(share) for share in prior.values()], prior_strength(library))
    return [
        Share(name, found[name], float(prior[name]), mean, low, high)
        for name, (mean, low, high) in zip(found, known, strict=True)
    ]


def lessons(library: Library, graph: StepGraph, today: date | None = None) -> Lessons:
    """Return what the counts of a library teach.

    Args:
        library: The library, with counts.
        graph: Its graph.
        today: From when a year is counted back; left out: the day of the newest record.

    Raises:
        LibraryError: when nothing was counted, or the trees run in a loop.

    """
    counts = library.counts
    if counts is None or not counts.records:
        raise LibraryError("Nothing was counted yet: `kb learn RECORDS --out trees/shared/counts.yml` does that")
    until = today or (counts.last.date if counts.last else None)
    start = until - YEAR if until else None
    first = counts.first.date if counts.first else None
    trees = [tree for tree in library.trees.values() if tree.start in tree.steps and not tree.is_draft]
    looking = _Looking(library, graph, counts, start)
    spans = bool(start and first and first <= start)
    unopened = [Unopened(tree.id, last) for tree in trees if looking.is_old(last := looking.last_opened(tree))]
    opened = [tree for tree in trees if tree.id not in {one.tree for one in unopened}]
    return Lessons(
        counts.records,
        first,
        counts.last.date if counts.last else None,
        until,
        prior_strength(library),
        {str(name): number for name, number in (counts.set_aside or {}).items()},
        spans,
        {tree.id: shares for tree in trees if (shares := tree_shares(library, tree))},
        sorted(looking.no_cure(), key=_weight),
        sorted(looking.cannot_tell(), key=_weight),
        sorted(looking.back(), key=_weight),
        sorted(looking.slow(), key=lambda one: (-one.median / max(one.says, _FIRST_BIN), one.tree, one.step)),
        sorted(
            looking.fixes(),
            key=lambda one: (not one.is_surprising, one.cured - one.expected * one.of, one.tree, one.step),
        ),
        [silent for tree in opened for silent in looking.silent(tree)] if spans else [],
        unopened,
        dict(
            sorted(((str(word), n) for word, n in (counts.searches or {}).items()), key=lambda one: (-one[1], one[0]))
        ),
    )


def _weight(one: Often) -> tuple[int, str, str]:
    return -one.number, one.tree, one.step


class _Looking:
    """Looks through counts."""

    def __init__(self, library: Library, graph: StepGraph, counts: Counts, start: date | None) -> None:
        self.library, self.graph, self.start = library, graph, start
        self.trees = {str(name): tree for name, tree in (counts.trees or {}).items()}

    def steps(self) -> Iterator[tuple[str, str, StepCounts]]:
        """Yield tree, step and counts of each step that the library has."""
        for tree, counted in self.trees.items():
            for step, counts in (counted.steps or {}).items():
                if f"{tree}/{step}" in self.graph.nodes:
                    yield tree, str(step), counts

    def is_old(self, day: date | None) -> bool:
        """Tell whether something was last done more than a year ago, or never."""
        return day is None or (self.start is not None and day < self.start)

    def last_opened(self, tree: Tree) -> date | None:
        """Return when a tree was last opened, by itself or by a link."""
        counted = self.trees.get(tree.id)
        if counted is None:
            return None
        days = [day.date for step in (counted.steps or {}).values() for day in (step.last or {}).values()]
        return max([*days, *([counted.last.date] if counted.last else [])], default=None)

    def no_cure(self) -> Iterator[Often]:
        """Yield where walks ended without a cure."""
        for tree, step, counts in self.steps():
            if counts.stopped:
                yield Often(tree, step, counts.stopped, self.ended_in(tree))

    def ended_in(self, tree: str) -> int:
        """Return how many walks ended in a tree: without a cure, by a proof that passed, at an end without one."""
        counted = self.trees[tree]
        steps = self.library.trees[tree].steps
        ended = 0
        for name, counts in (counted.steps or {}).items():
            ended += counts.stopped
            if name in steps and steps[name].kind in ("fix", "done"):
                ended += (counts.answers or {}).get("cured", 0)  # type: ignore[call-overload]
        for name, number in (counted.causes or {}).items():
            if name in steps and steps[name].kind == "done" and not steps[name].proof:
                ended += number
        return ended

    def cannot_tell(self) -> Iterator[Often]:
        """Yield where people could not tell, or could not do it."""
        for tree, step, counts in self.steps():
            lost = {way.label for way in self.graph.nodes[f"{tree}/{step}"].ways if way.kind in UNINFORMED}
            number = counts.assumed + sum(n for answer, n in (counts.answers or {}).items() if answer in lost)
            if number:
                yield Often(tree, step, number, max(number, _taken(counts)))

    def back(self) -> Iterator[Often]:
        """Yield where people took an answer back."""
        for tree, step, counts in self.steps():
            if counts.back:
                yield Often(tree, step, counts.back, counts.back + _taken(counts))

    def slow(self) -> Iterator[Slow]:
        """Yield the checks and actions that take far longer than their authors say."""
        for tree, name, counts in self.steps():
            step = self.graph.nodes[f"{tree}/{name}"].step
            timed = sum(counts.minutes)
            if step.kind in _TIMED and timed >= LEAST_TIMED:
                says = step.minutes + (step.wait.minutes if step.wait else 0.0)
                median = median_minutes(counts.minutes)
                if median > FAR_LONGER * says:
                    yield Slow(tree, name, median, says, timed)

    def fixes(self) -> Iterator[Cured]:
        """Yield the fixes after which a proof failed."""
        numbers: Mapping[str, TreeNumbers] = library_numbers(self.graph, self.library) if self.graph.order else {}
        for tree, name, counts in self.steps():
            if self.graph.nodes[f"{tree}/{name}"].step.kind != "fix":
                continue
            given: Mapping[str, int] = counts.answers or {}  # type: ignore[assignment]
            cured, failed = given.get("cured", 0), given.get("not cured", 0)
            if failed:
                _, low, high = share_interval([cured, failed], [1, 1], 2)[0]
                expected = numbers[tree].steps[name].cured if tree in numbers else 1.0
                yield Cured(tree, name, cured, cured + failed, expected, low, high)

    def silent(self, tree: Tree) -> Iterator[Silent]:
        """Yield the answers of a tree that nobody has given for a year."""
        steps = {str(name): counts for name, counts in (self.trees[tree.id].steps or {}).items()}
        for name in map(str, tree.steps):
            counts = steps.get(name)
            for way in self.graph.nodes[f"{tree.id}/{name}"].ways:
                day = (counts.last or {}).get(way.label) if counts else None  # type: ignore[call-overload]
                last = day.date if day else None
                if way.kind in _ANSWERED and self.is_old(last):
                    yield Silent(tree.id, name, str(way.label), last)


def _taken(counts: StepCounts) -> int:
    return sum((counts.answers or {}).values())


def median_minutes(bins: Sequence[int]) -> float:
    """Return the median of times that were counted in bins, interpolated within its bin.

    Args:
        bins: How many lay in each: up to 1/4 min, up to 1/2, 1, 2 and so on; not all 0.

    """
    half, before = sum(bins) / 2, 0
    for place, number in enumerate(bins):
        if before + number >= half and number:
            high = _FIRST_BIN * (1 << place)
            low = high / 2 if place else 0.0
            return low + (high - low) * (half - before) / number
        before += number
    return 0.0
