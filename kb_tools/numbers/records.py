"""Shares of causes from what was counted in the field: means and intervals of a Dirichlet-multinomial.

The shares of a tree are the prior, worth as many visits as its strength says. Counts are added;
what is then known of one cause's share is a beta distribution (the marginal of a Dirichlet).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

LEVEL = 0.9
"""Chance with which the share lies inside the interval that is shown."""
_HALVINGS = 60
_MOST_TERMS = 20_000
_SETTLED = 1e-15
_TINY = 1e-300


def share_interval(
    counts: Sequence[float], prior: Sequence[float], strength: float, level: float = LEVEL
) -> list[tuple[float, float, float]]:
    """Return what is known of each cause's share: its mean and a central interval, as fractions.

    A cause of prior share p and n visits has a = p * strength + n; with A the sum of all a, its share
    is Beta(a, A - a), with mean a / A. Source: A. Gelman et al., Bayesian Data Analysis, 3rd edition,
    2.4 and 3.4.

    Args:
        counts: How often each cause was found.
        prior: The share of each cause before, as weights: their sum does not matter; all zero means all equal.
        strength: As many visits as the prior is worth; 0 where only the counts are to speak.
        level: Chance with which the share lies inside the interval; the rest is split evenly below and above.

    Returns:
        Mean, lower and upper limit for each cause, in the order of `counts`.

    Raises:
        ValueError: Lengths that differ, a number below 0 or not finite, a level outside 0 to 1, or
            neither counts nor strength.

    """
    if len(counts) != len(prior):
        message = f"There are {len(counts)} counts and {len(prior)} prior shares."
        raise ValueError(message)
    if not all(math.isfinite(value) and value >= 0 for value in (*counts, *prior, strength)):
        message = "Counts, prior shares and strength are finite and not below 0."
        raise ValueError(message)
    if not 0 < level < 1:
        message = "The level lies between 0 and 1."
        raise ValueError(message)
    if not counts:
        return []
    total = math.fsum(prior)
    shares = [weight / total for weight in prior] if total else [1 / len(prior)] * len(prior)
    weights = [share * strength + count for share, count in zip(shares, counts, strict=True)]
    known = math.fsum(weights)
    if not known:
        message = "Nothing was counted, and the prior has no strength."
        raise ValueError(message)
    tail = (1 - level) / 2
    found = []
    for at, weight in enumerate(weights):
        rest = math.fsum(weights[:at] + weights[at + 1 :])
        found.append((weight / known, beta_quantile(tail, weight, rest), beta_quantile(1 - tail, weight, rest)))
    return found


def beta_quantile(chance: float, a: float, b: float) -> float:
    """Return the x below which a Beta(a, b) lies with a chance, to about 1e-15 absolute, by bisection.

    A weight of 0 on one side puts everything at 0 or at 1.
    """
    if not a or not b:
        return 0.0 if not a else 1.0
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if beta_below(middle, a, b) < chance:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def beta_below(x: float, a: float, b: float) -> float:
    """Return the chance that a Beta(a, b) lies below x: the regularised incomplete beta function.

    By its continued fraction, on the side where that converges fast. Source: NIST Digital Library of
    Mathematical Functions, 8.17.22 and 8.17.4 (symmetry).
    """
    if x <= 0:
        return 0.0
    if x >= 1:
        return 1.0
    if x > (a + 1) / (a + b + 2):
        return 1 - _by_fraction(1 - x, b, a)
    return _by_fraction(x, a, b)


def _by_fraction(x: float, a: float, b: float) -> float:
    """Return the regularised incomplete beta function for x up to about (a + 1) / (a + b + 2).

    The fraction is 1/(1 + d1/(1 + d2/(1 + ...))), evaluated from the front by the ratios of neighbouring
    numerators and of neighbouring denominators (Lentz's way, from memory).
    """
    log_front = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    value, above, below = 1.0, 1.0, 0.0
    for term in range(1, _MOST_TERMS):
        half = term // 2
        if term % 2:
            part = -(a + half) * (a + b + half) * x / ((a + 2 * half) * (a + 2 * half + 1))
        else:
            part = half * (b - half) * x / ((a + 2 * half - 1) * (a + 2 * half))
        above = 1 + part / above or _TINY
        below = 1 / (1 + part * below or _TINY)
        value *= above * below
        if abs(above * below - 1) < _SETTLED:
            break
    return min(1.0, math.exp(log_front) / (a * value))
