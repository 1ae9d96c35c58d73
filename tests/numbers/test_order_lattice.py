"""Dynamic programming over every state: against brute force, a plain program and the search with bounds."""

from __future__ import annotations

import math
import os
from typing import TYPE_CHECKING

import pytest

from kb_tools.numbers import best_order as front_door
from kb_tools.numbers.best_order import best_order
from kb_tools.numbers.order_exact import ExactSearch
from kb_tools.numbers.order_greedy import Plan
from kb_tools.numbers.order_lattice import Lattice
from kb_tools.numbers.order_states import States
from kb_tools.numbers.order_walk import expected_minutes
from order_tables import brute_force, open_table, optima, random_table
from random_trees import seeded

if TYPE_CHECKING:
    from kb_tools.numbers.order_problem import Progress


@pytest.mark.parametrize("batch", range(20))
def test_optimum_of_small_tables(batch: int) -> None:
    """Brute force gives the same optimum, on tables of any kind, and every state the same value."""
    for number in range(60):
        problem = random_table(seeded(60 * batch + number), 7, 6)
        states = States(problem)
        lattice = Lattice(states)
        assert (lattice.count is None) == (not states.checks)
        if lattice.count is None:
            continue
        assert lattice.run() == pytest.approx(brute_force(problem), abs=1e-9)
        known = optima(states)
        for state, optimum in known.items():
            assert lattice.value(state) == pytest.approx(optimum, abs=1e-9)
        assert lattice.count == lattice.looked_at


@pytest.mark.parametrize("batch", range(20))
def test_optimum_of_small_open_tables_with_stays(batch: int) -> None:
    """Many cells open and hazards to be isolated, together: bound <= optimum = brute force <= greedy, walked too."""
    for number in range(50):
        source = seeded(50 * batch + number)
        problem = open_table(source, source.randint(2, 5), source.choice([2, 3]), source.random(), source.randint(1, 3))
        optimum = brute_force(problem)
        result = best_order(problem)
        assert result.exact
        assert result.expected_minutes == pytest.approx(optimum, abs=1e-9)
        assert expected_minutes(problem, result.order) == pytest.approx(optimum, abs=1e-9)
        states = States(problem)
        lattice = Lattice(states)
        if lattice.count is None:
            assert not states.checks
            continue
        assert lattice.run() == pytest.approx(optimum, abs=1e-9)
        search = ExactSearch(states)
        assert search.floor <= optimum + 1e-9
        assert search.run(math.inf)
        assert search.floor == pytest.approx(optimum, abs=1e-9)
        assert Plan(states).extend(states.everything) >= optimum - 1e-9


@pytest.mark.parametrize("hazards", [0, 1, 2, 3])
@pytest.mark.parametrize("seed", range(8))
def test_a_plain_program_agrees(seed: int, hazards: int) -> None:
    """Tables of eight causes and eight checks, many cells open: the optimum of the memoised 15-line program."""
    problem = open_table(seeded(seed), 8, 2 + seed % 2, 0.3 + 0.1 * (seed // 2), hazards)
    states = States(problem)
    optimum = pytest.approx(optima(states)[states.everything], rel=1e-9)
    assert Lattice(states).run() == optimum
    assert best_order(problem).expected_minutes == optimum


@pytest.mark.parametrize(("answers", "open_share"), [(2, 0.15), (2, 0.2), (3, 0.2), (3, 0.3)])
def test_twenty_by_twenty_is_what_the_search_with_bounds_finds(answers: int, open_share: float) -> None:
    """Where bounds still prove an order of 20 checks on 20 causes, both ways give the same optimum."""
    states = States(open_table(seeded(5), 20, answers, open_share))
    search = ExactSearch(states)
    assert search.run(math.inf)
    assert Lattice(states).run() == pytest.approx(search.floor, rel=1e-9)


@pytest.mark.parametrize(
    ("answers", "open_share", "hazards"), [(2, 0.4, 0), (3, 0.4, 0), (3, 0.5, 0), (2, 0.4, 1), (3, 0.4, 3)]
)
def test_twenty_by_twenty_is_exact(answers: int, open_share: float, hazards: int) -> None:
    """Out of reach of the bounds: proven all the same, and the order costs what it says when walked.

    Three hazards with two answers, or with half the cells open, take up to nine seconds; `bench/order.py --spread`
    makes such tables.
    """
    problem = open_table(seeded(2), 20, answers, open_share, hazards)
    result = best_order(problem)
    assert result.exact
    assert result.lower_bound == result.expected_minutes
    assert expected_minutes(problem, result.order) == pytest.approx(result.expected_minutes, rel=1e-9)


def test_order_is_the_same_whichever_way_proves_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the trial by the search with bounds the lattice alone gives the same minutes."""
    monkeypatch.setattr(front_door, "_TRIAL", 0)
    for seed in range(40):
        problem = open_table(seeded(seed), 7, 2 + seed % 3, 0.4)
        result = best_order(problem)
        assert result.exact
        assert result.expected_minutes == pytest.approx(brute_force(problem), abs=1e-9)
        assert expected_minutes(problem, result.order) == pytest.approx(result.expected_minutes, abs=1e-9)


def test_a_limit_leaves_the_gap_told() -> None:
    """Where a limit leaves no room for all states, the best order so far comes back with its bound."""
    problem = open_table(seeded(2), 20, 2, 0.5)
    result = best_order(problem, states=300)
    assert not result.exact
    assert 0 < result.lower_bound < result.expected_minutes
    assert 0 < result.gap < 1
    assert expected_minutes(problem, result.order) == pytest.approx(result.expected_minutes, rel=1e-9)


def test_interruption_gives_the_best_so_far() -> None:
    """Ctrl-C while all states are gone through: the first plan or better, its bound, and no claim."""
    problem = open_table(seeded(2), 20, 2, 0.5)

    def interrupt(progress: Progress) -> None:
        if progress.states > 100_000:  # more than the trial may look at
            raise KeyboardInterrupt

    result = best_order(problem, progress=interrupt)
    assert not result.exact
    assert 0 < result.lower_bound < result.expected_minutes
    assert expected_minutes(problem, result.order) == pytest.approx(result.expected_minutes, rel=1e-9)


def test_what_is_no_case_for_it_is_not_counted() -> None:
    """Tables of more causes than a word has bits, or of many hazards, are left to the search with bounds."""
    for problem in (open_table(seeded(1), 64, 2, 0.5), open_table(seeded(1), 10, 2, 0.5, 7)):
        lattice = Lattice(States(problem))
        assert lattice.count is None
        assert lattice.memory == 0
        with pytest.raises(ValueError, match="not counted"):
            lattice.run()


@pytest.mark.parametrize("told_before", [False, True])
def test_no_room_for_the_states_leaves_the_search_with_bounds(
    monkeypatch: pytest.MonkeyPatch,
    told_before: bool,  # noqa: FBT001
) -> None:
    """Where the memory cannot be had, or is more than half of all, the order is proven the other way."""

    def none_left(_: Lattice) -> float:
        assert not told_before
        raise MemoryError

    problem = open_table(seeded(1), 8, 2, 0.5, 1)
    optimum = best_order(problem).expected_minutes
    monkeypatch.setattr(front_door, "_TRIAL", 0)
    monkeypatch.setattr(Lattice, "run", none_left)
    if told_before:
        memory = Lattice(States(problem)).memory
        answers = {"SC_PHYS_PAGES": 2 * memory - 2, "SC_PAGE_SIZE": 1}
        monkeypatch.setattr(os, "sysconf", answers.__getitem__)
    result = best_order(problem)
    assert result.exact
    assert result.expected_minutes == pytest.approx(optimum)


def test_a_machine_that_does_not_tell_its_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    """Then 4 GB may be taken."""
    monkeypatch.delattr(os, "sysconf")
    assert front_door._most_memory() == 1 << 32  # noqa: SLF001 - depends on the system
