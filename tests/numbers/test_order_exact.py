"""The exact search and its bounds against brute force on thousands of small tables of any kind."""

from __future__ import annotations

import json

import pytest

from kb_tools.numbers.best_order import best_order
from kb_tools.numbers.order_bounds import Bounds
from kb_tools.numbers.order_greedy import Plan
from kb_tools.numbers.order_problem import Check, Hazard, Problem
from kb_tools.numbers.order_states import States
from kb_tools.numbers.order_walk import dumps, expected_minutes
from order_tables import brute_force, from_sets, from_text, optima, random_table
from random_trees import seeded

BATCHES = 20
TABLES = 100
"""Tables in a batch: 2,000 in all."""


@pytest.mark.parametrize("batch", range(BATCHES))
def test_optimum_of_small_tables(batch: int) -> None:
    """Bound <= optimum <= greedy, and the optimum is that of brute force: found, proven, and walked."""
    for number in range(TABLES):
        problem = random_table(seeded(TABLES * batch + number), 6, 5)
        optimum = pytest.approx(brute_force(problem), abs=1e-9)
        result = best_order(problem)
        assert result.exact
        assert result.expected_minutes == optimum
        assert expected_minutes(problem, result.order) == optimum
        states = States(problem)
        bounds = Bounds(states)
        assert max(bounds.path(states.everything), bounds.supply(states.everything)) <= result.expected_minutes + 1e-9
        assert Plan(states).extend(states.everything) >= result.expected_minutes - 1e-9
        assert json.loads(dumps(result.order)) == result.order


@pytest.mark.parametrize("batch", range(10))
def test_bounds_hold_in_every_state(batch: int) -> None:
    """No bound is above the optimum of the state it is for."""
    for number in range(40):
        states = States(random_table(seeded(40 * batch + number), 7, 6))
        bounds = Bounds(states)
        for state, optimum in optima(states).items():
            assert bounds.path(state) <= optimum + 1e-9
            if states.checks:
                assert bounds.supply(state) <= optimum + 1e-9


@pytest.mark.parametrize("seed", range(24))
def test_bounds_hold_where_checks_split_off_little(seed: int) -> None:
    """The same on tables of like minutes and rare answers, where the chain bound is at work.

    With one check for each of n equally likely causes it is nearly sharp: (n + 2)(n - 1) / 2n.
    """
    source = seeded(seed)
    causes = source.randint(8, 12)
    sets = [[i] for i in range(causes)]
    if seed % 4:
        sets = [source.sample(range(causes), source.choice([1, 1, 2])) for _ in range(causes + 2)]
    weights = [source.choice([1.0, 1.0, source.random() + 0.1]) if seed % 4 else 1.0 for _ in range(causes)]
    states = States(from_sets(weights, sets))
    bounds = Bounds(states)
    known = optima(states)
    for state, optimum in known.items():
        assert bounds.supply(state) <= optimum + 1e-9
    if not seed % 4:
        assert known[states.everything] == pytest.approx((causes + 2) * (causes - 1) / 2 / causes)
        assert bounds.supply(states.everything) > 0.8 * known[states.everything]


def test_open_answers_keep_a_cause_in_both_branches() -> None:
    """A cause that may show either answer stays on both sides with half its weight (our own).

    a: 0, b: any, c: 1 to t1; t2 sets a and c apart from b. t1 first: 1 + 1 * P(left two) = 2. t2
    first: b is done, the rest needs t1: 1 + 2 / 3.
    """
    problem = from_text({"a": "00", "b": "U1", "c": "10"}, {"a": 1, "b": 1, "c": 1})
    result = best_order(problem)
    assert result.expected_minutes == pytest.approx(5 / 3)
    assert result.order == {
        "check": "t2",
        "answers": {
            "0": {"check": "t1", "answers": {"0": {"causes": ["a"]}, "1": {"causes": ["c"]}}},
            "1": {"causes": ["b"]},
        },
    }


def test_a_check_that_may_split_is_made_once() -> None:
    """Where only luck can tell, the check is made, not repeated, and what is left is a group."""
    problem = from_text({"a": "U", "b": "0"}, {"a": 2, "b": 3})
    result = best_order(problem)
    assert result.expected_minutes == pytest.approx(1)
    assert result.order == {"check": "t1", "answers": {"0": {"causes": ["b", "a"]}, "1": {"causes": ["a"]}}}
    assert result.groups == (("b", "a"),)  # no check is sure to tell them apart


def test_equal_rows_are_named() -> None:
    """Causes with equal rows are one group, the likelier fix per minute first."""
    problem = Problem(
        ("a", "b", "c"), (1, 3, 2), (Check("t", 1, ("No", "Yes")),), ((1,), (1,), (2,)), fix_minutes=(1.0, 6.0, 1.0)
    )
    result = best_order(problem)
    assert result.groups == (("a", "b"),)
    assert result.order == {"check": "t", "answers": {"No": {"causes": ["a", "b"]}, "Yes": {"causes": ["c"]}}}


def stay_table(third_needs: bool) -> Problem:  # noqa: FBT001
    """Three checks in a row on four causes; the first two expose the harness, the third may need it."""
    harness = Hazard("harness", 4)
    exposes = frozenset({"harness"})
    checks = (
        Check("t1", 1, ("No", "Yes"), exposes),
        Check("t2", 1, ("No", "Yes"), exposes),
        Check("t3", 1, ("No", "Yes"), needs=exposes if third_needs else frozenset()),
    )
    return Problem(("a", "b", "c", "d"), (1, 1, 1, 1), checks, ((2, 1, 1), (1, 2, 1), (1, 1, 2), (1, 1, 1)), (harness,))


def test_a_stay_is_paid_once() -> None:
    """t3 first, then one stay for both others: 1 + 3/4 (1 + 4) + 2/4 (our own)."""
    for third_needs in (False, True):
        problem = stay_table(third_needs)
        result = best_order(problem)
        assert result.expected_minutes == pytest.approx(1 + 3 / 4 * 5 + 2 / 4)
        assert result.expected_minutes == pytest.approx(brute_force(problem))


def test_hazards_that_go_together_are_one() -> None:
    """Two that the same checks expose and the same need cost what one with the minutes of both does."""
    one = stay_table(third_needs=True)
    both, none = frozenset({"harness", "spring"}), frozenset[str]()
    checks = [
        Check(check.id, check.minutes, check.answers, both if check.exposes else none, both if check.needs else none)
        for check in one.checks
    ]
    two = Problem(one.causes, one.weights, tuple(checks), one.shows, (Hazard("harness", 3), Hazard("spring", 1)))
    assert States(two).stays == [4]
    assert best_order(two).expected_minutes == pytest.approx(brute_force(two))
    assert best_order(two).order == best_order(one).order


def test_putting_back_ends_a_stay() -> None:
    """A check that needs the power between two that expose it makes a second stay necessary."""
    problem = stay_table(third_needs=True)
    end = {"causes": ["d"]}
    order = {
        "check": "t1",
        "answers": {
            "Yes": {"causes": ["a"]},
            "No": {
                "check": "t3",
                "answers": {
                    "Yes": {"causes": ["c"]},
                    "No": {"check": "t2", "answers": {"Yes": {"causes": ["b"]}, "No": end}},
                },
            },
        },
    }
    assert expected_minutes(problem, order) == pytest.approx(5 + 3 / 4 + 2 / 4 * 5)  # type: ignore[arg-type]
    assert expected_minutes(stay_table(third_needs=False), order) == pytest.approx(5 + 3 / 4 + 2 / 4)  # type: ignore[arg-type]


def test_an_unfit_order_is_refused() -> None:
    """The walk through an order refuses one that stops early or lacks an answer."""
    problem = from_text({"a": "00", "b": "01", "c": "10"}, {"a": 1, "b": 1, "c": 1})
    with pytest.raises(ValueError, match="comes before check t1"):
        expected_minutes(problem, {"causes": ["a", "b", "c"]})
    with pytest.raises(ValueError, match="no way on after the answer 1"):
        expected_minutes(problem, {"check": "t1", "answers": {"0": {"causes": ["a", "b"]}}})
    with pytest.raises(ValueError, match="unknown, or was done before"):
        expected_minutes(problem, {"check": "t9", "answers": {}})


@pytest.mark.parametrize(
    ("problem", "message"),
    [
        (lambda: Problem((), (), (), ()), "needs a cause"),
        (lambda: Problem(("a", "a"), (1, 1), (), ((), ())), "stands there 2 times"),
        (lambda: Problem(("a",), (-1,), (), ((),)), "is no weight"),
        (lambda: Problem(("a",), (1,), (Check("t", 1, ("No",)),), ((2,),)), "does not exist"),
        (lambda: Problem(("a",), (1, 2), (), ((),)), "equally many"),
        (lambda: Problem(("a",), (1,), (Check("t", 1, ("No",), frozenset({"h"})),), ((1,),)), "unknown hazard"),
    ],
)
def test_a_problem_that_does_not_fit_together(problem: object, message: str) -> None:
    """What does not fit together is refused with words."""
    assert callable(problem)
    with pytest.raises(ValueError, match=message):
        problem()
