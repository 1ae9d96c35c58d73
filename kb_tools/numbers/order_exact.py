"""The best order of checks, proven: depth-first branch and bound over states, with a memory.

For every state the memory holds a lower bound, and the best first check once it is known. A state
is searched under a limit: checks are tried in order of their bound, and what cannot come below the
limit, or below the best check so far, is left. The bounds do the work, so that a table of 60 causes
and 60 checks that split about evenly takes well under a second; see bench/order.py. With many open
answers they do not: there `order_lattice` goes through all states.
"""

from __future__ import annotations

import math
from operator import itemgetter
from typing import TYPE_CHECKING, TypeAlias

from kb_tools.numbers.order_bounds import Bounds

if TYPE_CHECKING:
    from collections.abc import Callable

    from kb_tools.numbers.order_states import States

_MOST_KNOWN = 3_000_000
"""States remembered at a time; each takes about 250 bytes."""
_SMALL = 4
"""Below so many causes the supply bound is not worth its time."""
_TRIAL = 400
"""The supply bound is judged by so many uses of it..."""
_LEAST_USE = 0.03
"""... and then seldom taken when fewer than this share of them helped..."""
_SELDOM = 32
"""... namely in one state out of so many."""

_Candidate: TypeAlias = tuple[float, int, float, list[tuple[float, int]]]
"""Lower bound with this check first, the check, its own minutes, and scale and state of each part."""

_bound_and_check = itemgetter(0, 1)


class ExactSearch:
    """Searches one problem; may be stopped from outside by an exception and then asked."""

    def __init__(self, states: States, bounds: Bounds | None = None, tick: Callable[[], None] = lambda: None) -> None:
        """Take the states to search; `tick` is called for each and may raise to stop."""
        self.states = states
        self.bounds = bounds or Bounds(states)
        self.tick = tick
        self.looked_at = 0
        """States whose checks were tried."""
        self.floor = self._start_bound()
        """A proven lower bound for the start, in minutes."""
        self.found: tuple[float, int] | None = None
        """Minutes and first check of the best order found for the start, even if it is not proven."""
        longest = max((states.cost(j, states.everything) for j in range(len(states.checks))), default=0.0)
        self._slack = 1e-12 * longest
        self._low: dict[int, float] = {}
        self._best: dict[int, int] = {}
        self._supply_uses = self._supply_hits = 0

    def _start_bound(self) -> float:
        start = self.states.everything
        if not self.states.checks:
            return 0.0
        return max(self.bounds.path(start), self.bounds.supply(start))

    def run(self, limit: float, state: int | None = None) -> bool:
        """Search a state, or the start, for an order below `limit`; tell whether there is one.

        If so, `known` and `best_check` tell its minutes and checks. For the start, `floor` is the
        optimum afterwards or, if nothing is below the limit, at least that (up to rounding).
        """
        start = self.states.everything
        self._solve(start if state is None else state, limit)
        if state is None:
            self.floor = max(self.floor, min(limit, self._low[start]))
        return (start if state is None else state) in self._best

    def known(self, state: int) -> float | None:
        """The optimum of a state, in minutes times weight, if it is known by now."""
        return self._low[state] if state in self._best else None

    def best_check(self, state: int) -> int:
        """The first check of a best order for a state; -1 where nothing splits."""
        if state not in self._best:
            self._solve(state, math.inf)
        return self._best[state]

    def _bound(self, state: int) -> float:
        low = self._low.get(state)
        if low is None:
            low = self.bounds.path(state)
            self._low[state] = low
        return low

    def _settle(self, state: int, minutes: float, check: int) -> float:
        self._low[state] = minutes
        self._best[state] = check
        return minutes

    def _solve(self, state: int, limit: float) -> float:
        """Return the optimum and remember its check; or, if it is not below limit, a lower bound."""
        low = self._bound(state)
        if low >= limit or state in self._best:
            return low
        low = self._raised(state, limit)
        if low >= limit:
            return low
        self.looked_at += 1
        self.tick()
        if len(self._low) > _MOST_KNOWN:
            self._low.clear()
            self._best.clear()
        candidates, floor = self._candidates(state, limit)
        if not candidates and floor == math.inf:
            return self._settle(state, 0.0, -1)
        return self._try(state, candidates, limit, floor)

    def _raised(self, state: int, limit: float) -> float:
        """The state's lower bound, raised by the supply bound where that is worth its time."""
        low = self._low[state]
        if (state & self.states.everything).bit_count() < _SMALL:
            return low
        self._supply_uses += 1
        rare = self._supply_uses > _TRIAL and self._supply_hits < _LEAST_USE * self._supply_uses
        if rare and self._supply_uses % _SELDOM:
            return low
        supply = self.bounds.supply(state)
        if supply >= limit:
            self._supply_hits += _SELDOM if rare else 1
        if supply > low:
            self._low[state] = low = supply
        return low

    def _candidates(self, state: int, limit: float) -> tuple[list[_Candidate], float]:
        """Checks that may come below the limit, best bound first, and the least bound of the others."""
        found: list[_Candidate] = []
        list_them = self._list_plain if self.states.plain else self._list
        floor = list_them(state, limit, found)
        found.sort(key=_bound_and_check)
        return found, floor

    def _list_plain(self, state: int, limit: float, found: list[_Candidate]) -> float:
        """Put candidates into `found`, where a state is a set of causes; this loop takes the time."""
        states, low_of = self.states, self._low.get
        weight = states.weight(state)
        seen = set()
        for check, masks in enumerate(states.masks):
            parts = [part for mask in masks if (part := state & mask)]
            if len(parts) < 2:  # noqa: PLR2004
                continue
            bound = minutes = states.minutes[check] * weight
            if minutes >= limit:
                return minutes  # so are all that follow
            key = min(parts) if len(parts) == 2 else (*sorted(parts),)  # noqa: PLR2004
            if key in seen:
                continue  # a cheaper check, or one that stands before it, splits alike
            seen.add(key)
            parts = [part for part in parts if part & (part - 1)]
            for part in parts:
                low = low_of(part)
                bound += self._bound(part) if low is None else low
            found.append((bound, check, minutes, [(1.0, part) for part in parts]))
        return math.inf

    def _list(self, state: int, limit: float, found: list[_Candidate]) -> float:
        """Put candidates into `found`, whatever a state is."""
        states = self.states
        weight = states.weight(state)
        causes = states.causes_of(state)
        floor = math.inf
        seen = set()
        for check, masks in enumerate(states.masks):
            if not states.splits(check, state):
                continue
            minutes = states.cost(check, state) * weight
            if minutes >= limit:
                floor = min(floor, minutes)
                continue
            # Of two checks that split alike and bear on isolation alike the cheaper one comes first
            # in some best order: where the dearer one does, the two can change places.
            key = states.exposes[check], states.needs[check], *sorted(causes & mask for mask in masks)
            if key in seen:
                continue
            seen.add(key)
            scales: dict[int, float] = {}  # several answers may lead to one state
            for _, part, scale in states.parts(check, state):
                if part & (part - 1):
                    scales[part] = scales.get(part, 0.0) + scale
            self.tick()  # of a large table with open answers, one check's bounds may take a second
            bound = minutes + sum(scale * self._bound(part) for part, scale in scales.items())
            found.append((bound, check, minutes, [(scale, part) for part, scale in scales.items()]))
        return floor

    def _try(self, state: int, candidates: list[_Candidate], limit: float, floor: float) -> float:
        """Go through candidates until none can come below the best."""
        best, best_check, slack = limit, -1, self._slack
        at_start = state == self.states.everything
        for bound, check, minutes, parts in candidates:
            if at_start:
                self.floor = max(self.floor, min(floor, bound, best))
            if bound >= best - slack:
                floor = min(floor, bound)
                break
            parts.sort(key=lambda part: (part[1] & self.states.everything).bit_count())
            lows = [self._bound(part) for _, part in parts]
            total = minutes + sum(scale * low for (scale, _), low in zip(parts, lows, strict=True))
            proven = True
            for (scale, part), before in zip(parts, lows, strict=True):
                if total >= best - slack:
                    proven = False
                    break
                after = self._solve(part, before + (best - total) / scale)
                total += scale * (after - before)
                proven = proven and part in self._best
                if not proven:
                    break
            floor = min(floor, total)
            if proven and total < best - slack:
                best, best_check = total, check
                if at_start:
                    self.found = best, check
        if best_check >= 0:
            return self._settle(state, best, best_check)
        self._low[state] = max(self._bound(state), min(floor, limit))
        return self._low[state]
