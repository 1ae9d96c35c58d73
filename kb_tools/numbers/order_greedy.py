"""Good orders of checks where the best one is out of reach: information gain per minute, improved.

The first plan takes in each state the check with the most information per minute. The information
of a check is the mutual information between its answer and the cause (J. R. Quinlan, Machine
Learning 1:81-106, 1986, calls it gain).

Then it looks ahead, from the ends of the plan upwards: in each state that the plan leads to, several
checks are tried to the very end, with the plan's own way on after them, and the best one is kept.
A plan never gets worse by this.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from kb_tools.numbers.order_states import x_log_x

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from kb_tools.numbers.order_exact import ExactSearch
    from kb_tools.numbers.order_lattice import Lattice
    from kb_tools.numbers.order_states import States

_NO_GAIN = 1e-13
"""Gains below this, as a share of the weight, are rounding."""
_NO_TIME = 1e-9
"""A check of no minutes counts as taking so many, so that gains still differ."""
_ROUNDING = 1e-12
"""What is better by less than this share is no better."""


class Plan:
    """For every state met so far the check to make next, and the minutes times weight from there."""

    def __init__(self, states: States, tick: Callable[[], None] = lambda: None) -> None:
        """Start with nothing planned; `tick` is called for every state planned and may raise to stop."""
        self.states = states
        self.tick = tick
        self.value: dict[int, float] = {}
        self.check: dict[int, int] = {}
        """-1 where no check splits."""
        self._spread = np.log2(np.array(states.ways, dtype=np.float64)).reshape(len(states.checks), states.size)
        """Bits of chance in each check's answer for each cause."""

    def gains(self, state: int) -> NDArray[np.float64]:
        """Bits times weight that each check tells about the cause."""
        weights = self.states.weight_array(state)
        total = float(weights.sum())
        if total <= 0:
            return np.zeros(len(self.states.checks))
        answers = self.states.chances @ weights
        gains: NDArray[np.float64] = total * math.log2(total) - x_log_x(answers).sum(axis=1)
        if self.states.any_several:
            gains -= self._spread @ weights
        gains[gains < _NO_GAIN * total] = 0.0
        return gains

    def rates(self, state: int) -> list[tuple[float, int]]:
        """All checks that split a state, best first, each with its gain per minute, negated."""
        states = self.states
        splitting = [check for check in range(len(states.checks)) if states.splits(check, state)]
        if not splitting:
            return []
        gains = self.gains(state)
        costs = {check: states.cost(check, state) for check in splitting}
        rates = [(-float(gains[check]) / max(costs[check], _NO_TIME), check) for check in splitting]
        rates.sort(key=lambda rate: (rate[0], costs[rate[1]], rate[1]))
        return rates

    def extend(self, state: int) -> float:
        """Plan a state and all that follows it, as far as not planned yet; return its value."""
        stack = [state]
        while stack:
            here = stack[-1]
            if here in self.value:
                stack.pop()
                continue
            if here not in self.check:
                self.tick()
                rates = self.rates(here) if here & (here - 1) else []
                self.check[here] = rates[0][1] if rates else -1
            missing = [part for part in self._parts(here) if part not in self.value]
            if missing:
                stack += missing
            else:
                self.value[here] = self._sum(self.check[here], here)
                stack.pop()
        return self.value[state]

    def _parts(self, state: int) -> list[int]:
        check = self.check[state]
        return [] if check < 0 else [part for _, part, _ in self.states.parts(check, state)]

    def _sum(self, check: int, state: int) -> float:
        """The value of a check in a state whose parts all have values."""
        if check < 0:
            return 0.0
        minutes = self.states.cost(check, state) * self.states.weight(state)
        return minutes + sum(scale * self.value[part] for _, part, scale in self.states.parts(check, state))

    def states_from(self, state: int) -> list[int]:
        """All states that the plan leads to, each after those that it leads to itself."""
        order: list[int] = []
        seen = {state}
        stack = [(state, iter(self._parts(state)))]
        while stack:
            here, parts = stack[-1]
            part = next((part for part in parts if part not in seen), None)
            if part is None:
                order.append(here)
                stack.pop()
            else:
                seen.add(part)
                stack.append((part, iter(self._parts(part))))
        return order

    def take(self, state: int, check: int, value: float) -> None:
        """Enter a better check for a state, all of whose parts are planned."""
        self.check[state] = check
        self.value[state] = value

    def refresh(self, state: int) -> float:
        """Carry improvements to the values of all states before them; return this state's value."""
        for here in self.states_from(state):
            self.value[here] = self._sum(self.check[here], here)
        return self.value[state]

    def look_ahead(self, state: int, width: int) -> bool:
        """Try up to `width` checks in every state that the plan leads to; tell whether one helped."""
        helped = False
        for here in self.states_from(state):
            if self.check[here] < 0:
                continue
            best = self.value[here] = self._sum(self.check[here], here)
            for _, check in self.rates(here)[:width]:
                for _, part, _ in self.states.parts(check, here):
                    self.extend(part)
                value = self._sum(check, here)
                if value < best * (1 - _ROUNDING):
                    best = value
                    self.take(here, check, value)
                    helped = True
        return helped

    def adopt(self, search: ExactSearch | Lattice, state: int, first: int) -> None:
        """Take over from a search its order for a state, which starts with the check `first`."""
        found = [(state, first)]
        seen = {state}
        for here, check in found:  # grows as it goes
            parts = self.states.parts(check, here) if check >= 0 else []
            for _, part, _ in parts:
                if part not in seen:
                    seen.add(part)
                    found.append((part, search.best_check(part) if part & (part - 1) else -1))
        found.sort(key=self._last_first)
        for here, check in found:
            self.take(here, check, self._sum(check, here))

    def _last_first(self, entry: tuple[int, int]) -> tuple[int, int]:
        """Sorts states so that each stands after all that it can lead to."""
        state = entry[0]
        return self.states.causes_of(state).bit_count(), -self.states.done_of(state).bit_count()

    def polish(self, search: ExactSearch, state: int, most: int) -> bool:
        """Solve every state with at most so many causes that the plan leads to; tell whether that helped."""
        helped = False
        for here in self.states_from(state):
            value = self.value[here] = self._sum(self.check[here], here)
            if 2 < (here & self.states.everything).bit_count() <= most and search.run(value * (1 - _ROUNDING), here):  # noqa: PLR2004
                self.adopt(search, here, search.best_check(here))
                helped = True
        return helped
