"""Which states an order of checks can lead to, counted before any of them is worked out.

A state is a set of causes, the checks done that still weigh on it and the hazards that are isolated
(see `order_states`). To one set and one *variant*, that is a set of isolated hazards, there belong as
many states as there are subsets of the checks whose answer the causes of the set may share although
they do not all show the same: its *free* checks. They form a cube with one axis for each free check.

Which states cannot come up is known beforehand. A set can only be what is left if every other cause
has been ruled out by some check, and where a single check can do that, this check was made. A hazard
is isolated only where a check that exposes it may have been made, and no longer is only where one
that needs its power may have been: elsewhere the checks that expose it are no axes of a variant
without it. A hazard that no check left exposes counts as isolated: for all that follows that is
either true or without a difference.
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
_MOST_PAIRS = 5_000_000
"""Nor are they with more pairs of a set and a variant."""
_MOST_FREE = 21
"""Nor are they where a set has more free checks than that."""

Sets: TypeAlias = "NDArray[np.uint64]"
_Places: TypeAlias = "NDArray[np.int64]"

_ONE = np.uint64(1)


def _count(sets: Sets) -> _Places:
    return np.bitwise_count(sets).astype(np.int64)


class Cubes:
    """The sets of causes that can be left, smallest first, and for each set and variant its cube."""

    def __init__(self, states: States, tick: Callable[[], None]) -> None:
        """Find them; `tick` is called again and again and may raise to stop."""
        self.states = states
        self.tick = tick
        self.count: int | None = None
        """Number of states; None where there are too many, or too many of anything, to be counted."""
        self.variants = 1 << len(states.stays)
        checks = len(states.checks)
        if not 0 < checks <= _MOST_BITS or states.size > _MOST_BITS or self.variants > _MOST_BITS:
            return
        most = max(len(masks) for masks in states.masks)
        self.masks = np.array([[*masks, *[0] * (most - len(masks))] for masks in states.masks], dtype=np.uint64)
        """For each check and answer the causes that may show it; 0 where a check has no such answer."""
        sets = self._possible_sets()
        if sets is not None and len(sets) * self.variants <= _MOST_PAIRS:
            splitting = self._describe(sets)
            if int(_count(self.free).max()) <= _MOST_FREE:
                self._lay_out(splitting)

    def _possible_sets(self) -> Sets | None:
        """The sets of two causes or more that some answers leave, and some more; None if too many."""
        found = fresh = np.array([self.states.everything], dtype=np.uint64)
        while fresh.size:
            self.tick()
            before, parts, waiting = found, [found], 0
            for mask in self.masks.ravel():
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

    def _ruled_out(self, sets: Sets) -> Iterator[tuple[Sets, Sets, Sets]]:
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

    def _describe(self, sets: Sets) -> Sets:
        """Keep the sets that can be left, smallest first; return the checks that split each."""
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
        order = np.flatnonzero(left)
        order = order[np.lexsort((sets[order], _count(sets[order])))]
        made &= shared
        splitting = splitting[order]
        self.sets = sets[order]
        self.shared = shared[order]
        """Checks that may split the set and may leave it whole."""
        self.sure = splitting & ~self.shared
        """Checks that surely split it: none of them was made."""
        self.made = made[order]
        """Shared checks that must have been made."""
        self.free = self.shared & ~self.made
        self.first = _count((self.sets & (~self.sets + _ONE)) - _ONE)
        """The lowest cause: all show the same to a check that does not split the set."""
        self._by_set = np.argsort(self.sets)
        self._sorted = self.sets[self._by_set]
        return splitting

    def _lay_out(self, splitting: Sets) -> None:
        """Find the variants of each set, the axes of their cubes, and where each cube begins."""
        states, hazards = self.states, range(len(self.states.stays))
        self.exposing = np.array([self._checks_with(states.exposes, hazard) for hazard in hazards], dtype=np.uint64)
        """For each hazard the checks that expose it."""
        self.needing = np.array([self._checks_with(states.needs, hazard) for hazard in hazards], dtype=np.uint64)
        """For each hazard the checks that need its power."""
        open_, may_begin, may_end, begun = (np.zeros(len(self.sets), dtype=np.int64) for _ in range(4))
        for hazard in hazards:
            bit, exposing, needing = 1 << hazard, self.exposing[hazard], self.needing[hazard]
            open_ |= bit * (splitting & ~self.made & exposing != 0)
            may_begin |= bit * (exposing & ~self.sure != 0)
            may_end |= bit * (needing & ~self.sure != 0)
            begun |= bit * (self.made & exposing != 0)
        self.own = np.zeros(len(self.sets), dtype=np.int64)
        """For each set a bit for each variant that it has."""
        self.axes = np.zeros((len(self.sets), self.variants), dtype=np.uint64)
        """The free checks that are axes of each cube."""
        sizes = np.zeros((len(self.sets), self.variants), dtype=np.int64)
        for variant in range(self.variants):
            beyond = open_ & ~variant & ~may_end  # not isolated, so never was
            spare = self.variants - 1 & ~variant & ~open_
            has = (spare | variant & open_ & ~may_begin | beyond & begun) == 0
            axes = self.free.copy()
            for hazard in hazards:
                axes &= ~np.where(beyond >> hazard & 1, self.exposing[hazard], np.uint64(0))
            sizes[:, variant] = np.where(has, np.left_shift(1, _count(axes)), 0)
            self.axes[:, variant] = np.where(has, axes, np.uint64(0))
            self.own |= has.astype(np.int64) << variant
        self.spare = self.variants - 1 & ~open_
        """For each set the hazards that no check left exposes: they count as isolated."""
        same = self.spare[:, None] | np.arange(self.variants)
        ends = np.cumsum(sizes)
        base = np.where(sizes > 0, 1 + ends.reshape(sizes.shape) - sizes, 0)
        self.base = np.take_along_axis(base, same, axis=1)
        """Where each cube begins; 0 for what cannot come up. Place 0 holds a 0."""
        self.axes = np.take_along_axis(self.axes, same, axis=1)
        self.sizes = sizes.sum(axis=1)
        """The number of states of each set."""
        self.count = int(ends[-1])

    @staticmethod
    def _checks_with(hazards_of: list[int], hazard: int) -> int:
        return sum(1 << check for check, hazards in enumerate(hazards_of) if hazards >> hazard & 1)

    def rows(self, sets: Sets) -> _Places:
        """Which sets these are; -1 for single causes, and for what is none of them."""
        places = np.minimum(np.searchsorted(self._sorted, sets), len(self._sorted) - 1)
        found: _Places = np.where(self._sorted[places] == sets, self._by_set[places], -1)
        return found

    def place(self, state: int) -> int:
        """Where the value of a state that can come up stands; 0 where nothing can be split."""
        states = self.states
        causes, done, isolated = states.causes_of(state), states.done_of(state), states.isolated_of(state)
        if not causes & (causes - 1):
            return 0
        row = int(self.rows(np.array([causes], dtype=np.uint64))[0])
        # A state leaves out a hazard that none of its checks left exposes; a cube of its set may need it.
        left = (int(self.sure[row]) | int(self.free[row])) & ~done
        matter = 0
        for check in bits(left):
            matter |= states.exposes[check]
        variant = isolated | (self.variants - 1 & ~matter)
        axes = bits(int(self.axes[row, variant]))
        return int(self.base[row, variant]) + sum(1 << rank for rank, check in enumerate(axes) if done >> check & 1)
