"""What holds for every table: limits of time, interruption, progress, and no luck of the order of keys."""

from __future__ import annotations

import signal
import time
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kb_tools.numbers import best_order as best_order_module
from kb_tools.numbers.best_order import best_order
from kb_tools.numbers.order_bounds import Bounds
from kb_tools.numbers.order_problem import Check, Problem
from kb_tools.numbers.order_walk import dumps, expected_minutes
from order_tables import from_sets, open_table, random_table
from random_trees import seeded

if TYPE_CHECKING:
    import random

    from kb_tools.numbers.order_problem import Progress, Result


def shuffled(problem: Problem, source: random.Random) -> Problem:
    """The same table with its causes, checks and answers in another order."""
    causes = source.sample(range(len(problem.causes)), len(problem.causes))
    checks = source.sample(range(len(problem.checks)), len(problem.checks))
    answers = [source.sample(range(len(check.answers)), len(check.answers)) for check in problem.checks]

    def moved(cause: int, check: int) -> int:
        mask = problem.shows[cause][check]
        return sum((mask >> old & 1) << new for new, old in enumerate(answers[check]))

    def renamed(place: int) -> Check:
        check = problem.checks[place]
        names = tuple(check.answers[old] for old in answers[place])
        return Check(check.id, check.minutes, names, check.exposes, check.needs)

    return Problem(
        tuple(problem.causes[i] for i in causes),
        tuple(problem.weights[i] for i in causes),
        tuple(renamed(j) for j in checks),
        tuple(tuple(moved(i, j) for j in checks) for i in causes),
        tuple(source.sample(problem.hazards, len(problem.hazards))),
    )


@settings(max_examples=60, deadline=None)
@given(st.randoms(use_true_random=False))
def test_the_order_of_keys_changes_nothing(source: random.Random) -> None:
    """Causes, checks, answers and hazards in another order: the same best order, to the letter."""
    problem = random_table(source, 7, 6)
    one, other = best_order(problem), best_order(shuffled(problem, source))
    assert one.order == other.order
    assert one.groups == other.groups
    assert one.expected_minutes == pytest.approx(other.expected_minutes, abs=1e-12)


@settings(max_examples=50, deadline=None)
@given(st.randoms(use_true_random=False), st.floats(0.01, 1000))
def test_minutes_scale(source: random.Random, factor: float) -> None:
    """All minutes times a factor: the expected minutes times that factor."""
    problem = random_table(source, 6, 5)
    checks = tuple(Check(c.id, c.minutes * factor, c.answers, c.exposes, c.needs) for c in problem.checks)
    hazards = tuple(type(h)(h.id, h.minutes * factor) for h in problem.hazards)
    scaled = Problem(problem.causes, problem.weights, checks, problem.shows, hazards)
    expected = best_order(problem).expected_minutes * factor
    assert best_order(scaled).expected_minutes == pytest.approx(expected, rel=1e-9, abs=1e-9)


@settings(max_examples=50, deadline=None)
@given(st.randoms(use_true_random=False), st.floats(0, 5))
def test_minutes_never_fall_when_a_check_gets_longer(source: random.Random, more: float) -> None:
    """A longer check never makes the best order shorter; nor does a further cause."""
    problem = random_table(source, 6, 5)
    if problem.checks:
        place = source.randrange(len(problem.checks))
        longer = problem.checks[place]
        longer = Check(longer.id, longer.minutes + more, longer.answers, longer.exposes, longer.needs)
        checks = (*problem.checks[:place], longer, *problem.checks[place + 1 :])
        slower = Problem(problem.causes, problem.weights, checks, problem.shows, problem.hazards)
        assert best_order(slower).expected_minutes >= best_order(problem).expected_minutes - 1e-9


def sparse(causes: int, checks: int, density: float, seed: int) -> Problem:
    """A table of two answers whose Yes is rare, with unlike minutes: hard to solve exactly."""
    source = seeded(seed)
    sets = [[i for i in range(causes) if source.random() < density] for _ in range(checks)]
    minutes = [float(source.randint(1, 10)) for _ in sets]
    return from_sets([source.random() + 0.05 for _ in range(causes)], sets, minutes)


def assert_sound(problem: Problem, result: Result) -> None:
    """The order can be walked, costs what it says, and stands above its bound."""
    assert expected_minutes(problem, result.order) == pytest.approx(result.expected_minutes)
    assert 0 < result.lower_bound <= result.expected_minutes
    assert 0 <= result.gap < 1


def test_a_time_limit_is_kept() -> None:
    """When time is up the best order so far comes back, with a bound and without a claim."""
    problem = sparse(120, 80, 0.08, 1)
    began = time.monotonic()
    result = best_order(problem, seconds=1.5)
    assert time.monotonic() - began < 15
    assert not result.exact
    assert_sound(problem, result)


def test_the_clock_is_looked_at_between_long_bounds(monkeypatch: pytest.MonkeyPatch) -> None:
    """With open answers no more bounds are worked out between two looks at the clock than a check has answers."""
    bounds = [0]
    looks: list[int] = []
    path, tick = Bounds.path, best_order_module._Run.tick  # noqa: SLF001 - the clock has no other handle

    def counted(self: Bounds, state: int) -> float:
        bounds[0] += 1
        return path(self, state)

    def looked(self: best_order_module._Run) -> None:
        looks.append(bounds[0])
        bounds[0] = 0
        tick(self)

    monkeypatch.setattr(Bounds, "path", counted)
    monkeypatch.setattr(best_order_module._Run, "tick", looked)  # noqa: SLF001
    best_order(open_table(seeded(1), 30, 2, 0.3), states=30)
    assert max(looks) <= 2 + 1


def test_interruption_gives_the_best_so_far(request: pytest.FixtureRequest) -> None:
    """Ctrl-C during a long search gives the best order found by then; progress is told meanwhile."""
    # Started in the background, a shell's command and all its children ignore Ctrl-C.
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    request.addfinalizer(lambda: signal.signal(signal.SIGINT, before))
    problem = sparse(70, 70, 0.08, 2)
    told: list[Progress] = []

    def interrupt(progress: Progress) -> None:
        told.append(progress)
        if len(told) == 2:
            signal.raise_signal(signal.SIGINT)

    result = best_order(problem, seconds=100, progress=interrupt)
    assert len(told) == 2
    assert not result.exact
    assert_sound(problem, result)
    assert result.expected_minutes <= told[0].expected_minutes
    assert told[0].lower_bound <= result.lower_bound + 1e-9


def test_more_time_is_never_worse() -> None:
    """A longer search ends with an order that is no dearer and a bound that is no lower."""
    problem = sparse(60, 40, 0.1, 3)
    short, long = best_order(problem, seconds=0.05), best_order(problem, seconds=2.5)
    assert long.expected_minutes <= short.expected_minutes + 1e-9
    assert long.lower_bound >= short.lower_bound - 1e-9


@pytest.mark.parametrize("seed", range(4))
def test_sixty_by_sixty_is_exact(seed: int) -> None:
    """A table of 60 causes and 60 checks that split about evenly, unlike minutes, is proven without a limit set."""
    source = seeded(seed)
    sets = [[i for i in range(60) if source.random() < 0.5] for _ in range(60)]
    minutes = [float(source.randint(1, 10)) if seed % 2 else 1.0 for _ in sets]
    problem = from_sets([source.random() + 0.05 for _ in range(60)], sets, minutes)
    result = best_order(problem)
    assert result.exact
    assert expected_minutes(problem, result.order) == pytest.approx(result.expected_minutes)


def test_a_very_deep_order() -> None:
    """Hundreds of checks on one way meet no limit of recursion, in the search or in the JSON."""
    causes = 300
    problem = from_sets([float(i + 1) for i in range(causes)], [[i] for i in range(causes)])
    result = best_order(problem, seconds=1)
    weights = [2 * (causes - i) / causes / (causes + 1) for i in range(causes)]
    best = sum(weight * min(i + 1, causes - 1) for i, weight in enumerate(weights))  # descending chance
    assert result.expected_minutes == pytest.approx(best)
    assert dumps(result.order).count('"check"') == causes - 1
