"""Lower bounds from the bits that checks can tell: the supply bound and the chain bound.

Weights are not normalised in here: every figure is minutes times weight.

Supply bound. To name the cause takes its entropy H in bits. A check whose answers have weights y,
made in states that weigh x together, yields at most g(x) bits, the greatest entropy of weights
z <= y that sum to x (entropy is concave and homogeneous, hence superadditive). So for every price
lambda of a bit, in minutes, an order takes at least

    lambda H - sum over checks of max over x of (lambda g(x) - cost x),

the Lagrange dual of buying H bits as cheaply as the checks sell them. It shines where checks split
unevenly, where Huffman's bound is weak.

Chain bound. Follow from the start the largest part of each split, down to one cause. A check whose
rarer answers have weight q together takes at most q off a set of weight M, and then tells at most
M h(q / M) bits, h the binary entropy (plus q log2(k - 1) with k answers). At a price of a bit that
no check undercuts, every split costs at least the price of its bits, and those along the chain cost
more by at least the integral over M of the least (cost - price h(q / M)) / (q / M). It shines where
all checks cost about alike and split off little.

Both are our own derivations; the tests hold them against brute force.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from kb_tools.numbers.order_states import bits, x_log_x

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from kb_tools.numbers.order_states import States

_PRICES = 8
"""So many prices of a bit are tried in each state."""
_CHAIN_STEPS = 12
"""The chain bound's integral is taken, from below, in so many steps."""


class _Rates(NamedTuple):
    """What checks cost at least while certain hazards are isolated, and what follows from it."""

    minutes: NDArray[np.float64]
    share: NDArray[np.float64]
    """2 ** -(cost / price), a row for each price: the share of an answer that pays no longer."""
    slope: NDArray[np.float64]
    """For checks with two answers: gain per weight of the rarer answer while that is all used."""


class Supply:
    """The supply bound and the chain bound for the states of one problem."""

    def __init__(self, states: States) -> None:
        """Choose the prices at the start state; see there whether the chain bound is of use."""
        self.states = states
        ways = [len(masks) for masks in states.masks]
        self._ways = np.array(ways, dtype=np.float64)
        self._two = max(ways, default=2) == 2  # noqa: PLR2004
        answers = 1 if self._two else None  # of two answers one says it all
        self._chances = np.ascontiguousarray(states.chances[:, :answers, :])
        self._rates: dict[int, _Rates] = {}
        self.prices = np.ones((1, 1))
        self._chain_price = float(min(np.array(states.minutes) / np.log2(self._ways), default=0.0))
        self._chains = False
        if states.checks:
            self._choose_prices()
        if self._chain_price > 0 and not states.any_several:
            supply = self.bound(states.everything, states.everything)
            self._chains = True
            self._chains = self.bound(states.everything, states.everything) > supply

    def bound(self, state: int, core: int) -> float:
        """The greater of the two bounds of a state, in minutes times weight.

        `core` is a set of causes left each two of which some check surely tells apart: the bounds
        hold for these, and what they cost, all causes left cost at least.
        """
        return max(0.0, float(self._values(state, core).max()))

    def _choose_prices(self) -> None:
        """Find the price that serves best at the start; states further on need one near it."""
        least, most = 1e-3, 1e3
        typical = max(math.fsum(self.states.minutes) / len(self.states.minutes), 1e-9)
        for count in (60, 30):
            self._rates.clear()
            self.prices = typical * np.geomspace(least, most, count)[:, None]
            values = self._values(self.states.everything, self.states.everything)
            best = float(self.prices[int(np.argmax(values)), 0]) / typical
            step = (most / least) ** (1 / (count - 1))
            least, most = best / step, best * step
        self._rates.clear()
        self.prices = typical * best * np.geomspace(0.4, 2.0, _PRICES)[:, None]

    def _rates_with(self, isolated: int) -> _Rates:
        known = self._rates.get(isolated)
        if known is None:
            minutes = np.array(self.states.least_minutes(isolated))
            ratio = np.minimum(minutes / self.prices, 700.0)
            paying = (ratio > 0) & (ratio < 1)
            slope = np.where(paying, -self.prices * np.log2(np.where(paying, np.expm1(ratio * math.log(2)), 1.0)), 0.0)
            known = self._rates[isolated] = _Rates(minutes, np.exp2(-ratio), slope)
        return known

    def _values(self, state: int, core: int) -> NDArray[np.float64]:
        """The supply bound at each price, and at the end the chain bound where it is of use."""
        states = self.states
        weights = states.weight_array(state, core)
        done, isolated = states.done_of(state), states.isolated_of(state)
        total = float(weights.sum())
        if total <= 0:
            return np.zeros(1)
        need = total * math.log2(total) - float(x_log_x(weights).sum())
        answers = self._chances @ weights
        rates = self._rates_with(isolated)
        gains = self._gains_of_two(answers[:, 0], total, rates) if self._two else self._gains(answers, total, rates)
        gains = np.maximum(gains, 0.0)
        if done:
            gains[:, list(bits(done))] = 0.0
        values: NDArray[np.float64] = self.prices[:, 0] * need - gains.sum(axis=1)
        if self._chains:
            most = np.maximum(answers[:, 0], total - answers[:, 0]) if self._two else answers.max(axis=1)
            chain = self._chain_price * need + self._chain(total - most, float(weights.max()), total, rates)
            values = np.append(values, chain)
        return values

    def _chain(self, rarer: NDArray[np.float64], least: float, total: float, rates: _Rates) -> float:
        """Minutes times weight that peeling off `rarer` weights costs beyond the price of its bits."""
        use = rarer > total * 1e-12
        if not use.any():
            return 0.0
        step = (total - least) / _CHAIN_STEPS
        masses = least + step * np.arange(_CHAIN_STEPS)[:, None]
        ways = self._ways[use]
        peeled = np.minimum(rarer[use] / masses, 1 - 1 / ways)
        told = peeled * np.log2(ways - 1) - x_log_x(peeled) - x_log_x(1 - peeled)
        beyond = (rates.minutes[use] - self._chain_price * told) / peeled
        return step * float(np.maximum(beyond.min(axis=1), 0.0).sum())

    def _gains_of_two(self, first: NDArray[np.float64], total: float, rates: _Rates) -> NDArray[np.float64]:
        """Greatest lambda g(x) - cost x of checks with two answers.

        With q the weight of the rarer answer: x = q / (1 - s), s = 2 ** -(cost / lambda), or all of
        the weight where that is less.
        """
        rarer = np.maximum(np.minimum(first, total - first), 0.0)
        information = total * math.log2(total) - x_log_x(rarer) - x_log_x(total - rarer)
        whole = self.prices * information - rates.minutes * total
        gains: NDArray[np.float64] = np.where(rarer < total * (1 - rates.share), rates.slope * rarer, whole)
        return gains

    def _gains(self, answers: NDArray[np.float64], total: float, rates: _Rates) -> NDArray[np.float64]:
        """Greatest lambda g(x) - cost x of checks with any number of answers.

        At the optimum the rarer answers are used whole and the u most frequent ones in equal parts
        of s x each, with x = (sum of the rarer) / (1 - u s); u is the least number that fits.
        """
        weights = np.sort(answers, axis=1)
        used = np.cumsum(weights, axis=1)
        logs = np.cumsum(x_log_x(weights), axis=1)
        share, price, most = rates.share, self.prices, weights.shape[1]
        gains = total * np.maximum(price * math.log2(most) - rates.minutes, 0.0)
        open_ = np.ones(gains.shape, dtype=bool)
        for partly in range(most):
            last = most - partly - 1
            room = 1 - partly * share
            mass = used[:, last] / np.where(room > 0, room, 1.0) if partly else np.full(gains.shape, total)
            fits = open_ & (room > 0) & (weights[:, last] <= mass * share)
            information = used[:, last] * np.log2(np.where(mass > 0, mass, 1.0)) - logs[:, last]
            gains = np.where(fits, price * information - rates.minutes * used[:, last], gains)
            open_ &= ~fits
        return gains
