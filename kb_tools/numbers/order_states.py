"""The situations that an order of checks can lead to, as whole numbers.

A *state* is what decides everything that comes after: the set of causes left, the checks done whose
answer still leaves some of these causes less likely than before (some of them could have shown
another answer), and the hazards that are isolated. `States` packs the three into one int and knows
what a check costs in a state and which states it leads to. Where every cause shows one answer to
every check and no hazard costs minutes, the state is the set of causes alone.

Causes with equal rows are one cause here, with their weights added: no answer ever shifts the odds
between them. Causes, checks and answers stand in an order of their own (heavy causes first, short
checks first, then by name), so that nothing depends on the order in which a table lists them.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from kb_tools.numbers.order_problem import Problem

_CHUNK = 12
"""Weights of sets are looked up by so many causes at a time."""

_MOST_PACKED = 500_000
"""So many states are remembered as packed, to save the work of packing them again."""


class Part(NamedTuple):
    """What one answer to a check leads to."""

    answer: int
    """Index of the answer in the problem's check."""
    state: int
    scale: float
    """What the weight of every cause left is to be multiplied by, beside what the state says."""


def bits(number: int) -> list[int]:
    """The places of the bits that are set, lowest first."""
    places = []
    while number:
        low = number & -number
        places.append(low.bit_length() - 1)
        number ^= low
    return places


def x_log_x(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Each value times its binary logarithm; 0 for 0."""
    products: NDArray[np.float64] = values * np.log2(np.where(values > 0, values, 1.0))
    return products


class States:
    """A problem in the form that the search works on; all sets are bit masks."""

    def __init__(self, problem: Problem) -> None:
        """Merge causes with equal rows, leave out checks that split nothing, sort both."""
        self.problem = problem
        rows: dict[tuple[int, ...], list[int]] = {}
        for i, row in enumerate(problem.shows):
            rows.setdefault(row, []).append(i)
        self.members = sorted(
            (sorted(group, key=lambda i: problem.causes[i]) for group in rows.values()),
            key=self._heaviest_first,
        )
        """Indices of the problem's causes behind each cause here."""
        self.weights = [self._weight_of(group) for group in self.members]
        first = [group[0] for group in self.members]
        self.checks = sorted(
            (j for j in range(len(problem.checks)) if len({problem.shows[i][j] for i in first}) > 1),
            key=lambda j: (problem.checks[j].minutes, problem.checks[j].id),
        )
        """Indices of the problem's checks behind each check here."""
        self.minutes = [problem.checks[j].minutes for j in self.checks]
        self.size = len(self.members)
        self._set_masks(first)
        self._set_hazards()
        self._set_chunks()
        self._set_arrays()
        self._packed: dict[tuple[int, int, int], tuple[int, float]] = {}
        self.everything = (1 << self.size) - 1
        """The state at the start."""
        self.plain = not any(self.several) and not self.stays
        """Whether a state is nothing but its set of causes."""

    def _weight_of(self, group: list[int]) -> float:
        return math.fsum(self.problem.weights[i] for i in group)

    def _heaviest_first(self, group: list[int]) -> tuple[float, str]:
        return -self._weight_of(group), self.problem.causes[group[0]]

    def _set_masks(self, first: list[int]) -> None:
        problem = self.problem
        self.answers: list[tuple[int, ...]] = []
        """For each check the indices of the answers that some cause may show."""
        self.masks: list[tuple[int, ...]] = []
        """For each check and each of these answers the causes that may show it."""
        self.several: list[int] = []
        """For each check the causes that may show more than one answer."""
        self.ways: list[list[int]] = []
        """For each check and cause the number of answers that it may show."""
        for j in self.checks:
            names = problem.checks[j].answers
            column = [problem.shows[i][j] for i in first]
            possible = [a for a in range(len(names)) if any(mask >> a & 1 for mask in column)]
            possible.sort(key=names.__getitem__)
            self.answers.append(tuple(possible))
            self.masks.append(tuple(sum((mask >> a & 1) << i for i, mask in enumerate(column)) for a in possible))
            self.ways.append([mask.bit_count() for mask in column])
            self.several.append(sum(1 << i for i, ways in enumerate(self.ways[-1]) if ways > 1))
        self.any_several = any(self.several)
        self.apart: list[int] = []
        """For each cause those that some check surely tells from it."""
        for i in range(self.size):
            alike = (1 << self.size) - 1
            for masks in self.masks:
                shared = 0
                for mask in masks:
                    if mask >> i & 1:
                        shared |= mask
                alike &= shared
            self.apart.append((1 << self.size) - 1 & ~alike)

    def _set_hazards(self) -> None:
        """Hazards that cost minutes; those that the same checks expose and the same need are one here."""
        asked = [self.problem.checks[j] for j in self.checks]
        kinds: dict[tuple[int, int], float] = {}
        for hazard in sorted(self.problem.hazards, key=lambda hazard: hazard.id):
            exposing = sum(1 << j for j, check in enumerate(asked) if hazard.id in check.exposes)
            needing = sum(1 << j for j, check in enumerate(asked) if hazard.id in check.needs)
            if exposing and hazard.minutes > 0:
                kinds[exposing, needing] = kinds.get((exposing, needing), 0.0) + hazard.minutes
        self.stays = list(kinds.values())
        """Minutes of a stay of each hazard that costs any."""
        self.exposes = [
            sum(1 << h for h, (exposing, _) in enumerate(kinds) if exposing >> j & 1) for j in range(len(asked))
        ]
        """For each check the hazards that it exposes."""
        self.needs = [
            sum(1 << h for h, (_, needing) in enumerate(kinds) if needing >> j & 1) for j in range(len(asked))
        ]
        """For each check the hazards whose power it needs."""

    def _set_chunks(self) -> None:
        self._chunks: list[tuple[int, list[float]]] = []
        for start in range(0, self.size, _CHUNK):
            table = [0.0]
            for weight in self.weights[start : start + _CHUNK]:
                table += [value + weight for value in table]
            self._chunks.append((start, table))
        self._chunk_mask = (1 << _CHUNK) - 1

    def _set_arrays(self) -> None:
        most = max((len(masks) for masks in self.masks), default=2)
        self.chances = np.zeros((len(self.checks), most, self.size))
        """Chance of each answer (second axis) to each check (first) for each cause (third)."""
        for j, masks in enumerate(self.masks):
            for a, mask in enumerate(masks):
                for i in bits(mask):
                    self.chances[j, a, i] = 1 / self.ways[j][i]
        self._weight_array = np.array(self.weights)
        self._bytes = (self.size + 7) // 8

    # -- a state's three parts --------------------------------------------------------------

    def causes_of(self, state: int) -> int:
        """The causes left."""
        return state & self.everything

    def done_of(self, state: int) -> int:
        """The checks done that still weigh on some cause left."""
        return state >> self.size & (1 << len(self.checks)) - 1

    def isolated_of(self, state: int) -> int:
        """The hazards that are isolated and that some check left exposes."""
        return state >> self.size + len(self.checks)

    # -- weights ----------------------------------------------------------------------------

    def weight(self, state: int) -> float:
        """The summed weight of the causes left."""
        if state > self.everything and self.done_of(state):
            return math.fsum(weight for _, weight in self.weighted(state))
        causes = state & self.everything
        mask = self._chunk_mask
        total = 0.0
        for start, table in self._chunks:
            total += table[causes >> start & mask]
        return total

    def weighted(self, state: int) -> list[tuple[int, float]]:
        """The causes left, heaviest in the whole first, each with its weight in this state."""
        weights = self.weights
        done = self.done_of(state) if state > self.everything else 0
        if not done:
            return [(i, weights[i]) for i in bits(state & self.everything)]
        ways = [self.ways[j] for j in bits(done)]
        return [(i, weights[i] / math.prod(way[i] for way in ways)) for i in bits(state & self.everything)]

    def weight_array(self, state: int, core: int = -1) -> NDArray[np.float64]:
        """Weights of all causes, 0 for those that are not left or not in the set `core`."""
        causes = state & self.everything & core
        packed = np.frombuffer(causes.to_bytes(self._bytes, "little"), dtype=np.uint8)
        left = np.unpackbits(packed, count=self.size, bitorder="little")
        weights: NDArray[np.float64] = self._weight_array * left
        if state > self.everything:
            for j in bits(self.done_of(state)):
                weights /= np.array(self.ways[j])
        return weights

    # -- checks in a state ------------------------------------------------------------------

    def splits(self, check: int, state: int) -> bool:
        """Whether a check is not done yet and its answer may tell something."""
        causes = state & self.everything
        if state > self.everything and self.done_of(state) >> check & 1:
            return False
        return any(0 != causes & mask != causes for mask in self.masks[check])

    def cost(self, check: int, state: int) -> float:
        """Minutes of a check in a state, with the stays that it opens."""
        if self.stays and self.exposes[check]:
            return self.minutes[check] + self.stay(self.exposes[check] & ~self.isolated_of(state))
        return self.minutes[check]

    def stay(self, hazards: int) -> float:
        """Minutes of isolating and putting back all of these hazards."""
        return sum((self.stays[hazard] for hazard in bits(hazards)), start=0.0)

    def least_minutes(self, isolated: int) -> list[float]:
        """What each check costs at least on any way that goes on with these hazards isolated.

        Who uses r of the R checks that expose another hazard opens a stay at least once on that
        way, and r / R of a stay is no more than that: so each of them may be charged 1 / R of it.
        """
        minutes = list(self.minutes)
        for check, exposes in enumerate(self.exposes):
            for hazard in bits(exposes & ~isolated):
                users = sum(1 for other in self.exposes if other >> hazard & 1)
                minutes[check] += self.stays[hazard] / users
        return minutes

    def parts(self, check: int, state: int) -> list[Part]:
        """What each possible answer to a check leads to."""
        causes = state & self.everything
        answers = zip(self.answers[check], self.masks[check], strict=True)
        if self.plain:
            return [Part(answer, causes & mask, 1.0) for answer, mask in answers if causes & mask]
        done = self.done_of(state) | 1 << check
        isolated = (self.isolated_of(state) | self.exposes[check]) & ~self.needs[check]
        return [Part(answer, *self._pack(causes & mask, done, isolated)) for answer, mask in answers if causes & mask]

    def _pack(self, causes: int, done: int, isolated: int) -> tuple[int, float]:
        """Pack a state, leaving out what no longer makes a difference; return it with its scale."""
        key = causes, done, isolated
        packed = self._packed.get(key)
        if packed is None:
            if len(self._packed) > _MOST_PACKED:
                self._packed.clear()
            packed = self._packed[key] = self._pack_anew(causes, done, isolated)
        return packed

    def _pack_anew(self, causes: int, done: int, isolated: int) -> tuple[int, float]:
        scale = 1.0
        if not causes & (causes - 1):
            for check in bits(done):
                scale /= self.ways[check][causes.bit_length() - 1]
            return causes, scale
        kept = 0
        if self.any_several:
            for check in bits(done):
                if not self.several[check] & causes:
                    continue
                if any(0 != causes & mask != causes for mask in self.masks[check]):
                    kept |= 1 << check
                else:
                    scale /= self.ways[check][(causes & -causes).bit_length() - 1]
        state = causes | kept << self.size
        if isolated:
            left = 0
            for check, exposes in enumerate(self.exposes):
                if exposes & isolated & ~left and self.splits(check, state):
                    left |= exposes
            state |= (isolated & left) << self.size + len(self.checks)
        return state, scale
