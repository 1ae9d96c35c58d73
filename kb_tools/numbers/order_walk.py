"""What a given order of checks costs, walked through answer by answer; orders in a fixed sequence.

Written straight from the definition and without anything that the search uses, so that each can be
held against the other.
"""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING

from kb_tools.numbers.fix_order import by_ratio

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kb_tools.numbers.order_problem import Group, Order, Problem

_Weights = dict[int, float]


def expected_minutes(problem: Problem, order: Order) -> float:
    """Expected minutes of checks, with isolation and putting back, when this order is followed.

    Raises ValueError when the order does not fit the problem: an unknown or repeated check, an
    answer that is missing, an end where a check could still split, or other causes at an end.
    """
    stays = {hazard.id: hazard.minutes for hazard in problem.hazards}
    places = {check.id: j for j, check in enumerate(problem.checks)}
    terms: list[float] = []
    start = dict(enumerate(problem.weights))
    stack: list[tuple[Order, _Weights, frozenset[int], frozenset[str]]] = [(order, start, frozenset(), frozenset())]
    while stack:
        here, left, done, isolated = stack.pop()
        if "causes" in here:
            _check_end(problem, here, left, done)
            continue
        place = places.get(here["check"])
        if place is None or place in done:
            raise ValueError(f"check {here['check']} is unknown, or was done before")
        check = problem.checks[place]
        minutes = check.minutes + sum(stays[hazard] for hazard in check.exposes - isolated)
        terms.append(minutes * math.fsum(left.values()))
        for answer, part in split(problem, place, left).items():
            if answer not in here["answers"]:
                raise ValueError(f"check {check.id}: no way on after the answer {answer}")
            after = (isolated | check.exposes) - check.needs
            stack.append((here["answers"][answer], part, done | {place}, after))
    return math.fsum(terms)


def expected_checks(problem: Problem, order: Order, cause: str) -> float:
    """Expected number of checks made when this cause is the true one."""
    true = problem.causes.index(cause)
    places = {check.id: j for j, check in enumerate(problem.checks)}
    number = 0.0
    stack = [(order, 1.0)]
    while stack:
        here, chance = stack.pop()
        if "check" in here:
            number += chance
            place = places[here["check"]]
            for answer, part in split(problem, place, {true: chance}).items():
                stack.append((here["answers"][answer], part[true]))
    return number


def split(problem: Problem, place: int, left: _Weights) -> dict[str, _Weights]:
    """The causes left after each possible answer to a check, with their weights."""
    parts: dict[str, _Weights] = {}
    for bit, answer in enumerate(problem.checks[place].answers):
        part = {
            cause: weight / problem.shows[cause][place].bit_count()
            for cause, weight in left.items()
            if problem.shows[cause][place] >> bit & 1
        }
        if part:
            parts[answer] = part
    return parts


def splits(problem: Problem, place: int, left: _Weights) -> bool:
    """Whether the answer to a check may tell something about the causes left."""
    return len({problem.shows[cause][place] for cause in left}) > 1


def _check_end(problem: Problem, end: Group, left: _Weights, done: frozenset[int]) -> None:
    names = sorted(problem.causes[cause] for cause in left)
    if sorted(end["causes"]) != names:
        raise ValueError(f"an end names {end['causes']} where {names} are left")
    for place, check in enumerate(problem.checks):
        if place not in done and splits(problem, place, left):
            raise ValueError(f"an end with {names} comes before check {check.id}, which could split them")


def group_of(problem: Problem, left: _Weights) -> Group:
    """The end of a way: the causes left, in the order in which to try their fixes."""
    causes = list(left)
    names = [problem.causes[cause] for cause in causes]
    minutes = [problem.fix_minutes[cause] for cause in causes]
    ranked = by_ratio([left[cause] for cause in causes], minutes, names)
    return {"causes": [names[place] for place in ranked]}


def in_sequence(problem: Problem, sequence: Sequence[str]) -> Order:
    """Make checks in this sequence on every way, leaving out those that split nothing there.

    Raises ValueError when a check that the sequence leaves out could still split something.
    """
    places = {check.id: j for j, check in enumerate(problem.checks)}
    ranked = [places[check] for check in sequence]

    def first_after(position: int, left: _Weights) -> int:
        while position < len(ranked) and not splits(problem, ranked[position], left):
            position += 1
        return position

    top: dict[str, Order] = {}
    stack: list[tuple[dict[str, Order], str, _Weights, int]] = [(top, "", dict(enumerate(problem.weights)), 0)]
    while stack:
        holder, key, left, position = stack.pop()
        position = first_after(position, left)
        if position == len(ranked):
            holder[key] = group_of(problem, left)
            _check_end(problem, group_of(problem, left), left, frozenset(ranked))
            continue
        place = ranked[position]
        answers: dict[str, Order] = {}
        holder[key] = {"check": problem.checks[place].id, "answers": answers}
        stack += [(answers, answer, part, position + 1) for answer, part in split(problem, place, left).items()]
    return top[""]


def dumps(order: Order) -> str:
    """Write an order as JSON, however deep it is (the json module gives up at some 500 levels)."""
    out: list[str] = []
    stack: list[Order | str] = [order]
    while stack:
        here = stack.pop()
        if isinstance(here, str):
            out.append(here)
        elif "causes" in here:
            out.append(json.dumps(here, ensure_ascii=False))
        else:
            out.append(f'{{"check": {json.dumps(here["check"], ensure_ascii=False)}, "answers": {{')
            stack.append("}}")
            between = ""
            for answer, part in reversed(here["answers"].items()):
                stack += [between, part, f"{json.dumps(answer, ensure_ascii=False)}: "]
                between = ", "
    return "".join(out)
