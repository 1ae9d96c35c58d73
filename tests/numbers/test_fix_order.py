"""The order of fixes inside a group: the ratio rule, and where it does not hold."""

from __future__ import annotations

from itertools import permutations

import pytest

from kb_tools.numbers.fix_order import by_ratio, expected_minutes_of_fixes
from random_trees import seeded


def test_ratio_rule_beats_difference() -> None:
    """Lengths 5 and 2, weights 3 and 1: 22 by ratio, 23 by difference.

    W. E. Smith, Naval Research Logistics Quarterly 3:59-66, 1956, as a lecture example; data seen,
    answers from memory. The sum of weighted completion times is the mean times the sum of weights.
    """
    weights, minutes = [3.0, 1.0], [5.0, 2.0]
    ranked = by_ratio(weights, minutes, ["one", "two"])
    assert ranked == [0, 1]
    assert 4 * expected_minutes_of_fixes(weights, minutes) == pytest.approx(22)
    assert 4 * expected_minutes_of_fixes(weights[::-1], minutes[::-1]) == pytest.approx(23)


@pytest.mark.parametrize("seed", range(200))
def test_ratio_rule_is_best_when_the_last_fix_is_paid_for(seed: int) -> None:
    """By ratio costs no more than any other order, the last fix included (theorem; by trying all)."""
    source = seeded(seed)
    number = source.randint(1, 5)
    weights = [source.choice([0, source.random()]) for _ in range(number)]
    minutes = [source.choice([0, source.random()]) for _ in range(number)]

    def cost(order: tuple[int, ...] | list[int]) -> float:
        return expected_minutes_of_fixes([weights[i] for i in order], [minutes[i] for i in order])

    ranked = by_ratio(weights, minutes, [f"c{i}" for i in range(number)])
    assert cost(ranked) <= min(map(cost, permutations(range(number)))) + 1e-12


def test_ratio_rule_is_not_best_when_the_last_is_cleared_by_elimination() -> None:
    """Chances .1 and .9, minutes 1 and 8: the rule starts with 8 where 1 would do (our own)."""
    assert by_ratio([0.1, 0.9], [1.0, 8.0], ["one", "two"]) == [1, 0]
