"""Testability of a table of causes and checks, in the field's terms.

Formulas after MIL-STD-2165 (1985) and IEEE Std 1522-2004: the fraction of faults detected is the
weight of the faults that some check sees over the weight of all faults; the fraction isolated to
groups of at most L is the weight of the detected faults whose signature at most L faults share over
the weight of the *detected* faults.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from kb_tools.numbers.order_problem import Problem

NO_FAULT = "no-fault"
"""The reserved cause of a table: nothing is wrong."""
GROUP_SIZES = (1, 2, 3)


@dataclass(frozen=True, slots=True)
class Testability:
    """How much a table's checks can see."""

    __test__ = False  # not a test class, whatever pytest makes of the name

    detected: float
    """Fraction of faults detected, 0 to 1."""
    isolated: dict[int, float]
    """Fraction of the detected faults isolated to groups of at most 1, 2 and 3."""


def testability(problem: Problem) -> Testability:
    """Work out what all checks together can see, whatever they cost.

    A check sees a fault when the two show no answer in common, the fault and `no-fault`. A table
    without `no-fault` starts from a complaint, so that there is a fault is known; then a check sees
    a fault when the fault rules out at least one of its answers, and only a cause that may show
    anything everywhere goes undetected.

    Two faults share a signature when no check is sure to tell them apart: their answers have one in
    common everywhere. Faults of no weight count as members of a group. Without any weight of faults
    all fractions are 0.
    """
    rows = dict(zip(problem.causes, problem.shows, strict=True))
    weights = dict(zip(problem.causes, problem.weights, strict=True))
    sound = rows.pop(NO_FAULT, None)
    seen = [cause for cause, row in rows.items() if _is_seen(row, sound, problem)]
    all_weight = math.fsum(weights[cause] for cause in rows)
    seen_weight = math.fsum(weights[cause] for cause in seen)
    alike = {cause: sum(1 for row in rows.values() if not _tells_apart(rows[cause], row)) for cause in seen}
    isolated = {
        most: _ratio(math.fsum(weights[cause] for cause in seen if alike[cause] <= most), seen_weight)
        for most in GROUP_SIZES
    }
    return Testability(_ratio(seen_weight, all_weight), isolated)


testability.__test__ = False  # type: ignore[attr-defined]


def _is_seen(row: tuple[int, ...], sound: tuple[int, ...] | None, problem: Problem) -> bool:
    if sound is not None:
        return _tells_apart(row, sound)
    return any(mask != (1 << len(check.answers)) - 1 for mask, check in zip(row, problem.checks, strict=True))


def _tells_apart(one: tuple[int, ...], other: tuple[int, ...]) -> bool:
    return any(not a & b for a, b in zip(one, other, strict=True))


def _ratio(part: float, whole: float) -> float:
    return part / whole if whole > 0 else 0.0
