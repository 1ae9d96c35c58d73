"""The best order of checks for a table of causes and checks: the front door of the search.

A first plan by information gain per minute stands at once. Where causes may show several answers, or
hazards must be isolated, the exact search has a short trial; if that proves nothing and the states
are few enough, all of them are gone through (`order_lattice`), and that is the end. Otherwise slices
of the exact search and of the plan's improvement take turns, each slice longer than the one before,
until the plan is proven or time is up. Slices are counted in states and not in seconds, so that the
outcome depends on the clock only where the clock ends it.
"""

from __future__ import annotations

import math
import os
import sys
import time
from contextlib import contextmanager, suppress
from itertools import count
from typing import TYPE_CHECKING

from kb_tools.model.tables import Shown
from kb_tools.model.values import Word
from kb_tools.numbers.order_bounds import Bounds
from kb_tools.numbers.order_exact import ExactSearch
from kb_tools.numbers.order_greedy import Plan
from kb_tools.numbers.order_lattice import Lattice
from kb_tools.numbers.order_problem import Progress, Result
from kb_tools.numbers.order_states import States, bits
from kb_tools.numbers.order_walk import group_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from kb_tools.numbers.order_problem import Group, Order, Problem

ALWAYS_EXACT = 20
"""Up to so many causes and so many checks the search has no time limit unless the caller sets one."""
DEFAULT_SECONDS = 55.0
"""Time limit of larger tables; with reading and printing it makes a minute."""
_FIRST_SLICE = 300_000_000
"""The first slice of the exact search: states times causes squared times checks, so that it takes
about a second whatever the table's size."""
_TRIAL = 5
"""With open answers or stays the exact search first looks at states so many times causes times checks only; then
all states are gone through if they are few enough."""
_IN_LATTICE_A_SECOND = 4_000_000
"""The work of the lattice done in a second at least; a limit of time asks for this figure."""
_MEMORY = 1 << 32
"""Its values may take so many bytes where the machine does not tell how much memory it has; else half of that."""
_LATTICE_FOR_ONE = 250
"""So much work of the lattice takes no longer than one situation of the exact search."""
_LARGE = 150
"""With more causes the exact search waits until the plan no longer gets better."""
_ROUNDING = 1e-12
_REPORT_EVERY = 0.5


class _TimeUp(Exception):  # noqa: N818 - it is no error
    """The time limit is reached."""


class _SliceUp(Exception):  # noqa: N818 - it is no error
    """It is the other part's turn."""


def best_order(
    problem: Problem,
    *,
    seconds: float | None = None,
    states: int | None = None,
    progress: Callable[[Progress], None] | None = None,
) -> Result:
    """Find the order of checks with the fewest expected minutes.

    Minutes and chances are as `order_problem` says. Without `seconds` tables of up to 20 causes and
    20 checks are searched until the order is proven, larger ones for about a minute. Where many answers are
    open that may take half of the machine's memory. When time is up, or at a KeyboardInterrupt after the
    first plan, the best order so far comes back with `exact` False and the lower bound that is proven by then.
    `states` ends the search after so many situations looked at (many states of `order_lattice` count as
    one): unlike a limit of time it gives the same result on every machine.

    An exact order does not depend on the sequence in which causes, checks and answers are given.
    Of several best orders one is chosen, always the same.
    """
    small = max(len(problem.causes), len(problem.checks)) <= ALWAYS_EXACT
    if seconds is None and states is None and not small:
        seconds = DEFAULT_SECONDS
    run = _Run(problem, seconds, progress)
    run.most = states
    try:
        with _deep_recursion(len(problem.causes) + len(problem.checks)):
            run.go()
    except (_TimeUp, KeyboardInterrupt):
        run.stop()
    return run.result()


def groups(problem: Problem) -> tuple[tuple[str, ...], ...]:
    """Causes of which no check is sure to tell any two apart: two or more each, best fix first.

    The groups are those that the rule `cause-separable` names. Two causes that may show the same
    answer to every check can still be told apart by luck, where one of them shows another answer.
    """
    cells = {
        (cause, check.id): frozenset(answer for a, answer in enumerate(check.answers) if mask >> a & 1)
        for cause, row in zip(problem.causes, problem.shows, strict=True)
        for check, mask in zip(problem.checks, row, strict=True)
    }
    outcomes = {check.id: frozenset(check.answers) for check in problem.checks}
    causes = tuple(Word(cause) for cause in sorted(problem.causes))
    shown = Shown(causes, tuple(Word(check) for check in outcomes), outcomes, cells)
    place = {cause: i for i, cause in enumerate(problem.causes)}
    named = []
    for group in shown.groups():
        left = {place[cause]: problem.weights[place[cause]] for cause in group}
        named.append(tuple(group_of(problem, left)["causes"]))
    return tuple(sorted(named))


@contextmanager
def _deep_recursion(levels: int) -> Iterator[None]:
    """Let the search call itself once for each check on a way; Python's frames take no C stack."""
    before = sys.getrecursionlimit()
    sys.setrecursionlimit(before + 4 * levels)
    try:
        yield
    finally:
        sys.setrecursionlimit(before)


def _most_memory() -> int:
    """Bytes that the lattice's values may take."""
    try:
        return os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") // 2
    except (AttributeError, ValueError, OSError):  # no such question on this system
        return _MEMORY


class _Run:
    """One search: its parts, its clock and its best order so far."""

    def __init__(self, problem: Problem, seconds: float | None, progress: Callable[[Progress], None] | None) -> None:
        self.problem = problem
        self.progress = progress
        self.began = self.reported = time.monotonic()
        self.end = None if seconds is None else self.began + seconds
        self.slice_end: int | None = None
        self.most: int | None = None
        self.ticking = False
        self.exact = False
        self.states = States(problem)
        self.start = self.states.everything
        self.plan = Plan(self.states, self.tick)
        self.value = self.plan.extend(self.start)
        self.search = ExactSearch(self.states, Bounds(self.states), self.tick)
        self.lattice: Lattice | None = None

    @property
    def lower_bound(self) -> float:
        """The proven lower bound so far, in minutes."""
        return self.value if self.exact else min(self.search.floor, self.value)

    @property
    def looked_at(self) -> int:
        """Situations looked at so far."""
        return self.search.looked_at + (self.lattice.looked_at if self.lattice else 0)

    def tick(self) -> None:
        """Look at the clock, report, end what must end; called from inside the long loops."""
        if not self.ticking:
            return
        now = time.monotonic()
        if self.progress and now - self.reported >= _REPORT_EVERY:
            self.reported = now
            self.progress(Progress(now - self.began, self.value, self.lower_bound, self.looked_at))
        if self.end is not None and now >= self.end:
            raise _TimeUp
        if self.most is not None and self.search.looked_at >= self.most:
            raise _TimeUp
        if self.slice_end is not None and self.search.looked_at >= self.slice_end:
            raise _SliceUp

    def go(self) -> None:
        """Search and improve in turns until the order is proven."""
        checks = len(self.states.checks)
        length = 1 + _FIRST_SLICE // max(1, self.states.size**2 * checks)
        most, width = 8, 2
        settled = False
        self.ticking = True
        if not self.states.plain:
            self.search_slice(min(length, 1 + _TRIAL * self.states.size * checks))
            if not self.exact:
                self.go_through_all()
            if self.exact:
                return
        for turn in count():
            if settled or turn == 0 or self.states.size <= _LARGE:
                self.search_slice(length)
                if self.exact:
                    return
            if not settled:
                helped = self.improve(length, most, width)
                if self.exact:
                    return
                settled = not helped and most >= self.states.size and width >= checks
                most, width = most + most // 2, width * 2
            length *= 2

    def search_slice(self, length: int) -> None:
        """Go on with the exact search of the start for so many states."""
        self.slice_end = self.search.looked_at + length
        try:
            self.search.run(self.value * (1 - _ROUNDING))
        except _SliceUp:
            self.take_found()
        else:
            self.take_found()
            self.exact = True

    def go_through_all(self) -> None:
        """Work out every state, if there are few enough of them for the limits set."""
        self.slice_end = None
        self.lattice = Lattice(self.states, self.tick)
        fits = self.lattice.memory <= _most_memory() and self.lattice.work <= self.room_for_lattice()
        if self.lattice.count is not None and fits:
            with suppress(MemoryError):
                self.lattice.run()
                self.adopt(self.lattice, self.lattice.best_check(self.start))
                self.exact = True
        self.lattice = None  # its memory is free at once

    def room_for_lattice(self) -> float:
        """The most work that the lattice may be."""
        room = math.inf
        if self.end is not None:
            room = min(room, (self.end - time.monotonic()) * _IN_LATTICE_A_SECOND)
        if self.most is not None:
            room = min(room, (self.most - self.search.looked_at) * _LATTICE_FOR_ONE)
        return room

    def adopt(self, solved: ExactSearch | Lattice, first: int) -> None:
        """Take over an order for the start, which begins with the check `first`."""
        ticking, self.ticking = self.ticking, False
        self.plan.adopt(solved, self.start, first)
        self.value = self.plan.refresh(self.start)
        self.ticking = ticking

    def improve(self, length: int, most: int, width: int) -> bool:
        """Solve the plan's ends of up to `most` causes, then look ahead; tell whether that helped."""
        helped = False
        self.slice_end = self.search.looked_at + length
        try:
            helped = self.plan.polish(self.search, self.start, most)
        except _SliceUp:
            helped = True
        self.slice_end = None
        helped = self.plan.look_ahead(self.start, width) or helped
        self.value = self.plan.refresh(self.start)
        self.exact = self.value <= self.search.floor * (1 + _ROUNDING)
        return helped

    def take_found(self) -> None:
        """Take over what the exact search has found for the start, if it is better."""
        found = self.search.found
        if found and found[0] < self.value * (1 - _ROUNDING):
            self.adopt(self.search, found[1])

    def stop(self) -> None:
        """Gather what was found when the search was ended from outside."""
        self.ticking = False
        self.lattice = None
        self.value = self.plan.refresh(self.start)
        self.take_found()

    def result(self) -> Result:
        """The best order so far."""
        return Result(
            order=self.order(),
            expected_minutes=self.value,
            lower_bound=self.lower_bound,
            exact=self.exact,
            groups=groups(self.problem),
        )

    def order(self) -> Order:
        """The plan as nested mappings; states that come up several times share theirs."""
        orders: dict[int, Order] = {}
        for state in self.plan.states_from(self.start):
            check = self.plan.check[state]
            if check < 0:
                orders[state] = self.group(state)
                continue
            asked = self.problem.checks[self.states.checks[check]]
            parts = {answer: part for answer, part, _ in self.states.parts(check, state)}
            answers = {asked.answers[answer]: orders[parts[answer]] for answer in sorted(parts)}
            orders[state] = {"check": asked.id, "answers": answers}
        return orders[self.start]

    def group(self, state: int) -> Group:
        """The causes left at an end, best fix first."""
        done = [self.states.ways[check] for check in bits(self.states.done_of(state))]
        left = {}
        for cause in bits(self.states.causes_of(state)):
            ways = 1
            for check in done:
                ways *= check[cause]
            for member in self.states.members[cause]:
                left[member] = self.problem.weights[member] / ways
        return group_of(self.problem, left)
