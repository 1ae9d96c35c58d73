"""The best order of checks against published worked examples and against theorems.

Beside each stands its source. "Data and answer seen" means in a stored copy of the source; "from
memory" means from memory of the source; "our own" is a value worked out here by brute force.
"""

from __future__ import annotations

import math

import pytest

from kb_tools.numbers.best_order import best_order
from kb_tools.numbers.codes import entropy, huffman
from kb_tools.numbers.order_exact import ExactSearch
from kb_tools.numbers.order_greedy import Plan
from kb_tools.numbers.order_problem import Check, Problem
from kb_tools.numbers.order_states import States
from kb_tools.numbers.order_walk import expected_checks, expected_minutes, in_sequence
from order_tables import (
    FIVE_TESTS,
    FIVE_TESTS_WEIGHTS,
    brute_force,
    chain,
    every_split,
    from_sets,
    from_text,
    search_tree,
    weighings,
)
from random_trees import seeded


def greedy(problem: Problem) -> float:
    """Expected minutes of the plan by information gain per minute alone."""
    states = States(problem)
    return Plan(states).extend(states.everything)


@pytest.mark.parametrize(
    ("minutes", "optimum"),
    [
        ((1, 1, 1, 1, 1), 2.18),  # Pattipati and Alexandridis 1990, table and answer from memory
        ((1, 2, 3, 4, 5), 5.58),  # our own
        ((5, 4, 3, 2, 1), 5.90),  # our own
    ],
)
def test_five_tests(minutes: tuple[float, ...], optimum: float) -> None:
    """Six causes and five tests: K. R. Pattipati, M. G. Alexandridis, IEEE Trans. SMC 20(4):872-887, 1990."""
    problem = from_text(FIVE_TESTS, FIVE_TESTS_WEIGHTS, minutes)
    result = best_order(problem)
    assert result.exact
    assert result.expected_minutes == pytest.approx(optimum, abs=1e-9)
    assert result.lower_bound == result.expected_minutes
    assert expected_minutes(problem, result.order) == pytest.approx(optimum, abs=1e-9)
    assert brute_force(problem) == pytest.approx(optimum, abs=1e-9)


def test_five_tests_bounds_and_greedy() -> None:
    """The same table's entropy, Huffman bound and greedy cost (our own): greedy is not optimal."""
    weights = FIVE_TESTS_WEIGHTS.values()
    assert entropy(weights) == pytest.approx(1.454873, abs=5e-7)
    assert huffman(weights) == pytest.approx(1.59)
    assert greedy(from_text(FIVE_TESTS, FIVE_TESTS_WEIGHTS)) == pytest.approx(2.86)


def least_with_root(problem: Problem, root: str) -> float:
    """The fewest expected minutes of the orders that start with this check."""
    states = States(problem)
    search = ExactSearch(states)
    check = [problem.checks[j].id for j in states.checks].index(root)
    minutes = states.cost(check, states.everything)
    for _, part, scale in states.parts(check, states.everything):
        search.run(math.inf, part)
        minutes += scale * (search.known(part) or 0.0)
    return minutes


COMPLETE = {"d1": "0000", "d2": "0001", "d3": "0011", "d4": "0111", "d5": "1111"}
INCOMPLETE = {"d1": "UUU0", "d2": "UU01", "d3": "U011", "d4": "0111", "d5": "1111"}


@pytest.mark.parametrize(
    ("rows", "sequence", "number"),
    [(COMPLETE, "1234", 3), (COMPLETE, "2314", 2), (INCOMPLETE, "1234", 4)],
)
def test_circuit_boards(rows: dict[str, str], sequence: str, number: int) -> None:
    """Tests made when d3 is true, in a fixed sequence, with unknown answers as any answer.

    A. Balakrishnan, T. Semmelbauer, Decision Support Systems 25, 1999; data and answer seen.
    """
    problem = from_text(rows, dict.fromkeys(rows, 1.0))
    order = in_sequence(problem, [f"t{digit}" for digit in sequence])
    assert expected_checks(problem, order, "d3") == number


def asked(order: object) -> list[str]:
    """The checks along the answers No, down to the end."""
    checks = []
    while isinstance(order, dict) and "check" in order:
        checks.append(order["check"])
        order = order["answers"]["No"]
    return checks


def test_one_check_for_each_cause_at_equal_cost() -> None:
    """Descending chance is best: Balakrishnan and Semmelbauer 1999; rule seen."""
    weights = [0.1, 0.3, 0.05, 0.35, 0.2]
    result = best_order(from_sets(weights, [[i] for i in range(5)]))
    assert asked(result.order) == ["t0003", "t0001", "t0004", "t0000"]


@pytest.mark.parametrize("seed", range(20))
def test_one_check_for_each_component(seed: int) -> None:
    """Smallest cost over probability first, when each test settles one component.

    J. Kalagnanam, M. Henrion, UAI 4, 1990; rule seen. With a cause that no test shows, so that the
    last component is tested too.
    """
    source = seeded(seed)
    weights = [source.random() + 0.01 for _ in range(6)]
    minutes = [source.random() + 0.01 for _ in range(5)]
    result = best_order(from_sets(weights, [[i] for i in range(5)], minutes))
    ranked = sorted(range(5), key=lambda i: minutes[i] / weights[i])
    assert asked(result.order) == [f"t{i:04}" for i in ranked]


def test_optimal_binary_search_tree() -> None:
    """T. Cormen et al., Introduction to Algorithms, optimal binary search trees, n = 5; data and answer seen.

    The book's 2.75 counts a gap one level more than its checks: 2.75 = 2.35 + sum of the gaps .40.
    """
    gaps = [0.05, 0.10, 0.05, 0.05, 0.05, 0.10]
    problem = search_tree([0.15, 0.10, 0.05, 0.10, 0.20], gaps)
    result = best_order(problem)
    assert result.exact
    assert result.expected_minutes + sum(gaps) == pytest.approx(2.75)
    with_root = {root: least_with_root(problem, root) for root in ("k1", "k2", "k3", "k4", "k5")}
    assert with_root["k2"] == pytest.approx(min(with_root.values()))  # the book's root; k4 does as well
    assert with_root["k2"] == pytest.approx(result.expected_minutes)


def test_nine_coins() -> None:
    """One heavy coin of nine: two weighings (folklore, proved by counting: 3 ** 2 outcomes)."""
    result = best_order(weighings(9))
    assert result.exact
    assert result.expected_minutes == pytest.approx(2)


@pytest.mark.parametrize("parts", range(1, 34))
def test_half_split(parts: int) -> None:
    """Equally likely parts in a row: halving is best, and reaches Huffman's bound (theorem)."""
    whole = parts.bit_length() - 1
    depth = whole + 2 * (parts - 2**whole) / parts
    result = best_order(chain(parts))
    assert result.exact
    assert result.expected_minutes == pytest.approx(depth)
    if parts == 2**whole > 1:
        assert "check" in result.order
        assert result.order["check"] == f"t{parts // 2 - 1:04}"


@pytest.mark.parametrize("seed", range(10))
def test_every_split_reaches_the_huffman_bound(seed: int) -> None:
    """Where every way to split in two is a check, the optimum is Huffman's (D. A. Huffman, 1952; theorem)."""
    source = seeded(seed)
    weights = [source.random() for _ in range(source.randint(2, 7))]
    result = best_order(every_split(weights))
    assert result.exact
    assert result.expected_minutes == pytest.approx(huffman(weights) / math.fsum(weights))


def test_huffman_of_six_letters() -> None:
    """a45 b13 c12 d16 e9 f5 -> 224: Cormen et al., Introduction to Algorithms; data and answer seen."""
    letters = [45, 13, 12, 16, 9, 5]
    assert huffman(letters) == 224
    assert best_order(every_split(letters)).expected_minutes == pytest.approx(2.24)


def test_ternary_huffman() -> None:
    """T. Cover, J. Thomas, Elements of Information Theory, 5.6; from memory."""
    assert huffman([0.25, 0.25, 0.2, 0.15, 0.15], 3) == pytest.approx(1.5)
    assert huffman([0.25, 0.25, 0.2, 0.1, 0.1, 0.1], 3) == pytest.approx(1.7)  # padded once; ibidem


@pytest.mark.parametrize("seed", range(300))
def test_entropy_huffman_optimum(seed: int) -> None:
    """Entropy <= Huffman <= optimum <= greedy on tables of two answers and unit cost (theorem)."""
    source = seeded(seed)
    causes, checks = source.randint(2, 8), source.randint(3, 8)
    rows = {tuple(source.randint(0, 1) for _ in range(checks)) for _ in range(causes)}
    weights = [source.random() ** 3 + 1e-6 for _ in rows]
    total = math.fsum(weights)
    problem = Problem(
        tuple(f"c{i}" for i in range(len(rows))),
        tuple(weights),
        tuple(Check(f"t{j}", 1.0, ("0", "1")) for j in range(checks)),
        tuple(tuple(1 << bit for bit in row) for row in sorted(rows)),
    )
    optimum = best_order(problem).expected_minutes
    assert entropy(weights) / total <= huffman(weights) / total + 1e-9
    assert huffman(weights) / total <= optimum + 1e-9
    assert optimum <= greedy(problem) + 1e-9
