"""Random trees whose paths are all listed with networkx: what dynamic programming is held against."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import networkx as nx

from kb_tools.model.graph import UNINFORMED, StepGraph, build_graph
from kb_tools.numbers.odds import TreeNumbers, library_numbers
from random_trees import random_trees, read_library, seeded

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from kb_tools.model.entities import Library
    from kb_tools.model.graph import Node

TREES = 25
MOST_PATHS = 3000


@dataclass
class Listed:
    """A tree whose paths are all listed: design section 5 word by word, without dynamic programming."""

    graph: StepGraph
    library: Library
    tree_id: str
    paths: dict[str, list[list[tuple[str, int]]]] = field(default_factory=dict)
    """Cause -> its plain paths, each a list of (step, number of the way taken)."""
    shares: dict[str, float] = field(default_factory=dict)
    weights: dict[str, float] = field(default_factory=dict)
    """Cause -> weight of each of its paths."""
    plain: nx.MultiDiGraph[str] = field(default_factory=nx.MultiDiGraph)

    def __post_init__(self) -> None:
        """List the paths and share the causes out."""
        tree = self.library.trees[self.tree_id]
        self.start = str(tree.start)
        self.plain.add_nodes_from(map(str, tree.steps))
        for name in tree.steps:
            for at, way in enumerate(self.node(name).ways):
                if way.kind not in {*UNINFORMED, "link"}:
                    self.plain.add_edge(str(name), str(way.named), at)
        causes = {str(n): s for n, s in tree.steps.items() if s.kind in ("fix", "escalate", "done", "link")}
        self.paths = {name: found for name in causes if (found := self.between(self.start, name))}
        given = {name: float(step.share or 0) for name, step in causes.items()}
        if all(step.share is None for step in causes.values()) or not any(given[name] for name in self.paths):
            given = dict.fromkeys(causes, 1.0)
        total = sum(given[name] for name in self.paths)
        self.shares = {name: given[name] / total for name in self.paths if given[name]}
        self.weights = {name: share / len(self.paths[name]) for name, share in self.shares.items()}

    def node(self, name: str) -> Node:
        """Return a step of the graph."""
        return self.graph.nodes[f"{self.tree_id}/{name}"]

    def between(self, source: str, target: str) -> list[list[tuple[str, int]]]:
        """Return every plain path between two steps."""
        if source == target:
            return [[]]
        paths: Any = nx.all_simple_edge_paths(self.plain, source, target)
        return [[(name, at) for name, _, at in path] for path in paths]

    def mass(self, name: str) -> float:
        """Return the weight of all causes behind a step, along one path that has come there."""
        return sum(weight * len(self.between(name, cause)) for cause, weight in self.weights.items())

    def odds(self, name: str) -> list[float]:
        """Return the odds of the ways on from a check, measurement or action."""
        ways = self.node(name).ways
        behind = [0.0 if way.kind in UNINFORMED else self.mass(way.named) for way in ways]
        if sum(behind):
            return [weight / sum(behind) for weight in behind]
        told = [way.kind not in UNINFORMED for way in ways]
        return [float(one) / sum(told) for one in told] if any(told) else [1 / len(ways)] * len(ways)

    def visits(self) -> Iterator[tuple[float, list[str], bool]]:
        """Yield every possible visit: its chance, the steps passed, whether it ends cured."""
        return ((chance, steps, cured) for chance, steps, cured, _ in self.visits_with_cause())

    def visits_with_cause(self) -> Iterator[tuple[float, list[str], bool, int]]:
        """Yield every possible visit, as `visits` does, and at which of its steps the cause was met."""
        for cause, paths in self.paths.items():
            for path in paths if cause in self.weights else ():
                steps = [name for name, _ in path] + [cause]
                step = self.node(cause).step
                if step.kind != "fix":
                    yield self.weights[cause], steps, False, len(path)
                    continue
                cures = 1.0 if step.cures is None else float(step.cures)
                yield self.weights[cause] * cures, steps, True, len(path)
                for chance, rest in self.uncured(str(step.not_cured)):
                    yield self.weights[cause] * (1 - cures) * chance, steps + rest, False, len(path)

    def uncured(self, name: str) -> Iterator[tuple[float, list[str]]]:
        """Yield every way on for a fault that its own fix did not cure."""
        node = self.node(name)
        if node.step.kind in ("escalate", "done", "link"):
            yield 1.0, [name]
            return
        odds = [1.0] if node.step.kind == "fix" else self.odds(name)
        for way, part in zip(node.ways, odds, strict=True):
            for chance, rest in self.uncured(str(way.named)) if part else ():
                yield part * chance, [name, *rest]

    def minutes(self, name: str) -> float:
        """Return the minutes hands on of a step, its proof included."""
        step = self.node(name).step
        return step.minutes + (self.library.proofs[step.proof].minutes if step.proof else 0.0)

    def longest(self, name: str) -> float:
        """Return the minutes of the longest way from a step on, over all ways."""
        ways = [way for way in self.node(name).ways if way.kind != "link"]
        return self.minutes(name) + max((self.longest(str(way.named)) for way in ways), default=0.0)


def listed(tmp_path: Path, seed: int, *, most_steps: int = 9) -> list[tuple[Listed, TreeNumbers]]:
    """Return random trees without links, with their numbers; those of very many paths are passed over."""
    library = read_library(tmp_path, random_trees(seeded(seed), TREES, most_steps=most_steps, links=False))
    graph = build_graph(library)
    numbers = library_numbers(graph, library)
    found = [(Listed(graph, library, name), numbers[name]) for name in library.trees]
    return [pair for pair in found if sum(map(len, pair[0].paths.values())) <= MOST_PATHS]
