"""The two walks side by side: the browser's own scripts run by node, and the twin in Python."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kb_tools.model.graph import build_graph
from kb_tools.model.hazards import analyse
from kb_tools.model.stand import choices
from kb_tools.numbers.odds import library_numbers
from kb_tools.pages.browser_data import index_of
from kb_tools.pages.scripts import ENGINE
from kb_tools.pages.tree_data import compile_tree

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kb_tools.model.compiled import CompiledStep, CompiledTree, CompiledWay
    from kb_tools.model.entities import Library

HERE = Path(__file__).parent
WALKER = HERE.parent.parent / "kb_tools" / "pages" / "walker"

Trees = dict[str, "CompiledTree"]


def compiled(library: Library) -> tuple[Trees, dict[str, Any]]:
    """Return the trees and the index of a library as the browser gets them, once through JSON."""
    graph = build_graph(library)
    isolation = analyse(graph, library)
    numbers = library_numbers(graph, library)
    trees = list(library.trees.values())
    data = [compile_tree(library, graph, isolation, tree, numbers[tree.id]) for tree in trees]
    index = index_of(library, trees, data)
    return {tree["id"]: tree for tree in json.loads(json.dumps(data))}, json.loads(json.dumps(index))


def browser(
    folder: Path, trees: Trees, index: dict[str, Any] | None, jobs: Sequence[Sequence[Any]], walker: Path = WALKER
) -> list[Any]:
    """Run jobs in the browser's engine, all in one process.

    Args:
        folder: Where the exchange files may lie.
        trees: Compiled trees by id; they load when a job asks for them.
        index: The index of the library, or None for a page that has none yet.
        jobs: Lists of operations; see driver.js.
        walker: The folder of the engine's scripts.

    Returns:
        For each job the result of each operation: what came out, or `{"error": code}`.

    """
    node = shutil.which("node")
    assert node, "node is not installed: the browser's walk cannot be held against its twin"
    folder.mkdir(parents=True, exist_ok=True)
    asked, answered = folder / "jobs.json", folder / "results.json"
    asked.write_text(json.dumps({"index": index, "trees": trees, "jobs": jobs, "scripts": ENGINE}), "utf-8")
    done = subprocess.run(
        [node, "--max-old-space-size=3000", str(HERE / "driver.js"), str(walker), str(asked), str(answered)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    results: list[Any] = json.loads(answered.read_text("utf-8"))
    return results


def said(step: CompiledStep) -> list[str]:
    """Return something to say for each choice of a step: of a band a reading in it, where one is plausible."""
    return [_reading(step, way) or way["label"] for way in choices(step)]


def _reading(step: CompiledStep, way: CompiledWay) -> str:
    """Return a reading in the middle of what is plausible of a band; an empty text where nothing is."""
    if step["kind"] != "measure":
        return ""
    least, most = step.get("plausible") or (way.get("below", 1000) - 1000, way.get("from", -1000) + 1000)
    low, high = max(least, way.get("from", least)), min(most, way.get("below", most))
    if low >= high:
        return ""
    unit = step.get("unit", "1")
    return f"{round((low + high) / 2, 6)}" + ("" if unit == "1" else f" {unit}")
