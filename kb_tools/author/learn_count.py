"""Count what visit records say, step by step, against the library as it is today.

Only words of the library are counted: its trees, steps, answers. What a record says beyond them is
set aside with a count. The one exception are words that were searched for, where the reader let them
into the record: single words of letters, without their neighbours.

A *cause found* is a fix after which the proof passed, or the escalation or other end where the walk
came to stand; in a tree that goes on in another one it is the link. It counts for a tree whose first
step the visit passed: shares are about cases that start there.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from kb_tools.model.moved import Moves

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from kb_tools.author.learn_record import Taken, Visit
    from kb_tools.model.entities import Counts, Library, StepCounts
    from kb_tools.model.graph import StepGraph
    from kb_tools.model.values import Day

OPEN = "open"
"""The outcome of a visit that was not ended."""
OTHER_LIBRARY, UNKNOWN_TREE, UNKNOWN_ANSWERS = "other-library", "unknown-tree", "unknown-answers"
OUTCOMES = ("cured", "nothing found", "part ordered", "made safe", "refused", "handed over", OPEN)
BIN_SECONDS = 15
BINS = 13
"""Times are told in so many steps, each twice as long as the one before; the last one has no end."""
_DAY_SECONDS = 86_400
_MOST_SECONDS = BIN_SECONDS << (BINS - 2)
"""From here on times lie in the last bin."""
_OLDEST = date(2000, 1, 1).toordinal()
_WORD = re.compile(r"[^\W\d_]{2,24}")
_MOST_WORDS = 40
"""Words of one record that are counted."""
_ENDS = ("escalate", "done")
_PROVEN = ("fix", "done")
"""Kinds of step that a proof may follow."""


@dataclass(slots=True)
class StepTally:
    """What was counted at one step."""

    tree: str
    name: str
    kind: str
    onward: dict[str, str]
    """Answer -> where it leads as `tree/step`; empty where it leads nowhere."""
    answers: dict[str, list[int]]
    """Answer -> how often it was given, and the day of the last time (proleptic ordinal; 0: unknown)."""
    assumed: int = 0
    back: int = 0
    stopped: int = 0
    minutes: list[int] = field(default_factory=lambda: [0] * BINS)


@dataclass(slots=True)
class TreeTally:
    """What was counted of one tree."""

    id: str
    start: str
    steps: dict[str, StepTally]
    visits: int = 0
    last: int = 0
    outcomes: dict[str, int] = field(default_factory=lambda: dict.fromkeys(OUTCOMES, 0))
    causes: dict[str, int] = field(default_factory=dict)


class Tally:
    """What was counted of a library."""

    def __init__(self, library: Library, graph: StepGraph, today: date) -> None:
        """Begin with nothing.

        Args:
            library: The library as it is today.
            graph: Its graph.
            today: No record is younger: a date after the next day comes from a clock that was wrong, and
                is not used.

        """
        self.library = library.key
        self.moves = Moves(library)
        self.trees = {
            tree.id: _tally_of(tree.id, str(tree.start or ""), graph, list(tree.steps))
            for tree in library.trees.values()
        }
        self._steps = {name: tree.steps for name, tree in self.trees.items()}
        self._newest = (today + timedelta(days=1)).toordinal()
        self.records = self.doubles = self.first = self.last = 0
        self.set_aside = dict.fromkeys((OTHER_LIBRARY, UNKNOWN_TREE, UNKNOWN_ANSWERS), 0)
        self.searches: dict[str, int] = {}

    def knows(self, visit: Visit) -> bool:
        """Tell whether the tree in which a visit began is there; if it is not, set the visit aside."""
        first = visit.trees[0].tree
        if first not in self.trees and self._tree_at(first) is None:
            self.set_aside[UNKNOWN_TREE] += 1
            return False
        return True

    def count(self, visit: Visit) -> None:  # noqa: C901, PLR0912 - nearly all time is spent in this loop
        """Count a visit whose first tree is known, and that is no double."""
        tree = self._tree_at(visit.trees[0].tree)
        if tree is None:
            return
        day = visit.started.toordinal()
        if not _OLDEST <= day <= self._newest:
            day = 0
        self._count_visit(visit, tree, day)
        known = self._steps
        entered, at = True, visit.started
        last: StepTally | None = None
        for one in visit.steps:
            before, at = at, one.at
            try:
                last = step = known[one.tree][one.step]
                count = step.answers[one.answer]
            except KeyError:
                last = moved = self._moved(one)
                if moved is None:
                    self.set_aside[UNKNOWN_ANSWERS] += 1
                    continue
                step, count = moved, moved.answers[one.answer]
            if step.tree != tree.id:
                # Came in by a way that this edition does not have.
                tree, entered = self.trees[step.tree], False
            count[0] += 1
            if day > count[1]:  # noqa: PLR1730 - a call costs more
                count[1] = day
            if one.assumed:
                step.assumed += 1
            if not one.kept:
                spent = at - before
                seconds = spent.days * _DAY_SECONDS + spent.seconds
                if seconds > 0:
                    step.minutes[((seconds - 1) // BIN_SECONDS).bit_length() if seconds < _MOST_SECONDS else -1] += 1
            if step.kind == "link":
                tree, entered = self._through_link(step, tree, entered=entered)
        if visit.withdrawn:
            self._count_withdrawn(visit)
        if last is not None or not visit.steps:
            self._count_end(visit, tree, last, entered=entered)

    def _moved(self, one: Taken) -> StepTally | None:
        """Return the step that ids of old mean; None where this edition does not have it, or not that answer."""
        step = self._step_at(one.tree, one.step)
        return step if step and one.answer in step.answers else None

    def _tree_at(self, name: str) -> TreeTally | None:
        return self.trees.get(name) or self.trees.get(self.moves.now(name)[0])

    def _count_visit(self, visit: Visit, tree: TreeTally, day: int) -> None:
        self.records += 1
        if day:
            self.first = min(self.first or day, day)
            self.last = max(self.last, day)
            tree.last = max(tree.last, day)
        tree.visits += 1
        tree.outcomes[(visit.outcome or OPEN) if visit.ended else OPEN] += 1
        if visit.searches:
            _add(self.searches, dict.fromkeys(words_of(visit.searches), 1))

    def _count_withdrawn(self, visit: Visit) -> None:
        for one in visit.withdrawn:
            step = self._step_at(one.tree, one.step)
            if step is not None:
                step.back += 1

    def _through_link(self, step: StepTally, tree: TreeTally, *, entered: bool) -> tuple[TreeTally, bool]:
        """Count a link as the cause in the tree that it leaves; return where the visit goes on."""
        if entered:
            _add(tree.causes, {step.name: 1})
        target, _, first = step.onward["go"].partition("/")
        onward = self.trees.get(target)
        return (tree, False) if onward is None else (onward, first == onward.start)

    def _count_end(self, visit: Visit, tree: TreeTally, last: StepTally | None, *, entered: bool) -> None:
        """Count where a visit came to stand: a cause, or a step without a cure."""
        proven = last is not None and last.kind in _PROVEN and visit.steps[-1].answer == "cured"
        if last is None:
            end = tree.steps.get(tree.start)
        elif proven:
            end = last
        else:
            target, _, name = last.onward[visit.steps[-1].answer].partition("/")
            end = self.trees[target].steps.get(name) if target in self.trees else None
        if end is None:
            return
        if (end.kind in _ENDS or proven) and entered and end.tree == tree.id:
            _add(tree.causes, {end.name: 1})
        if visit.ended and end.kind != "done" and not proven:
            end.stopped += 1

    def _step_at(self, tree: str, step: str) -> StepTally | None:
        now_tree, now_step = self.moves.now(tree, step)
        known = self.trees.get(now_tree)
        return known.steps.get(now_step) if known else None

    def add(self, counts: Counts) -> None:
        """Add what was counted elsewhere, or before; ids of old are those that they mean today."""
        self.records += counts.records
        self.doubles += counts.doubles
        _add(self.set_aside, counts.set_aside)
        _add(self.searches, counts.searches)
        if first := _ordinal(counts.first):
            self.first = min(self.first or first, first)
        self.last = max(self.last, _ordinal(counts.last))
        for name, part in (counts.trees or {}).items():
            tree = self._tree_at(str(name))
            if tree is None:
                self.set_aside[UNKNOWN_TREE] += part.visits
            else:
                tree.visits += part.visits
                tree.last = max(tree.last, _ordinal(part.last))
                _add(tree.outcomes, part.outcomes)
            for cause, number in (part.causes or {}).items():
                step = self._step_at(str(name), str(cause))
                if step is not None:
                    _add(self.trees[step.tree].causes, {step.name: number})
            for old, counted in (part.steps or {}).items():
                self._add_step(self._step_at(str(name), str(old)), counted)

    def _add_step(self, step: StepTally | None, counted: StepCounts) -> None:
        for answer, number in (counted.answers or {}).items():
            here = step.answers.get(answer) if step else None
            if here is None:
                self.set_aside[UNKNOWN_ANSWERS] += number
                continue
            here[0] += number
            here[1] = max(here[1], _ordinal((counted.last or {}).get(answer)))
        if step is not None:
            step.assumed += counted.assumed
            step.back += counted.back
            step.stopped += counted.stopped
            for at, number in enumerate(counted.minutes):
                step.minutes[min(at, BINS - 1)] += number


def _ordinal(day: Day | None) -> int:
    return day.date.toordinal() if day else 0


def words_of(texts: Iterable[str]) -> list[str]:
    """Return the words of what was searched for, in small letters and each once: no digits, no signs, no order."""
    found = {word for text in texts for word in _WORD.findall(unicodedata.normalize("NFC", text).lower())}
    return sorted(found)[:_MOST_WORDS]


def _add(to: dict[str, int], numbers: Mapping[Any, int] | None) -> None:
    for name, number in (numbers or {}).items():
        to[str(name)] = to.get(str(name), 0) + number


def _tally_of(tree: str, start: str, graph: StepGraph, names: list[str]) -> TreeTally:
    """Return an empty tally of a tree, with every answer that its steps take."""
    steps: dict[str, StepTally] = {}
    for name in map(str, names):
        node = graph.nodes[f"{tree}/{name}"]
        onward = {str(way.label): way.target or "" for way in node.ways}
        if node.step.kind == "fix" or (node.step.kind == "done" and node.step.proof):
            onward = {"cured": "", **onward}
        steps[name] = StepTally(tree, name, node.step.kind, onward, {label: [0, 0] for label in onward})
    return TreeTally(tree, start, steps)
