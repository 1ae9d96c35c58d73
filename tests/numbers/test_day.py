"""What to take along to the visits of a day, against all ways in which the day can go (brute force)."""

from __future__ import annotations

import json
from itertools import combinations, product
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from kb_tools.cli._main import main
from kb_tools.model.build import load
from kb_tools.model.graph import build_graph
from kb_tools.numbers import visit
from kb_tools.numbers.odds import library_numbers
from kb_tools.numbers.visit import ENOUGH, Item, Visits, items_of, packed
from listed_paths import listed

if TYPE_CHECKING:
    from kb_tools.numbers.visit import Visit

SMALL = Path(__file__).parents[1] / "data" / "small"
DEMO = Path(__file__).parents[2]
Way = tuple[float, frozenset[Item], bool]
"""A way that a visit can go: its chance, the items of the steps it passes, whether it ends cured."""


def ways_of_trees(tmp_path: Path, seed: int) -> list[tuple[Visit, list[Way]]]:
    """Return visits to random trees, each with all ways that it can go, of trees without too many."""
    found = []
    for tree, numbers in listed(tmp_path, seed):
        if tree.shares:
            ways = [
                (chance, frozenset(item for name in steps for item in items_of(tree.node(name).step)), cured)
                for chance, steps, cured in tree.visits()
            ]
            found.append((Visits(tree.graph, {tree.tree_id: numbers}).to(tree.tree_id), ways))
    return [one for one in found if len(one[1]) <= 40][:3]


@pytest.mark.parametrize("seed", range(12))
def test_a_day_is_that_of_all_days_listed(tmp_path: Path, seed: int) -> None:
    """Chances over a day, the mean cure of every set, and the smallest set agree with listing every day."""
    visits = ways_of_trees(tmp_path, seed)
    packing = packed([one for one, _ in visits])
    days = list(product(*(ways for _, ways in visits)))
    chances: dict[Item, float] = {}
    for day in days:
        weight = 1.0
        for chance, _, _ in day:
            weight *= chance
        for item in frozenset[Item]().union(*(items for _, items, _ in day)):
            chances[item] = chances.get(item, 0.0) + weight
    assert {one.item: one.chance for one in packing.items} == pytest.approx({i: c for i, c in chances.items() if c})

    def cured(carried: tuple[Item, ...]) -> float:
        at_hand = frozenset(carried)
        each = [sum(chance for chance, items, end in ways if end and items <= at_hand) for _, ways in visits]
        return sum(each) / len(each) if each else 0.0

    order = tuple(one.item for one in packing.items)
    best = cured(order)
    target = (ENOUGH if best >= ENOUGH else ENOUGH * best) - 1e-9
    enough = next(s for size in range(len(order) + 1) for s in combinations(order, size) if cured(s) >= target)
    assert packing.is_smallest
    assert len(packing.smallest) == len(enough)
    assert packing.cured_with_smallest == pytest.approx(cured(packing.smallest))
    assert packing.cured_with_smallest >= target
    assert [one.cured_with_first for one in packing.items] == pytest.approx(
        [cured(order[: at + 1]) for at in range(len(order))]
    )


def test_too_many_sets_make_cures_rarer_never_likelier(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where sets must be taken together, that is said, and no chance of a cure is told too high."""
    exact = [packed([one]) for seed in range(12) for one, _ in ways_of_trees(tmp_path / f"e{seed}", seed)]
    monkeypatch.setattr(visit, "_MOST_SETS", 2)
    rough = [packed([one]) for seed in range(12) for one, _ in ways_of_trees(tmp_path / f"r{seed}", seed)]
    assert any(one.at_least for one in rough)
    for one, other in zip(exact, rough, strict=True):
        assert [a.chance for a in one.items] == pytest.approx([b.chance for b in other.items])
        for a, b in zip(one.items, other.items, strict=True):
            assert b.cured_with_first <= a.cured_with_first + 1e-12
            assert other.at_least or b.cured_with_first == pytest.approx(a.cured_with_first, abs=1e-3)
        assert other.cured_with_all == pytest.approx(one.cured_with_all)


def test_what_no_figure_shows_is_not_said() -> None:
    """A walk with more sets than are told apart does not say "at least" for a millionth."""
    library = load(DEMO)
    graph = build_graph(library)
    yearly = Visits(graph, library_numbers(graph, library)).to("yearly-check")
    assert 0 < yearly.rare < 1e-4
    assert not packed([yearly]).at_least


def kb(*arguments: str) -> tuple[int, str]:
    """Run the command on the small library of the tests; return its exit code and what it printed."""
    outcome = CliRunner().invoke(main, ["numbers", "--library", str(SMALL), *arguments])
    return outcome.exit_code, outcome.stdout


def test_the_command_prints_a_day() -> None:
    """Two symptoms print one list, as words and as JSON, and an unknown one is told."""
    tree = "seat-stuck"
    code, told = kb(tree, tree)
    assert code == 0
    assert told.startswith("2 visits")
    figures = json.loads(kb(tree, tree, "--format", "json")[1])
    single = json.loads(kb(tree, "--format", "json")[1])
    twice = {one["item"]: 1 - (1 - one["chance"]) ** 2 for one in single["take_along"]}
    assert twice
    assert {one["item"]: one["chance"] for one in figures["take_along"]} == pytest.approx(twice)
    assert kb(tree, f"{tree}x")[0] == 2
