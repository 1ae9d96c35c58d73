"""What to take along and where time goes, against listing every visit, and by hand."""

from __future__ import annotations

from itertools import combinations, pairwise
from typing import TYPE_CHECKING, Any

import pytest

from kb_tools.model.graph import build_graph
from kb_tools.numbers.odds import tree_numbers_with_links
from kb_tools.numbers.time_lost import best_swap, time_spent
from kb_tools.numbers.tree_figures import tree_figures
from kb_tools.numbers.visit import ENOUGH, Item, items_of, take_along
from listed_paths import listed
from random_trees import random_trees, read_library, seeded

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from kb_tools.numbers.odds import TreeNumbers
    from kb_tools.numbers.time_lost import Swap


@pytest.mark.parametrize("seed", range(20))
def test_items_are_those_of_all_visits_listed(tmp_path: Path, seed: int) -> None:
    """Chances of items, cures with the first of them and the smallest set agree with listing every visit and set."""
    for tree, numbers in listed(tmp_path, seed):
        if not tree.shares:
            continue
        packing = take_along(tree.graph, {tree.tree_id: numbers}, [tree.tree_id])
        visits = [
            (chance, {item for name in steps for item in items_of(tree.node(name).step)}, cured)
            for chance, steps, cured in tree.visits()
        ]

        def cured_with(carried: Iterable[Item], visits: list[tuple[float, set[Item], bool]] = visits) -> float:
            return sum(chance for chance, items, cured in visits if cured and items <= set(carried))

        needed = {item: sum(c for c, items, _ in visits if item in items) for _, found, _ in visits for item in found}
        assert {one.item: one.chance for one in packing.items} == pytest.approx({i: c for i, c in needed.items() if c})
        order = [one.item for one in packing.items]
        chances = [one.chance for one in packing.items]
        assert chances == sorted(chances, reverse=True)
        assert packing.cured_without == pytest.approx(cured_with([]))
        for at, one in enumerate(packing.items, 1):
            assert one.cured_with_first == pytest.approx(cured_with(order[:at]))
        assert packing.cured_with_all == pytest.approx(numbers.ahead.cured)
        target = (
            min(ENOUGH, packing.cured_with_all) if packing.cured_with_all >= ENOUGH else ENOUGH * packing.cured_with_all
        )
        sizes = [
            size for size in range(len(order) + 1) for s in combinations(order, size) if cured_with(s) >= target - 1e-9
        ]
        assert packing.is_smallest
        assert len(packing.smallest) == sizes[0]
        assert packing.cured_with_smallest == pytest.approx(cured_with(packing.smallest))


@pytest.mark.parametrize("seed", range(5))
def test_over_links_too_everything_cures_what_the_numbers_say(tmp_path: Path, seed: int) -> None:
    """With all items at hand the chance of a cure is that of the odds, over links into the middle of trees too."""
    library = read_library(tmp_path, random_trees(seeded(seed), 60))
    graph = build_graph(library)
    for name in library.trees:
        numbers = tree_numbers_with_links(graph, library, name)
        packing = take_along(graph, numbers, [name])
        assert packing.cured_with_all == pytest.approx(numbers[name].ahead.cured, abs=1e-12)
        rising = [packing.cured_without, *(one.cured_with_first for one in packing.items)]
        assert all(later >= earlier - 1e-12 for earlier, later in pairwise(rising))


def small(tmp_path: Path) -> tuple[Any, dict[str, TreeNumbers]]:
    """Return two trees counted by hand: one with a fuse and a lamp, one with a lead."""
    first: dict[str, Any] = {
        "title": "First",
        "reviewed": "2026-10-14",
        "start": "read",
        "steps": {
            "read": {
                "measure": "Voltage",
                "unit": "V",
                "source": "made up",
                "tools": ["meter"],
                "takes": "3 min",
                "bands": [{"below": 18, "answer": "Low", "to": "fuse"}, {"from": 18, "answer": "High", "to": "lamp"}],
            },
            "fuse": {"fix": "Fuse", "share": 50, "spares": ["fuse"], "takes": "4 min", "proof": "drives"}
            | {"cures": 0.8, "not_cured": "lamp"},
            "lamp": {"fix": "Lamp", "share": 30, "spares": ["lamp"], "tools": ["key"], "takes": "8 min"}
            | {"not_cured": "desk"},
            "desk": {"escalate": "Desk", "share": 20},
        },
    }
    second: dict[str, Any] = {
        "title": "Second",
        "reviewed": "2026-10-14",
        "start": "lead",
        "steps": {
            "lead": {"fix": "Lead", "share": 1, "spares": ["lead"], "not_cured": "end"},
            "end": {"escalate": "Desk"},
        },
    }
    library = read_library(tmp_path, {"t0": first, "t1": second})
    graph = build_graph(library)
    return graph, {name: tree_numbers_with_links(graph, library, name)[name] for name in ("t0", "t1")}


def test_a_list_by_hand(tmp_path: Path) -> None:
    """The list of a small tree, and of a day with two visits, is what one counts by hand.

    Two plain paths lead to the lamp and two to the desk (over the wrong fuse, or past it): half of
    30 and 20 comes over the fuse, and of the fuse's 50 a fifth goes on uncured.
    """
    graph, numbers = small(tmp_path)
    packing = take_along(graph, numbers, ["t0"])
    fuse, lamp = Item("fuse", is_tool=False), Item("lamp", is_tool=False)
    key, meter = Item("key", is_tool=True), Item("meter", is_tool=True)
    assert [one.item for one in packing.items] == [meter, fuse, lamp, key]
    assert [one.chance for one in packing.items] == pytest.approx([1, 0.75, 0.6, 0.6])
    assert [one.cured_with_first for one in packing.items] == pytest.approx([0, 0.4, 0.4, 0.7])
    # Without the fuse only those who come past it are cured: 0.15 of 0.7.
    assert packing.smallest == (meter, fuse, lamp, key)
    day = take_along(graph, numbers, ["t0", "t1", "t1"])
    chances = {one.item.id: one.chance for one in day.items}
    assert chances == pytest.approx({"meter": 1, "lead": 1, "fuse": 0.75, "lamp": 0.6, "key": 0.6})
    assert day.cured_with_all == pytest.approx((0.7 + 1 + 1) / 3)
    assert take_along(graph, numbers, []).items == ()


def test_figures_in_the_shape_of_the_contract(tmp_path: Path) -> None:
    """`kb numbers --format json` gives the figures of a tree counted by hand."""
    small(tmp_path)
    library = read_library(tmp_path, {})
    figures = tree_figures(build_graph(library), library, "t0")
    fuse, lamp = 0.5 + 0.25, 0.3 + 0.2 + 0.1
    assert figures == {
        "tree": "t0",
        "expected_minutes": pytest.approx(3 + fuse * 10 + lamp * 8),
        "worst_minutes": 3 + 10 + 8,
        "expected_checks": pytest.approx(1),
        "escalation_chance": pytest.approx(0.3),
        "steps": {
            "read": {
                "reach": pytest.approx(1),
                "answers": {"Low": pytest.approx(0.75), "High": pytest.approx(0.25)},
                "minutes_left": pytest.approx(3 + fuse * 10 + lamp * 8),
            },
            "fuse": {
                "reach": pytest.approx(fuse),
                "answers": {"cured": pytest.approx(0.4 / 0.75), "not cured": pytest.approx(0.35 / 0.75)},
                "minutes_left": pytest.approx(10 + 0.35 / 0.75 * 8),
            },
            "lamp": {
                "reach": pytest.approx(lamp),
                "answers": {"cured": pytest.approx(0.5), "not cured": pytest.approx(0.5)},
                "minutes_left": pytest.approx(8),
            },
            "desk": {"reach": pytest.approx(0.3), "answers": {}, "minutes_left": 0},
        },
        "causes": {"fuse": pytest.approx(0.5), "lamp": pytest.approx(0.3), "desk": pytest.approx(0.2)},
        "take_along": [
            {"item": "meter", "chance": pytest.approx(1), "cured_with_first": 0},
            {"item": "fuse", "chance": pytest.approx(0.75), "cured_with_first": pytest.approx(0.4)},
            {"item": "lamp", "chance": pytest.approx(0.6), "cured_with_first": pytest.approx(0.4)},
            {"item": "key", "chance": pytest.approx(0.6), "cured_with_first": pytest.approx(0.7)},
        ],
    }
    assert list(figures["causes"]) == ["fuse", "lamp", "desk"]


def series(first: str, second: str, minutes: dict[str, int]) -> dict[str, Any]:
    """Return a tree of two screening checks in a row: each finds its own fault, or goes on."""
    steps: dict[str, Any] = {
        name: {
            "check": f"Is {name} at fault?",
            "takes": f"{minutes[name]} min",
            "answers": [{"answer": "Yes", "to": f"mend-{name}"}, {"answer": "No", "to": onward}],
        }
        for name, onward in ((first, second), (second, "desk"))
    }
    for name, share in (("a", 10), ("b", 40)):
        steps[f"mend-{name}"] = {"fix": "Mend it", "share": share, "takes": "1 min", "not_cured": "stop"}
    steps["desk"] = {"escalate": "Desk", "share": 50}
    steps["stop"] = {"escalate": "Stop", "share": 0}
    return {"title": "Series", "reviewed": "2026-10-14", "start": first, "steps": steps}


def swap_of(folder: Path, tree: dict[str, Any]) -> tuple[Swap | None, float]:
    """Return the best swap in a tree, and its expected minutes."""
    library = read_library(folder, {"t0": tree})
    graph = build_graph(library)
    numbers = tree_numbers_with_links(graph, library, "t0")["t0"]
    return best_swap(graph, library, numbers), numbers.ahead.minutes


def test_the_swap_saves_what_it_says(tmp_path: Path) -> None:
    """Of two screening checks the slow and seldom one goes second; the tree written so saves what was said."""
    minutes = {"a": 10, "b": 2}
    swap, before = swap_of(tmp_path / "before", series("a", "b", minutes))
    again, after = swap_of(tmp_path / "after", series("b", "a", minutes))
    assert swap is not None
    assert (swap.first, swap.second, swap.over) == ("a", "b", "No")
    assert swap.saves == pytest.approx(before - after)
    # 10 minutes are saved for the 40 of b, 2 are lost for the 10 of a.
    assert swap.saves == pytest.approx(10 * 0.4 - 2 * 0.1)
    assert again is None


@pytest.mark.parametrize(
    ("step", "change"),
    [
        ("a", {"cautions": ["look"]}),
        ("b", {"exposes": ["power"]}),
        ("a", {"works_live": ["power"]}),
        ("b", {"needs": ["power"]}),
        ("a", {"who": "anyone"}),
    ],
)
def test_no_swap_where_safety_is_touched(tmp_path: Path, step: str, change: dict[str, Any]) -> None:
    """Checks that touch a hazard, show a caution or may be done by other people stay where they are."""
    tree = series("a", "b", {"a": 10, "b": 2})
    tree["steps"][step] |= change
    assert swap_of(tmp_path, tree)[0] is None


def test_no_swap_of_a_check_that_stops_the_use_of_the_chair(tmp_path: Path) -> None:
    """A check whose answer isolates, or says that the chair is not to be used, is not put off."""
    for change in ({"stop_use": "Stop"}, {"isolates": ["power"]}):
        tree = series("a", "b", {"a": 10, "b": 2})
        tree["steps"]["a"]["answers"][0] |= change
        assert swap_of(tmp_path / next(iter(change)), tree)[0] is None


def test_time_goes_where_reach_and_minutes_meet(tmp_path: Path) -> None:
    """Steps are ranked by their expected minutes, which add up to those of the tree."""
    for seed in range(10):
        for tree, numbers in listed(tmp_path / str(seed), seed):
            spent = time_spent(tree.graph, tree.library, numbers)
            assert [one.minutes for one in spent] == sorted((one.minutes for one in spent), reverse=True)
            if tree.shares:
                assert sum(one.minutes for one in spent) == pytest.approx(numbers.ahead.minutes)
