"""Decision trees that scikit-learn learns, written as trees of measurements, end where it predicts.

The data sets are the ones that scikit-learn carries: Fisher's iris (1936), the wine recognition data
(Forina et al., 1988) and the Wisconsin breast cancer data (Wolberg et al., 1995), all of the UCI
Machine Learning Repository.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pytest
from sklearn.datasets import load_breast_cancer, load_iris, load_wine
from sklearn.tree import DecisionTreeClassifier

from in_step.engines import compiled
from kb_tools.model.build import load
from kb_tools.model.graph import build_graph
from kb_tools.model.units import read_reading, unit_of
from kb_tools.model.walk import start
from kb_tools.rules import contract
from kb_tools.rules.example_files import TODAY
from making import listed

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from kb_tools.model.entities import Band, Library
    from kb_tools.model.graph import StepGraph

DATA = {"iris": load_iris, "wine": load_wine, "breast-cancer": load_breast_cancer}


class Learned(NamedTuple):
    """A tree as scikit-learn learned it, and the same as a library."""

    name: str
    model: DecisionTreeClassifier
    rows: NDArray[np.float32]
    library: Library
    root: Path


def edge_above(threshold: float) -> float:
    """Return the least number in single precision that is greater than `threshold`.

    scikit-learn goes left where a value in single precision is at most the threshold, a band ends
    below its edge: for values in single precision the two are the same at this edge.
    """
    single = np.float32(threshold)
    return float(single if float(single) > threshold else np.nextafter(single, np.float32(np.inf)))


def written(name: str, model: DecisionTreeClassifier, features: list[str]) -> str:
    """Return a learned tree as the YAML of a tree: measurements, and a `done` for each leaf."""
    inner = model.tree_
    lines = [f"title: Which kind of {name}", "reviewed: 2026-11-20", "start: n0", "steps:"]
    for node in range(inner.node_count):
        lines.append(f"  n{node}:")
        left, right = inner.children_left[node], inner.children_right[node]
        if left == right:
            lines.append(f"    done: It is kind {int(inner.value[node][0].argmax())}")
            continue
        edge = repr(edge_above(inner.threshold[node]))
        lines += [
            f"    measure: '{features[inner.feature[node]]}'",
            "    unit: 1",
            f"    source: learned from the data set {name}",
            "    bands:",
            f"      - {{below: {edge}, answer: Below, to: n{left}}}",
            f"      - {{from: {edge}, answer: From there on, to: n{right}}}",
        ]
    return "\n".join(lines) + "\n"


@pytest.fixture(scope="module", params=[(name, seed) for name in DATA for seed in range(2)], ids=str)
def learned(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Learned:
    """Return a tree learned from every other row, so that half of the rows are new to it."""
    name, seed = request.param
    data = DATA[name]()
    rows = data.data.astype(np.float32)
    model = DecisionTreeClassifier(random_state=seed).fit(rows[::2], data.target[::2])
    features = [str(feature) for feature in getattr(data, "feature_names")]  # noqa: B009 - a Bunch
    root = tmp_path_factory.mktemp("learned")
    area = root / "trees" / "learned"
    area.mkdir(parents=True)
    (area / f"{name}.yml").write_text(written(name, model, features), "utf-8")
    return Learned(name, model, rows, load(root), root)


def test_a_learned_tree_is_sound(learned: Learned) -> None:
    """Bands cover the line, every step is reached, every path ends: nothing to mend, no warning."""
    findings = contract.run(contract.subject_of(learned.library, TODAY))
    assert not findings, listed(findings)


def holds(band: Band, value: float) -> bool:
    """Tell whether a value lies in a band: from its start on, below its end."""
    low = -math.inf if band.start is None else band.start
    high = math.inf if band.below is None else band.below
    return low <= value < high


def leaf_of(graph: StepGraph, name: str, readings: dict[str, str]) -> str:
    """Return the text of the end that readings lead to, taking each band at its word."""
    key = f"{name}/n0"
    while graph.nodes[key].ways:
        node = graph.nodes[key]
        value = read_reading(readings[str(node.step.text)], unit_of(str(node.step.unit)))
        [band] = [band for band in node.step.bands or () if holds(band, value)]
        key = f"{name}/{band.to}"
    return str(graph.nodes[key].step.text)


def readings_of(learned: Learned, row: NDArray[np.float32]) -> dict[str, str]:
    """Return a row as what somebody would read off, feature by feature."""
    features = DATA[learned.name]().feature_names
    return {str(feature): repr(float(value)) for feature, value in zip(features, row, strict=True)}


def test_every_row_ends_where_scikit_learn_predicts(learned: Learned) -> None:
    """Rows that were learned from and rows that were not end at the predicted kind."""
    graph = build_graph(learned.library)
    predicted = learned.model.predict(learned.rows)
    for row, kind in zip(learned.rows, predicted, strict=True):
        assert leaf_of(graph, learned.name, readings_of(learned, row)) == f"It is kind {kind}"


def test_values_on_either_side_of_each_split_go_the_right_way(learned: Learned) -> None:
    """The last value that goes left and the first that goes right, in single precision, part there."""
    graph = build_graph(learned.library)
    inner = learned.model.tree_
    rows = []
    for node in range(inner.node_count):
        if inner.children_left[node] != inner.children_right[node]:
            edge = np.float32(edge_above(inner.threshold[node]))
            for value in (np.nextafter(edge, np.float32(-np.inf)), edge):
                for row in learned.rows[::25]:
                    near = row.copy()
                    near[inner.feature[node]] = value
                    rows.append(near)
    predicted = learned.model.predict(np.array(rows))
    for row, kind in zip(rows, predicted, strict=True):
        assert leaf_of(graph, learned.name, readings_of(learned, row)) == f"It is kind {kind}"


def test_the_walk_of_the_compiled_tree_ends_there_too(learned: Learned) -> None:
    """What the browser gets, walked reading by reading, ends at the predicted kind."""
    trees, _ = compiled(learned.library)
    rows = learned.rows[::3]
    for row, kind in zip(rows, learned.model.predict(rows), strict=True):
        readings = readings_of(learned, row)
        walk = start(trees, learned.name)
        state = walk.state()
        while state["ended"] is None:
            step = trees[learned.name]["steps"][state["step"]]
            walk.answer(state["step"], readings[step["text"]])
            state = walk.state()
        assert trees[learned.name]["steps"][state["step"]]["text"] == f"It is kind {kind}"
