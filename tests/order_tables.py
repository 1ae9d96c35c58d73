"""Tables of causes and checks for the tests of the best order: published ones, and random ones."""

from __future__ import annotations

import math
from itertools import combinations
from typing import TYPE_CHECKING

from kb_tools.numbers.order_problem import Check, Hazard, Problem

if TYPE_CHECKING:
    import random
    from collections.abc import Mapping, Sequence

    from kb_tools.numbers.order_states import States

FIVE_TESTS = {"s0": "00000", "s1": "01001", "s2": "00110", "s3": "10011", "s4": "11000", "s5": "11110"}
"""Pattipati and Alexandridis, IEEE Trans. SMC 20(4):872-887, 1990; from memory, s0 is no fault."""
FIVE_TESTS_WEIGHTS = {"s0": 0.70, "s1": 0.01, "s2": 0.02, "s3": 0.10, "s4": 0.05, "s5": 0.12}


def from_text(rows: Mapping[str, str], weights: Mapping[str, float], minutes: Sequence[float] = ()) -> Problem:
    """A table from rows of one letter for each check; `U` is any answer."""
    width = len(next(iter(rows.values())))
    letters = [sorted({row[j] for row in rows.values()} - {"U"}) for j in range(width)]
    checks = tuple(
        Check(f"t{j + 1}", minutes[j] if minutes else 1.0, tuple(letters[j] if len(letters[j]) > 1 else "01"))
        for j in range(width)
    )
    shows = tuple(
        tuple(
            (1 << len(check.answers)) - 1 if letter == "U" else 1 << check.answers.index(letter)
            for letter, check in zip(row, checks, strict=True)
        )
        for row in rows.values()
    )
    return Problem(tuple(rows), tuple(weights[cause] for cause in rows), checks, shows)


def from_sets(weights: Sequence[float], sets: Sequence[Sequence[int]], minutes: Sequence[float] = ()) -> Problem:
    """Causes c0, c1, ...; each set is a check that answers Yes for the causes in it."""
    checks = tuple(Check(f"t{j:04}", minutes[j] if minutes else 1.0, ("No", "Yes")) for j in range(len(sets)))
    shows = tuple(tuple(2 if i in members else 1 for members in sets) for i in range(len(weights)))
    return Problem(tuple(f"c{i:03}" for i in range(len(weights))), tuple(weights), checks, shows)


def every_split(weights: Sequence[float]) -> Problem:
    """One check of unit cost for every way to split the causes in two."""
    places = range(len(weights))
    sets = [set_ for size in range(1, len(weights)) for set_ in combinations(places, size) if 0 in set_]
    return from_sets(weights, sets)


def chain(parts: int) -> Problem:
    """Parts in a row, equally likely to fail, with a test point after each but the last."""
    return from_sets([1.0] * parts, [range(point + 1) for point in range(parts - 1)])


def search_tree(keys: Sequence[float], gaps: Sequence[float]) -> Problem:
    """Keys in order and the gaps around them; looking at a key answers less, equal or greater."""
    causes = [f"d{i // 2}" if i % 2 == 0 else f"k{i // 2 + 1}" for i in range(2 * len(keys) + 1)]
    weights = [gaps[i // 2] if i % 2 == 0 else keys[i // 2] for i in range(len(causes))]
    checks = tuple(Check(f"k{j + 1}", 1.0, ("less", "equal", "greater")) for j in range(len(keys)))
    shows = tuple(
        tuple(1 if i < 2 * j + 1 else 2 if i == 2 * j + 1 else 4 for j in range(len(keys))) for i in range(len(causes))
    )
    return Problem(tuple(causes), tuple(weights), checks, shows)


def weighings(coins: int) -> Problem:
    """One coin is heavy: all weighings of two equally large sets against each other."""
    checks = []
    columns = []
    everything = range(coins)
    for size in range(1, coins // 2 + 1):
        for left in combinations(everything, size):
            rest = [coin for coin in everything if coin not in left and coin > left[0]]
            for right in combinations(rest, size):
                checks.append(Check(f"{left}{right}", 1.0, ("left", "even", "right")))
                columns.append([1 if coin in left else 4 if coin in right else 2 for coin in everything])
    shows = tuple(tuple(column[coin] for column in columns) for coin in everything)
    return Problem(tuple(f"coin{i}" for i in everything), (1.0,) * coins, tuple(checks), shows)


def random_table(source: random.Random, causes: int, checks: int) -> Problem:
    """A small table of any kind: several answers, open answers, hazards, zeros among the numbers."""
    causes, checks = source.randint(1, causes), source.randint(0, checks)
    open_share = source.choice([0, 0, 0.2, 0.5])
    hazards = tuple(Hazard(f"h{k}", source.choice([0, 1, 2.5, 7])) for k in range(source.choice([0, 0, 1, 2])))
    made = []
    for j in range(checks):
        exposes = frozenset(hazard.id for hazard in hazards if source.random() < 0.4)
        needs = frozenset(hazard.id for hazard in hazards if source.random() < 0.3) - exposes
        minutes = source.choice([0, 1, 1, 2, 3, source.random() * 5])
        made.append(Check(f"t{j}", minutes, tuple("abcd"[: source.choice([2, 2, 2, 3, 4])]), exposes, needs))
    shows = tuple(
        tuple(_random_answers(source, len(check.answers), open_share) for check in made) for _ in range(causes)
    )
    weights = tuple(source.choice([0, 1, source.random(), source.random() ** 4]) for _ in range(causes))
    return Problem(tuple(f"c{i}" for i in range(causes)), weights, tuple(made), shows, hazards)


def open_table(source: random.Random, size: int, answers: int, open_share: float, hazards: int = 0) -> Problem:
    """As many causes as checks of unlike minutes; a share of the cells may be any answer, the others are even.

    Each hazard is exposed by a third of the checks, and some of the others need its power.
    """
    stays = tuple(Hazard(f"h{k}", float(source.randint(2, 12))) for k in range(hazards))
    checks = tuple(_open_check(source, f"t{j:02}", "abcd"[:answers], stays) for j in range(size))
    shows = tuple(
        tuple(
            (1 << answers) - 1 if source.random() < open_share else 1 << source.randrange(answers) for _ in range(size)
        )
        for _ in range(size)
    )
    weights = tuple(source.random() + 0.05 for _ in shows)
    return Problem(tuple(f"c{i:02}" for i in range(size)), weights, checks, shows, stays)


def _open_check(source: random.Random, name: str, answers: str, stays: Sequence[Hazard]) -> Check:
    minutes = float(source.randint(1, 10))
    exposes = frozenset(hazard.id for hazard in stays if source.random() < 1 / 3)
    needs = frozenset(hazard.id for hazard in stays if source.random() < 0.2) - exposes
    return Check(name, minutes, tuple(answers), exposes, needs)


def _random_answers(source: random.Random, number: int, open_share: float) -> int:
    if source.random() < open_share:
        return source.randint(1, 2**number - 1)
    answer: int = source.choice([0, 0, 0, *range(number)])
    return 1 << answer


def brute_force(problem: Problem) -> float:
    """The fewest expected minutes, by trying every check everywhere, straight from the definition."""
    stays = {hazard.id: hazard.minutes for hazard in problem.hazards}
    known: dict[object, float] = {}

    def least(left: tuple[tuple[int, float], ...], done: frozenset[int], isolated: frozenset[str]) -> float:
        key = left, done, isolated
        if key not in known:
            weight = sum(w for _, w in left)
            best = math.inf
            for j, check in enumerate(problem.checks):
                if j in done or len({problem.shows[i][j] for i, _ in left}) == 1:
                    continue
                minutes = weight * (check.minutes + sum(stays[hazard] for hazard in check.exposes - isolated))
                after = (isolated | check.exposes) - check.needs
                for a in range(len(check.answers)):
                    rows = [(i, w, problem.shows[i][j]) for i, w in left]
                    part = tuple((i, w / mask.bit_count()) for i, w, mask in rows if mask >> a & 1)
                    if part:
                        minutes += least(part, done | {j}, after)
                best = min(best, minutes)
            known[key] = 0.0 if best == math.inf else best
        return known[key]

    return least(tuple(enumerate(problem.weights)), frozenset(), frozenset())


def optima(states: States) -> dict[int, float]:
    """The optimum of every state that can be reached, by plain dynamic programming without bounds."""
    known: dict[int, float] = {}

    def least(state: int) -> float:
        if state not in known:
            totals = [
                states.cost(check, state) * states.weight(state)
                + sum(scale * least(part) for _, part, scale in states.parts(check, state))
                for check in range(len(states.checks))
                if states.splits(check, state)
            ]
            known[state] = min(totals, default=0.0)
        return known[state]

    least(states.everything)
    return known
