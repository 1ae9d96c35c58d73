"""The best order of checks by dynamic programming over every state, many at a time.

Where causes may show any answer to many checks, no bound says much: what an order costs is decided
by the ends of its ways, where luck tells apart what few checks can. But then the states are few
enough to go through them all. A state is a set of causes and the checks done that still weigh on it
(see `order_states`). To one set there belong as many states as there are subsets of the checks
whose answer the causes of the set may share although they do not all show the same: its *free*
checks. They form a cube with one axis for each free check, and the values of all states of a set are
an array of that shape. Sets with equally many causes and equally many free checks are worked on
together.

Which states cannot come up is known beforehand: a set can only be what is left if every other cause
has been ruled out by some check, and where a single check can do that, this check was made. So the
number of states is counted before any of them is worked out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from kb_tools.numbers.order_states import bits

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from numpy.typing import NDArray

    from kb_tools.numbers.order_states import States

_MOST_BITS = 63
"""Causes and checks are bits of a word each."""
_MOST_SETS = 600_000
"""With more sets of causes the states are not even counted."""
_MOST_FREE = 21
"""Nor are they where a set has more free checks than that: its arrays would be too large."""
_BLOCK = 1 << 16
"""So many states are worked on at a time: their arrays fit into a processor's cache."""
_FOR_SET_AND_CHECK = 4
"""To find what a check leads to from a set takes as long as so many states."""
_TIE = 1e-12
"""Checks whose minutes differ by less than this share are equally good."""

_Sets: TypeAlias = "NDArray[np.uint64]"
_Numbers: TypeAlias = "NDArray[np.float64]"
_Places: TypeAlias = "NDArray[np.int64]"

_ONE = np.uint64(1)


def _count(sets: _Sets) -> _Places:
    return np.bitwise_count(sets).astype(np.int64)


def _lowest(sets: _Sets) -> _Places:
    """The place of the lowest bit that is set."""
    return _count((sets & (~sets + _ONE)) - _ONE)


def _spread(sets: _Sets, number: int) -> _Places:
    """The places of the lowest bits that are set, in so many rows; each set has at least as many."""
    places = np.empty((number, len(sets)), dtype=np.int64)
    for row in range(number):
        places[row] = _lowest(sets)
        sets = sets & (sets - _ONE)
    return places


def _sums(start: _Places, steps: _Places) -> _Places:
    """For every subset of the rows of `steps` (first axis) the start and the steps in it, added up."""
    sums = np.empty((1 << len(steps), len(start)), dtype=start.dtype)
    sums[0] = start
    for axis, step in enumerate(steps):
        np.add(sums[: 1 << axis], step, out=sums[1 << axis : 2 << axis])
    return sums


def _products(start: _Numbers, factors: _Numbers) -> _Numbers:
    """For every subset of the rows of `factors` (first axis) the start times the factors in it."""
    products = np.empty((1 << len(factors), len(start)))
    products[0] = start
    for axis, factor in enumerate(factors):
        np.multiply(products[: 1 << axis], factor, out=products[1 << axis : 2 << axis])
    return products


class Lattice:
    """All states of one problem without stays, and their optima once `run` has ended."""

    def __init__(self, states: States, tick: Callable[[], None] = lambda: None) -> None:
        """Count the states; `tick` is called again and again while `run` works and may raise to stop it."""
        self.states = states
        self.tick = tick
        self.count: int | None = None
        """Number of states; None where this is no way to solve the problem: stays, too many sets, too large ones."""
        self.work = 0
        """What `run` takes time for, in states: those, and what each set and check takes beside."""
        self.looked_at = 0
        """States worked out by now."""
        checks = len(states.checks)
        if states.stays or not 0 < checks <= _MOST_BITS or states.size > _MOST_BITS:
            return
        most = max(len(masks) for masks in states.masks)
        self._masks = np.array([[*masks, *[0] * (most - len(masks))] for masks in states.masks], dtype=np.uint64)
        self._chance = 1 / np.array(states.ways, dtype=np.float64)
        self._weights = np.array(states.weights)
        self._minutes = np.array(states.minutes)
        sets = self._possible_sets()
        if sets is not None:
            self._describe(sets)

    # -- which states there are --------------------------------------------------------------

    def _possible_sets(self) -> _Sets | None:
        """The sets of two causes or more that some answers leave, and some more; None if too many."""
        found = fresh = np.array([self.states.everything], dtype=np.uint64)
        while fresh.size:
            self.tick()
            before, parts, waiting = found, [found], 0
            for mask in self._masks.ravel():
                some = np.unique(fresh & mask)
                parts.append(some[_count(some) > 1])
                waiting += some.size
                if waiting > _MOST_SETS:
                    self.tick()
                    parts, waiting = [np.unique(np.concatenate(parts))], 0
                    if parts[0].size > _MOST_SETS:
                        return None
            found = np.unique(np.concatenate(parts))
            fresh = np.setdiff1d(found, before, assume_unique=True)
        return found

    def _ruled_out(self, sets: _Sets) -> Iterator[tuple[_Sets, _Sets, _Sets]]:
        """Go through the checks and tell for each what it may do to each set.

        Three arrays: its bit where it splits the set, its bit where it does and may still leave
        the set whole, and the causes that an answer which the whole set may show could rule out.
        """
        everything = np.uint64(self.states.everything)
        for check, masks in enumerate(self.states.masks):
            splits, whole = np.zeros(sets.shape, dtype=bool), np.zeros(sets.shape, dtype=bool)
            out = np.zeros_like(sets)
            for mask in masks:
                part = sets & np.uint64(mask)
                inside = part == sets
                whole |= inside
                splits |= ~inside & (part != 0)
                out |= np.where(inside, everything & ~np.uint64(mask), np.uint64(0))
            bit = np.uint64(1 << check)
            yield splits * bit, (splits & whole) * bit, out

    def _describe(self, sets: _Sets) -> None:
        """Keep the sets that can be left, smallest first; find their checks and their places."""
        once, twice = np.zeros_like(sets), np.zeros_like(sets)
        splitting, shared = np.zeros_like(sets), np.zeros_like(sets)
        for splits, whole, out in self._ruled_out(sets):
            splitting |= splits
            shared |= whole
            twice |= once & out
            once |= out
        made = np.zeros_like(sets)
        for check, (_, _, out) in enumerate(self._ruled_out(sets)):
            made |= np.where(out & once & ~twice != 0, np.uint64(1 << check), np.uint64(0))
        left = once | sets == np.uint64(self.states.everything)
        made &= shared
        order = np.flatnonzero(left)
        sure = splitting & ~shared
        free = shared & ~made
        keys = (sets, -_count(sure), _count(free), _count(sets))
        order = order[np.lexsort([key[order] for key in keys])]
        self._sets, self._sure, self._shared = sets[order], sure[order], shared[order]
        self._made, self._free = made[order], free[order]
        self._first = _lowest(self._sets)
        """For each set its first cause: all show the same to a check that does not split them."""
        free_checks = _count(self._free)
        if int(free_checks.max()) > _MOST_FREE:
            return
        sizes = np.left_shift(1, free_checks)
        self._base = 1 + np.cumsum(sizes) - sizes
        """Where the values of each set begin; place 0 holds the 0 of what needs no check."""
        self._by_set = np.argsort(self._sets)
        self._sorted = self._sets[self._by_set]
        self.count = int(sizes.sum())
        self.work = self.count + _FOR_SET_AND_CHECK * len(self._sets) * len(self._minutes)

    # -- their optima ------------------------------------------------------------------------

    def run(self) -> float:
        """Work out every state; return the optimum of the start, in minutes."""
        if self.count is None:
            raise ValueError("the states of this problem were not counted")
        self._values = np.zeros(1 + self.count)
        free = _count(self._free)
        kinds = np.flatnonzero(np.diff(_count(self._sets) * 64 + free)) + 1
        for start, end in zip([0, *kinds], [*kinds, len(self._sets)], strict=True):
            width = max(1, _BLOCK >> int(free[start]))
            for first in range(start, end, width):
                self.tick()
                self._solve(slice(first, min(first + width, end)), int(free[start]))
        return self.value(self.states.everything)

    def _solve(self, rows: slice, free: int) -> None:
        """Work out all states of some sets alike in the number of causes and of free checks.

        Arrays have the subsets of free checks along the first axis and the sets along the second.
        """
        sets, sure, made = self._sets[rows], self._sure[rows], self._made[rows]
        axes = _spread(self._free[rows], free)
        weights = self._state_weights(sets, made, axes)
        best = np.full(weights.shape, np.inf)
        best[-1, sure == 0] = 0.0  # everything that could split is done
        while wide := int(np.count_nonzero(sure)):  # sets with more of these checks come first
            sure = sure[:wide]
            check = _lowest(sure)
            minutes = self._after(sets[:wide], check, made[:wide], axes[:, :wide])
            minutes += self._minutes[check] * weights[:, :wide]
            np.minimum(best[:, :wide], minutes, out=best[:, :wide])
            sure = sure & (sure - _ONE)
        first = []
        for axis, check in enumerate(axes):
            others = np.delete(axes, axis, axis=0)
            minutes = self._after(sets, check, made, others)
            halves = weights.reshape(-1, 2, 1 << axis, len(sets))
            minutes += self._minutes[check] * halves[:, 0].reshape(minutes.shape)
            first.append(minutes)
        self._climb_down(best, first, self._times_whole(sets, axes))
        size = len(sets) << free
        base = int(self._base[rows.start])
        self._values[base : base + size].reshape(len(sets), 1 << free)[:] = best.T
        self.looked_at += size

    def _state_weights(self, sets: _Sets, made: _Sets, axes: _Places) -> _Numbers:
        """The weight of every state."""
        weights = np.zeros((1 << len(axes), len(sets)))
        checks = np.arange(len(self._minutes), dtype=np.uint64)[:, None]
        done = (made >> checks & _ONE).astype(bool)
        for cause in _spread(sets, int(np.bitwise_count(sets[0]))):
            start = self._weights[cause] * np.where(done, self._chance[:, cause], 1.0).prod(axis=0)
            weights += _products(start, self._chance[axes, cause])
        return weights

    def _after(self, sets: _Sets, check: _Places, made: _Sets, axes: _Places) -> _Numbers:
        """Minutes times weight that follow a check, for each set another one, beside those of the set left whole."""
        total = np.zeros((1 << len(axes), len(sets)))
        parts = sets & self._masks[check].T
        goes_on = (parts != sets) & (np.bitwise_count(parts) > 1)
        parts = np.where(goes_on, parts, np.uint64(0))
        parts.sort(axis=0)  # what goes on comes last
        made = made | _ONE << check.astype(np.uint64)
        for part in parts[::-1]:
            if not part.any():
                break
            place = np.minimum(np.searchsorted(self._sorted, part), len(self._sorted) - 1)
            known = self._sorted[place] == part  # what cannot come up does not matter
            place = self._by_set[place]
            free = np.where(known, self._free[place], np.uint64(0))
            shared, first = self._shared[place], self._first[place]
            start, factor = np.where(known, self._base[place], 0), np.ones(len(part))
            rest = made
            while (more := rest != 0).any():
                one = np.where(more, _lowest(rest), 0)
                step, times = self._step(one, free, shared, first)
                start += np.where(more, step, 0)
                factor *= np.where(more, times, 1.0)
                rest = rest & (rest - more)
            steps, factors = self._step(axes, free, shared, first)
            values = self._values.take(_sums(start, steps))
            values *= _products(factor, factors)
            total += values
        return total

    def _step(self, checks: _Places, free: _Sets, shared: _Sets, first: _Places) -> tuple[_Places, _Numbers]:
        """What it means for a set that a check was made: how far on its value stands, times which factor."""
        bit = _ONE << checks.astype(np.uint64)
        steps = np.where(free & bit, _ONE << np.bitwise_count(free & bit - _ONE).astype(np.uint64), np.uint64(0))
        return steps.astype(np.int64), np.where(shared & bit, 1.0, self._chance[checks, first])

    def _times_whole(self, sets: _Sets, axes: _Places) -> _Numbers:
        """For each free check of each set the number of its answers that leave the set whole."""
        times: _Numbers = (self._masks[axes] & sets[:, None] == sets[:, None]).sum(axis=2).astype(np.float64)
        return times

    @staticmethod
    def _climb_down(best: _Numbers, first: list[_Numbers], times: _Numbers) -> None:
        """Take in the free checks: from states with one check more done to those with one less."""
        subsets = np.arange(len(best))
        done = np.bitwise_count(subsets)
        for number in range(len(first) - 1, -1, -1):
            level = subsets[done == number]
            for axis, minutes in enumerate(first):
                here = level[level >> axis & 1 == 0]
                low = here & (1 << axis) - 1
                whole = best.take(here | 1 << axis, axis=0)
                whole *= times[axis]
                whole += minutes.take((here ^ low) >> 1 | low, axis=0)
                best[here] = np.minimum(best.take(here, axis=0), whole)

    # -- what was found ----------------------------------------------------------------------

    def value(self, state: int) -> float:
        """The optimum of a state that can come up, in minutes times weight."""
        causes = self.states.causes_of(state)
        if not causes & (causes - 1):
            return 0.0
        row = int(self._by_set[np.searchsorted(self._sorted, np.uint64(causes))])
        done = self.states.done_of(state)
        place = sum(1 << rank for rank, check in enumerate(bits(int(self._free[row]))) if done >> check & 1)
        return float(self._values[int(self._base[row]) + place])

    def best_check(self, state: int) -> int:
        """The first check of a best order for a state; -1 where nothing splits."""
        states = self.states
        weight = states.weight(state)
        minutes = {
            check: states.cost(check, state) * weight
            + sum(scale * self.value(part) for _, part, scale in states.parts(check, state))
            for check in range(len(states.checks))
            if states.splits(check, state)
        }
        least = min(minutes.values(), default=0.0)
        return next((check for check, each in minutes.items() if each <= least * (1 + _TIE)), -1)
