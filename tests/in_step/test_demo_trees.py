"""Every path of every demo tree leads to the same place in the browser's walk and in Python's.

Trees of very many paths are walked with paths joined: where two paths have come to the same step
with the same causes, isolation and advice, what follows is the same and is walked once. Codes of
every path of a tree are held against each other where trees are random (`test_random_walks`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from conftest import ROOT
from in_step.engines import browser, compiled, said
from in_step.recorder import MOST_PATHS, Recorder, paths_of
from kb_tools.model.build import load

if TYPE_CHECKING:
    from pathlib import Path

TREES, INDEX = compiled(load(ROOT))


def compare(folder: Path, recorders: list[Recorder]) -> None:
    """Let the browser's engine do the same, and compare."""
    results = browser(folder, TREES, INDEX, [recorder.operations for recorder in recorders])
    for recorder, found in zip(recorders, results, strict=True):
        for operation, wanted, result in zip(recorder.operations, recorder.expected, found, strict=True):
            assert result == wanted, operation


@pytest.mark.timeout(300)
@pytest.mark.parametrize("tree", TREES)
def test_every_path_ends_alike(tmp_path: Path, tree: str) -> None:
    """Every path of a demo tree: same step, odds, minutes, isolation, advice and code; codes lead back to it."""
    recorder = Recorder(TREES, tree, set() if paths_of(TREES[tree]) > MOST_PATHS else None)
    recorder.every_path()
    ends = sum(step["kind"] in ("fix", "escalate", "done") for step in TREES[tree]["steps"].values())
    assert recorder.paths >= ends
    compare(tmp_path, [recorder])


def links() -> dict[str, list[tuple[str, str]]]:
    """Return the links, as (tree, step), that lead into each demo tree."""
    found: dict[str, list[tuple[str, str]]] = {}
    for name, tree in TREES.items():
        for step_id, step in tree["steps"].items():
            if step["kind"] == "link":
                found.setdefault(step["link"]["tree"], []).append((name, step_id))
    return found


def way_to(tree: str, goal: str) -> list[tuple[str, str]]:
    """Return the shortest row of answers, as (step, value), from a tree's start to one of its steps."""
    steps = TREES[tree]["steps"]
    ways: dict[str, list[tuple[str, str]]] = {TREES[tree]["start"]: []}
    for name in (queue := [TREES[tree]["start"]]):
        if steps[name]["kind"] in ("link", "escalate", "done"):
            continue
        values = said(steps[name])[-len(steps[name]["ways"]) :]
        for value, way in zip(values, steps[name]["ways"], strict=True):
            if way["to"] not in ways:
                ways[way["to"]] = [*ways[name], (name, value)]
                queue.append(way["to"])
    return ways[goal]


@pytest.mark.timeout(300)
@pytest.mark.parametrize("sources", links().values(), ids=list(links()))
def test_every_path_across_the_links_ends_alike(tmp_path: Path, sources: list[tuple[str, str]]) -> None:
    """Over each link into a tree, every path of that tree; those over several links are joined too."""
    recorders = []
    joined: set[str] = set()
    for tree, link in sources:
        recorder = Recorder(TREES, tree, joined)
        for step, value in way_to(tree, link):
            recorder.answer(step, value)
        recorder.answer(link, "go")
        recorder.every_path()
        recorders.append(recorder)
    compare(tmp_path, recorders)
