"""What to take along to a day's visits is the same in the browser and in Python."""

from __future__ import annotations

import json
import shutil
import subprocess
from typing import TYPE_CHECKING, Any

import pytest

from conftest import ROOT
from in_step.engines import HERE, WALKER
from kb_tools.model.build import load
from kb_tools.model.graph import build_graph
from kb_tools.numbers.odds import library_numbers
from kb_tools.numbers.visit import Visits
from kb_tools.pages.visits_page import visits_script
from random_trees import random_trees, read_library, seeded

if TYPE_CHECKING:
    from pathlib import Path

    from kb_tools.model.entities import Library


def in_browser(folder: Path, script: str, days: list[list[str]]) -> list[dict[str, Any]]:
    """Let the browser's script make the lists of some days."""
    node = shutil.which("node")
    assert node, "node is not installed: the browser's list cannot be held against its twin"
    asked, answered = folder / "days.json", folder / "lists.json"
    asked.write_text(json.dumps({"script": script, "days": days}), "utf-8")
    subprocess.run([node, str(HERE / "take.js"), str(WALKER), str(asked), str(answered)], check=True)
    lists: list[dict[str, Any]] = json.loads(answered.read_text("utf-8"))
    return lists


def compare(folder: Path, library: Library, days: list[list[str]]) -> None:
    """Hold the lists of the browser against those of Python."""
    graph = build_graph(library)
    visits = Visits(graph, library_numbers(graph, library))
    script = visits_script(library, list(library.trees.values()), visits)
    for day, found in zip(days, in_browser(folder, script, days), strict=True):
        packing = visits.packing(day)
        assert [one["item"] for one in found["items"]] == [one.item.id for one in packing.items], day
        assert [one["chance"] for one in found["items"]] == pytest.approx([one.chance for one in packing.items])
        packed = [one["item"] for one in found["items"] if one["packed"]]
        assert packed == [item.id for item in packing.smallest], day
        assert found["cured"] == pytest.approx(packing.cured_with_smallest)
        assert found["all"] == pytest.approx(packing.cured_with_all)
        assert (found["reaches"], found["proven"], found["least"]) == (
            packing.is_enough,
            packing.is_smallest,
            packing.at_least,
        )


def test_days_of_the_demo_trees(tmp_path: Path) -> None:
    """Each symptom alone, one twice, and days of two to six visits picked at random."""
    library = load(ROOT)
    trees = sorted(library.trees)
    source = seeded(1)
    days = [[tree] for tree in trees] + [[trees[0]] * 2]
    days += [source.choices(trees, k=source.randint(2, 6)) for _ in range(12)]
    compare(tmp_path, library, days)


@pytest.mark.parametrize("seed", range(8))
def test_days_of_random_trees(tmp_path: Path, seed: int) -> None:
    """Random libraries, linked and odd, whose visits can need anything."""
    source = seeded(seed)
    library = read_library(tmp_path, random_trees(source, 40))
    trees = sorted(library.trees)
    compare(tmp_path, library, [[tree] for tree in trees] + [source.choices(trees, k=3) for _ in range(5)])
