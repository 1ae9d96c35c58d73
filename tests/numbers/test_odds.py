"""Odds and minutes against listing every path with networkx, and what must hold for every tree."""

from __future__ import annotations

import json
import math
from collections import defaultdict
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from kb_tools.findings import LibraryError
from kb_tools.model.graph import build_graph
from kb_tools.numbers.odds import TreeNumbers, causes_at, library_numbers, tree_numbers
from listed_paths import TREES, Listed, listed
from random_trees import chain, random_tree, random_trees, read_library, seeded

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path
    from random import Random

SEEDS = range(40)
Outcome = tuple[float, float]
"""Minutes, and the chance of an escalation."""
NOBODY_PASSES = (math.nan, math.nan)


@pytest.mark.parametrize("seed", SEEDS)
def test_numbers_are_those_of_all_paths_listed(tmp_path: Path, seed: int) -> None:
    """Shares, reach, odds, minutes, checks and chances agree with listing every path of random trees."""
    pairs = listed(tmp_path, seed)
    assert len(pairs) > TREES * 0.8
    for tree, numbers in pairs:
        assert numbers.causes == pytest.approx(tree.shares)
        for name, own in numbers.steps.items():
            if tree.node(name).step.kind in ("check", "measure", "do"):
                assert own.odds == pytest.approx(tree.odds(name)), (tree.tree_id, name)
        if not tree.shares:
            continue
        visits = list(tree.visits())
        assert sum(chance for chance, _, _ in visits) == pytest.approx(1)
        reach: dict[str, float] = defaultdict(float)
        for chance, steps, _ in visits:
            for name in steps:
                reach[name] += chance
        assert {name: own.reach for name, own in numbers.steps.items()} == pytest.approx(
            {name: reach[name] for name in numbers.steps}, abs=1e-12
        )
        kinds = {name: tree.node(name).step.kind for name in numbers.steps}
        checks = sum(chance * sum(kinds[name] in ("check", "measure") for name in steps) for chance, steps, _ in visits)
        waits = {name: step.wait.minutes if (step := tree.node(name).step).wait else 0.0 for name in kinds}
        ahead = numbers.ahead
        assert ahead.minutes == pytest.approx(sum(c * sum(map(tree.minutes, steps)) for c, steps, _ in visits))
        assert ahead.waiting == pytest.approx(sum(c * sum(map(waits.__getitem__, steps)) for c, steps, _ in visits))
        assert ahead.worst == pytest.approx(tree.longest(tree.start))
        assert ahead.checks == pytest.approx(checks)
        assert ahead.cured == pytest.approx(sum(chance for chance, _, cured in visits if cured))
        ends = sum(chance for chance, steps, cured in visits if not cured and kinds[steps[-1]] == "escalate")
        assert ahead.escalation == pytest.approx(ends, abs=1e-12)


@pytest.mark.parametrize("seed", SEEDS[:20])
def test_what_lies_ahead_of_a_step_is_the_mean_of_the_visits_that_pass_it(tmp_path: Path, seed: int) -> None:
    """Minutes, checks and chances from any step on agree with listing the visits that pass it."""
    for tree, numbers in listed(tmp_path, seed, most_steps=18):
        kinds = {name: tree.node(name).step.kind for name in numbers.steps}
        passing: dict[str, list[tuple[float, list[str], bool]]] = defaultdict(list)
        for chance, steps, cured in tree.visits():
            for at, name in enumerate(steps):
                passing[name].append((chance, steps[at:], cured))
        for name, visits in passing.items():
            ahead, total = numbers.steps[name].ahead, sum(chance for chance, _, _ in visits)
            if not total:
                continue
            minutes = sum(chance * sum(map(tree.minutes, rest)) for chance, rest, _ in visits)
            checks = sum(chance * sum(kinds[one] in ("check", "measure") for one in rest) for chance, rest, _ in visits)
            assert ahead.minutes == pytest.approx(minutes / total), (tree.tree_id, name)
            assert ahead.checks == pytest.approx(checks / total)
            assert ahead.cured == pytest.approx(sum(chance for chance, _, cured in visits if cured) / total)


@pytest.mark.parametrize("seed", SEEDS[:10])
def test_over_links_minutes_and_escalations_are_those_of_all_visits_listed(tmp_path: Path, seed: int) -> None:
    """What goes on in another tree is counted there; a fault that its own fix did not cure stays uncured there too."""
    library = read_library(tmp_path, random_trees(seeded(seed), TREES, most_steps=12))
    graph = build_graph(library)
    trees = {name: Listed(graph, library, name) for name in library.trees}

    def uncured(key: str) -> Outcome:
        """Return what becomes of who comes to a step uncured."""
        tree, _, name = key.partition("/")
        return added((chance, trees[tree], steps, True) for chance, steps in trees[tree].uncured(name))

    def passing(key: str) -> Outcome:
        """Return what becomes of who comes to a step as others do."""
        tree, _, name = key.partition("/")
        found = [
            (chance, trees[tree], steps[steps.index(name) :], met < len(steps) - 1)
            for chance, steps, _, met in trees[tree].visits_with_cause()
            if name in steps
        ]
        total = sum(chance for chance, *_ in found)
        visits = ((chance / total, tree_, steps, met) for chance, tree_, steps, met in found)
        return added(visits) if total else NOBODY_PASSES

    def added(visits: Iterable[tuple[float, Listed, list[str], bool]]) -> Outcome:
        minutes = escalated = 0.0
        for chance, tree, steps, met in visits:
            end = tree.node(steps[-1])
            onward = (0.0, float(end.step.kind == "escalate"))
            if end.step.kind == "link" and chance:
                onward = (uncured if met else passing)(str(end.ways[0].target))
            minutes += chance * (sum(map(tree.minutes, steps)) + onward[0])
            escalated += chance * onward[1]
        return minutes, escalated

    for name, own in library_numbers(graph, library).items():
        visits = [(c, trees[name], steps, met < len(steps) - 1) for c, steps, _, met in trees[name].visits_with_cause()]
        minutes, escalated = added(visits)
        if visits and not math.isnan(minutes):
            assert own.ahead.minutes == pytest.approx(minutes), name
            assert own.ahead.escalation == pytest.approx(escalated, abs=1e-12), name


@pytest.mark.parametrize("seed", SEEDS[:10])
def test_causes_at_a_step_are_those_of_the_visits_that_pass_it(tmp_path: Path, seed: int) -> None:
    """What is still possible at a step, however come to, agrees with counting the visits that pass it."""
    for tree, numbers in listed(tmp_path, seed):
        passing: dict[str, dict[str, float]] = defaultdict(lambda: defaultdict(float))
        for cause, paths in tree.paths.items():
            for path in paths if cause in tree.weights else ():
                for name in [*(name for name, _ in path), cause]:
                    passing[name][cause] += tree.weights[cause]
                step = tree.node(cause).step
                if step.kind == "fix":
                    left = tree.weights[cause] * (0.0 if step.cures is None else 1 - float(step.cures))
                    for chance, rest in tree.uncured(str(step.not_cured)):
                        for name in rest:
                            passing[name][cause] += left * chance
        for name, weights in passing.items():
            total = sum(weights.values())
            expected = {cause: weight / total for cause, weight in weights.items() if weight}
            found = causes_at(tree.graph, numbers, name)
            assert found == pytest.approx(expected, abs=1e-12)
            assert list(found.values()) == sorted(found.values(), reverse=True)


def one_tree(tmp_path_factory: pytest.TempPathFactory, tree: dict[str, Any]) -> TreeNumbers:
    """Return the numbers of a single tree."""
    library = read_library(tmp_path_factory.mktemp("one"), {"t0": tree})
    return tree_numbers(build_graph(library), library, "t0")


TREE_SEEDS = st.integers(0, 10**9)
SLOW = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@SLOW
@given(TREE_SEEDS)
def test_odds_sum_to_one(tmp_path_factory: pytest.TempPathFactory, seed: int) -> None:
    """The odds of the ways on sum to 1, causes too, ends are reached with chance 1, all lies between 0 and 1."""
    numbers = one_tree(tmp_path_factory, tree := random_tree(seeded(seed), 0, 30, []))
    ends = 0.0
    for name, own in numbers.steps.items():
        kind = next(iter(set(tree["steps"][name]) & {"check", "measure", "do", "fix", "escalate", "done"}))
        assert all(0 <= value <= 1 + 1e-12 for value in (own.reach, own.stop, own.cured, own.own_onward, *own.odds))
        if kind == "fix":
            assert own.cured + own.odds[0] == pytest.approx(1)
            ends += own.reach * own.cured
        elif kind in ("escalate", "done"):
            ends += own.reach
        else:
            assert sum(own.odds) == pytest.approx(1)
    if numbers.causes:
        assert sum(numbers.causes.values()) == pytest.approx(1)
        assert ends == pytest.approx(1)
        assert numbers.steps[numbers.start].reach == pytest.approx(1)


@SLOW
@given(TREE_SEEDS, st.integers(0, 29), st.floats(0.5, 600))
def test_minutes_never_fall_when_a_step_gets_longer(
    tmp_path_factory: pytest.TempPathFactory, seed: int, which: int, more: float
) -> None:
    """A longer step makes no step's expected or worst minutes smaller, and leaves odds alone."""
    tree = random_tree(seeded(seed), 0, 30, [])
    before = one_tree(tmp_path_factory, tree)
    step = list(tree["steps"].values())[which % len(tree["steps"])]
    minutes = before.steps[list(tree["steps"])[which % len(tree["steps"])]].ahead.worst
    step["takes"] = f"{math.ceil(minutes) + round(more, 1)} min"
    after = one_tree(tmp_path_factory, tree)
    for name, own in before.steps.items():
        later = after.steps[name]
        assert later.ahead.minutes >= own.ahead.minutes - 1e-9
        assert later.ahead.worst >= own.ahead.worst - 1e-9
        assert later.odds == own.odds


@SLOW
@given(TREE_SEEDS, st.randoms(use_true_random=False))
def test_the_order_of_keys_does_not_matter(
    tmp_path_factory: pytest.TempPathFactory, seed: int, shuffler: Random
) -> None:
    """Steps written in another order have the same numbers, to the last bit but for sums over causes."""
    tree = random_tree(seeded(seed), 0, 15, [])
    names = list(tree["steps"])
    shuffler.shuffle(names)
    other = json.loads(json.dumps(tree)) | {"steps": {name: tree["steps"][name] for name in names}}
    one, two = one_tree(tmp_path_factory, tree), one_tree(tmp_path_factory, other)
    for name, own in one.steps.items():
        assert two.steps[name].odds == own.odds
        assert two.steps[name].reach == pytest.approx(own.reach, abs=1e-15)
        assert two.steps[name].ahead.minutes == pytest.approx(own.ahead.minutes)


@pytest.mark.parametrize("length", [1, 60, 3000])
def test_so_many_paths_that_none_can_be_listed(tmp_path: Path, length: int) -> None:
    """A tree of 2**3000 paths is counted at once, and its figures are those that follow from symmetry.

    Of the 2**n + ... paths, those to the desk are 2**(n+1) - 1 in all: one over each C, one past the fix.
    """
    library = read_library(tmp_path, {"t0": chain(length)})
    numbers = tree_numbers(build_graph(library), library, "t0")
    assert numbers.causes == {"mend": 0.75, "desk": 0.25}
    paths_to_desk = 2 * 2**length - 1
    over_fix = 2**length / paths_to_desk
    assert numbers.steps["mend"].reach == pytest.approx(0.75 + 0.25 * over_fix)
    assert numbers.steps["desk"].reach == pytest.approx(0.25 + 0.75 * 0.5)
    assert numbers.ahead.cured == pytest.approx(0.375)
    assert numbers.steps["s0"].odds[2] == pytest.approx(float(Fraction(1, 4 * paths_to_desk)))
    assert causes_at(build_graph(library), numbers, "s0") == pytest.approx({"mend": 0.75, "desk": 0.25})


def test_the_shape_of_a_small_tree_by_hand(tmp_path: Path) -> None:
    """A tree counted by hand: wrong fix before the right one, `cures`, cannot, proof, and a link's minutes."""
    first: dict[str, Any] = {
        "title": "First",
        "reviewed": "2026-10-14",
        "start": "look",
        "steps": {
            "look": {
                "check": "Lit?",
                "takes": "2 min",
                "answers": [
                    {"answer": "Yes", "to": "onward"},
                    {"answer": "No", "to": "plug"},
                    {"answer": "Unsure", "to": "plug", "unsure": True},
                ],
            },
            "plug": {
                "fix": "Plug",
                "takes": "4 min",
                "share": 60,
                "cures": 0.75,
                "proof": "drives",
                "not_cured": "fuse",
            },
            "fuse": {"fix": "Fuse", "takes": "5 min", "share": 20, "proof": "quick", "not_cured": "desk"},
            "desk": {"escalate": "Desk"},
            "onward": {"link": "t1", "share": 20},
        },
    }
    second: dict[str, Any] = {
        "title": "Second",
        "reviewed": "2026-10-14",
        "start": "measure",
        "steps": {
            "measure": {"check": "Still?", "takes": "10 min", "answers": [{"answer": "Yes", "to": "end"}]},
            "end": {"escalate": "Desk", "takes": "1 min"},
        },
    }
    library = read_library(tmp_path, {"t0": first, "t1": second})
    numbers = tree_numbers(build_graph(library), library, "t0")
    reach = {name: own.reach for name, own in numbers.steps.items()}
    # 60 + 20 of 100 take "No"; of the 60 a quarter is not cured and goes on to the fuse.
    assert reach == pytest.approx({"look": 1, "plug": 0.8, "fuse": 0.35, "desk": 0.15, "onward": 0.2})
    assert numbers.steps["look"].odds == pytest.approx((0.2, 0.8, 0))
    assert numbers.steps["plug"].cured == pytest.approx(0.45 / 0.8)
    minutes = 2 + 0.8 * (4 + 6) + 0.35 * (5 + 0.5) + 0.2 * (10 + 1)
    assert numbers.ahead.minutes == pytest.approx(minutes)
    assert numbers.ahead.worst == pytest.approx(2 + 10 + 5.5)
    assert numbers.ahead.cured == pytest.approx(0.45 + 0.2)
    assert numbers.ahead.escalation == pytest.approx(0.15 + 0.2)
    assert causes_at(build_graph(library), numbers, "fuse") == pytest.approx({"fuse": 0.2 / 0.35, "plug": 0.15 / 0.35})


def test_shares_given_from_outside_take_the_place_of_those_written(tmp_path: Path) -> None:
    """Weights from records replace the written ones; a cause that no plain path reaches is named."""
    tree = chain(1)
    tree["steps"]["s0"]["answers"].append({"answer": "D", "to": "lost", "unsure": True})
    tree["steps"]["lost"] = {"done": "Lost", "share": 6}
    library = read_library(tmp_path, {"t0": tree})
    graph = build_graph(library)
    assert tree_numbers(graph, library, "t0").dropped == ("lost",)
    numbers = tree_numbers(graph, library, "t0", {"mend": 1, "desk": 4})
    assert numbers.causes == pytest.approx({"mend": 0.2, "desk": 0.8})
    assert numbers.dropped == ()


def test_a_fix_without_a_way_on_is_counted_as_an_end(tmp_path: Path) -> None:
    """A fix that lacks `not_cured`, a finding by itself, keeps nobody from the numbers of its tree."""
    tree = chain(2)
    del tree["steps"]["mend"]["not_cured"]
    library = read_library(tmp_path, {"t0": tree})
    graph = build_graph(library)
    numbers = tree_numbers(graph, library, "t0")
    for name in numbers.steps:
        assert sum(chance for _, chance in causes_at(graph, numbers, name).items()) <= 1 + 1e-9


def test_a_loop_is_told_and_not_counted(tmp_path: Path) -> None:
    """Trees that run in a loop, or have no start, raise an error for a person."""
    tree = chain(2)
    tree["steps"]["mend"]["not_cured"] = "s0"
    library = read_library(tmp_path, {"t0": tree, "t1": chain(1)})
    graph = build_graph(library)
    with pytest.raises(LibraryError, match="loop"):
        tree_numbers(graph, library, "t0")
    assert tree_numbers(graph, library, "t1").ahead.cured == pytest.approx(0.375)
    with pytest.raises(LibraryError, match="no start"):
        tree_numbers(graph, library, "t9")
