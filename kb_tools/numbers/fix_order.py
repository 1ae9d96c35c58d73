"""The order of fixes inside a group of causes that no check can tell apart.

Fixes are tried one after another until the fault is gone. Trying them by chance over minutes,
greatest first, takes the fewest minutes on average (the ratio rule of W. E. Smith, Naval Research
Logistics Quarterly 3:59-66, 1956) *when every fix that is needed is paid for, the last one too*.
That is the reading computed here, because a technician does carry out the last fix.

In the other reading the last cause is cleared by elimination and its fix costs nothing; then the
rule is not optimal (with chances .1 and .9 and minutes 1 and 8 it takes 8 where 1 would do).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

READING = "by chance over minutes of the fix, which is best when the fix that cures is paid for too"
"""Which of the two readings is computed, for whoever is shown an order of fixes."""


def by_ratio(weights: Sequence[float], minutes: Sequence[float], names: Sequence[str]) -> list[int]:
    """Return the places of causes in the order in which to try their fixes.

    `weights` are chances up to a common factor, `minutes` those of the fixes; a fix of no minutes
    comes first, and equal ratios go by name.
    """

    def rank(place: int) -> tuple[float, str]:
        if minutes[place] <= 0:
            return -math.inf, names[place]
        return -weights[place] / minutes[place], names[place]

    return sorted(range(len(weights)), key=rank)


def expected_minutes_of_fixes(weights: Sequence[float], minutes: Sequence[float]) -> float:
    """Mean minutes of fixing, in the order given, until the true cause has been fixed.

    The mean of the summed minutes up to and with each cause's own fix, by `weights`, which need not
    be normalised; 0 when all weights are 0.
    """
    total = math.fsum(weights)
    if total <= 0:
        return 0.0
    spent = 0.0
    terms = []
    for weight, fix in zip(weights, minutes, strict=True):
        spent += fix
        terms.append(weight * spent)
    return math.fsum(terms) / total
