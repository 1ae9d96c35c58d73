"""Lower bounds on the minutes that any order of checks takes from a state onwards.

Weights are not normalised in here: every figure is minutes times weight, so that the bounds of the
parts that a check splits a state into add up. The bounds of `order_supply` come beside these.

Path bound. A tree that tells n causes apart has n leaves, so its mean depth is at least that of a
Huffman code (D. A. Huffman, Proc. IRE 40(9):1098-1101, 1952; with k answers a k-ary code). No check
stands twice on a way, so a way of length l costs at least the l cheapest checks that split
anything. That cost is convex in l, so by Jensen's inequality the mean cost is at least the cost at
the mean depth, read off linearly between whole depths (Pattipati and Alexandridis, IEEE Trans. SMC
20(4):872-887, 1990).

Pair bound. Where causes may show several answers, each cause costs at least what it takes to tell
it from the one other cause that is hardest to tell from it.

The path bound is then taken for a set of causes each two of which some check surely tells apart
(an order for more causes serves fewer, at no greater cost), the pair bound for the others.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from kb_tools.numbers.codes import huffman
from kb_tools.numbers.order_states import bits
from kb_tools.numbers.order_supply import Supply

if TYPE_CHECKING:
    from kb_tools.numbers.order_states import States

_MOST_PAIRED = 40
"""Among more causes not every pair is looked at."""


class _Costs(NamedTuple):
    """What checks cost at least while certain hazards are isolated."""

    order: list[int]
    """Checks, cheapest first."""
    minutes: list[float]
    telling: dict[tuple[int, int, int], float]
    """Minutes of telling one cause from another by certain checks, as far as worked out."""


class Bounds:
    """Lower bounds for the states of one problem."""

    def __init__(self, states: States) -> None:
        """Take the states; bounds are worked out when they are asked for."""
        self.states = states
        self.ways = [len(masks) for masks in states.masks]
        self.most_ways = max(self.ways, default=2)
        self._supply = Supply(states)
        self._differing: dict[tuple[int, int], int] = {}
        self._costs: dict[int, _Costs] = {}

    def supply(self, state: int) -> float:
        """The bound of `order_supply` for a state, in minutes times weight."""
        return self._supply.bound(state, self.core(state))

    def path(self, state: int) -> float:
        """The path bound of a state, in minutes times weight; 0 where nothing can be split."""
        states = self.states
        causes = state & states.everything
        if not causes & (causes - 1):
            return 0.0
        if states.plain:
            weights = [states.weights[i] for i in bits(causes)]
            return self._cheapest_way(causes, weights, self._costs_with(0), 0)
        done, costs = states.done_of(state), self._costs_with(states.isolated_of(state))
        core = self.core(state)
        if not core & (core - 1):
            core = 0
        weighted = states.weighted(state)
        bound = 0.0
        if core:
            weights = [weight for i, weight in weighted if core >> i & 1]
            bound = self._cheapest_way(core, weights, costs, done)
        if not states.any_several:
            return bound
        pairs = self._pairs(weighted, done, costs)
        bound += sum(pair for pair, (i, _) in zip(pairs, weighted, strict=True) if not core >> i & 1)
        return max(bound, sum(pairs))

    def _costs_with(self, isolated: int) -> _Costs:
        known = self._costs.get(isolated)
        if known is None:
            minutes = self.states.least_minutes(isolated)
            order = sorted(range(len(minutes)), key=lambda j: (minutes[j], j))
            known = self._costs[isolated] = _Costs(order, minutes, {})
        return known

    def core(self, state: int) -> int:
        """A set of causes left, each two of which some check surely tells apart; heavy ones first."""
        causes = self.states.causes_of(state)
        if not self.states.any_several:
            return causes
        core = 0
        left = causes
        while left:
            low = left & -left
            core |= low
            left &= self.states.apart[low.bit_length() - 1]
        return core

    def _cheapest_way(self, core: int, weights: list[float], costs: _Costs, done: int) -> float:
        total = sum(weights)
        if total <= 0:
            return 0.0
        masks = self.states.masks
        left = huffman(weights, self._most_answers(core, done)) / total
        minutes = 0.0
        for j in costs.order:
            if done >> j & 1:
                continue
            for mask in masks[j]:
                if 0 != core & mask != core:
                    break
            else:
                continue
            if left <= 1:
                minutes += left * costs.minutes[j]
                break
            minutes += costs.minutes[j]
            left -= 1
        return minutes * total

    def _most_answers(self, core: int, done: int) -> int:
        """The most answers that a check left can have among these causes, two at least."""
        most = 2
        if self.most_ways > most:
            for j, masks in enumerate(self.states.masks):
                if self.ways[j] > most and not done >> j & 1:
                    most = max(most, sum(1 for mask in masks if core & mask))
                    if most == self.most_ways:
                        break
        return most

    def _pairs(self, weighted: list[tuple[int, float]], done: int, costs: _Costs) -> list[float]:
        """For each cause left the cost, times its weight, of telling it from the hardest other one."""
        if len(weighted) > _MOST_PAIRED:
            least = self._cheapest_first(weighted, costs, done)
            return [weight * least for _, weight in weighted]
        found = []
        for i, weight in weighted:
            most = 0.0
            for k, _ in weighted:
                if k != i:
                    differing = self._differ(i, k) & ~done
                    key = i, k, differing
                    minutes = costs.telling.get(key)
                    if minutes is None:
                        minutes = costs.telling[key] = self._telling(i, k, differing, costs)
                    most = max(most, minutes)
            found.append(weight * most)
        return found

    def _cheapest_first(self, weighted: list[tuple[int, float]], costs: _Costs, done: int) -> float:
        """Minutes of the cheapest check that splits these causes, which every one of them pays."""
        causes = sum(1 << i for i, _ in weighted)
        for j in costs.order:
            if not done >> j & 1 and any(0 != causes & mask != causes for mask in self.states.masks[j]):
                return costs.minutes[j]
        return 0.0

    def _telling(self, cause: int, other: int, checks: int, costs: _Costs) -> float:
        """Least expected minutes, when `cause` is true, until a check rules `other` out or none is left.

        A check that does so with chance r and takes c minutes comes the sooner the less c / r is
        (the ratio rule of W. E. Smith, Naval Research Logistics Quarterly 3:59-66, 1956).
        """
        ratios = []
        for j in bits(checks):
            both = sum(1 for mask in self.states.masks[j] if mask >> cause & mask >> other & 1)
            stays = both / self.states.ways[j][cause]
            ratio = costs.minutes[j] / (1 - stays) if stays < 1 else math.inf
            ratios.append((ratio, costs.minutes[j], stays))
        ratios.sort()
        minutes, left = 0.0, 1.0
        for _, cost, stays in ratios:
            minutes += left * cost
            left *= stays
        return minutes

    def _differ(self, one: int, other: int) -> int:
        """The checks to which two causes do not show the same answers."""
        pair = one, other
        found = self._differing.get(pair)
        if found is None:
            found = 0
            for j, masks in enumerate(self.states.masks):
                if any((mask >> one ^ mask >> other) & 1 for mask in masks):
                    found |= 1 << j
            self._differing[pair] = found
        return found
