"""The library as one directed graph: steps, and the ways from one to the next.

Links and `not_cured` ways are edges like any other; only ids that resolve become edges, so that
a misspelt id is one finding and not ten.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import networkx as nx

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.findings import Place
    from kb_tools.model.doubts import Doubts
    from kb_tools.model.entities import Answer, Band, Library, Step, Tree
    from kb_tools.model.values import Word

UNINFORMED = frozenset({"unsure", "cannot"})
"""Kinds of way that tell nothing about the cause: shares do not flow over them."""
_OWN_GROUP = frozenset({"answer", "unsure", "band"})
"""Kinds of way that have a group of keys of their own in YAML."""
_QUESTIONS = ("check", "measure")
_EFFECTS = ("isolates", "confirms", "restores")


@dataclass(slots=True)
class Way:
    """One way on from a step."""

    source: str
    """The step it leaves, as `tree/step`."""
    kind: str
    """`answer`, `unsure`, `band`, `then`, `cannot`, `not_cured` or `link`."""
    label: str
    """What the person says or sees: the answer's text, `done`, `cannot`, `not cured`, `go`."""
    named: Word
    """The id of the target as written, with its place."""
    target: str | None = None
    """The step it leads to, as `tree/step`; None when the id does not resolve."""
    isolates: tuple[Word, ...] = ()
    confirms: tuple[Word, ...] = ()
    restores: tuple[Word, ...] = ()
    stop_use: Word | None = None
    origin: Answer | Band | None = None
    """The answer or band it was made from."""
    in_doubt: bool = False
    """Whether it leaves a step whose shared body cannot be found: what it does is not known."""

    @property
    def place(self) -> Place:
        """Where the way is written: the id that it leads to."""
        return self.named.place


@dataclass(slots=True)
class Node:
    """A step in the graph."""

    key: str
    """`tree/step`."""
    tree: Tree
    name: Word
    step: Step
    ways: list[Way] = field(default_factory=list)


@dataclass(slots=True)
class StepGraph:
    """All steps of a library and the ways between them."""

    nodes: dict[str, Node]
    digraph: nx.DiGraph[str]
    """The same as a networkx graph: nodes `tree/step`, one edge for each pair that a way joins."""
    starts: list[str]
    """The first step of each tree that has one."""
    order: list[str] | None
    """The steps in topological order, or None when there is a loop."""

    def ways_between(self, source: str, target: str) -> list[Way]:
        """Return the ways from one step to the next."""
        return [way for way in self.nodes[source].ways if way.target == target]

    def ways(self) -> Iterator[Way]:
        """Yield every way."""
        for node in self.nodes.values():
            yield from node.ways


def build_graph(library: Library) -> StepGraph:
    """Return the graph of the whole library, in time linear in its steps and ways."""
    nodes: dict[str, Node] = {}
    for tree in library.trees.values():
        for name, step in tree.steps.items():
            key = f"{tree.id}/{name}"
            nodes[key] = Node(key, tree, name, step)
    digraph: nx.DiGraph[str] = nx.DiGraph()
    digraph.add_nodes_from(nodes)
    edges: list[tuple[str, str]] = []
    for node in nodes.values():
        node.ways = ways_of(node, library)
        edges += [(node.key, way.target) for way in node.ways if way.target]
    digraph.add_edges_from(edges)
    starts = [f"{tree.id}/{tree.start}" for tree in library.trees.values() if tree.start in tree.steps]
    try:
        order = list(nx.topological_sort(digraph))
    except nx.NetworkXUnfeasible:
        order = None
    return StepGraph(nodes, digraph, starts, order)


def ways_of(node: Node, library: Library) -> list[Way]:
    """Return the ways on from a step in the order written; unresolved targets are None."""
    step, steps = node.step, node.tree.steps
    make = _MAKERS.get(step.kind)
    ways = make(node.key, step) if make else []
    if len(ways) == 1 and step.kind in _QUESTIONS:
        _add_effects(ways[0], step)
    for way in ways:
        if way.kind == "link":
            way.target = link_target(way.named, library)
        elif way.named in steps:
            way.target = f"{node.tree.id}/{way.named}"
        way.in_doubt = step.in_doubt
    if library.doubts.keys:
        _doubt_effects(ways, step, library.doubts)
    return ways


def _answers(key: str, step: Step) -> list[Way]:
    return [
        _way(key, "unsure" if answer.unsure else "answer", answer.answer, answer.to, answer)
        for answer in step.answers or ()
    ]


def _bands(key: str, step: Step) -> list[Way]:
    return [_way(key, "band", band.answer, band.to, band) for band in step.bands or ()]


def _do(key: str, step: Step) -> list[Way]:
    ways = [_way(key, "then", "done", step.then, step)] if step.then else []
    if step.cannot:
        ways.append(Way(key, "cannot", "cannot", step.cannot))
    return ways


def _fix(key: str, step: Step) -> list[Way]:
    return [_way(key, "not_cured", "not cured", step.not_cured, step)] if step.not_cured else []


def _link(key: str, step: Step) -> list[Way]:
    return [_way(key, "link", "go", step.link, step)] if step.link else []


_MAKERS = {"check": _answers, "measure": _bands, "do": _do, "fix": _fix, "link": _link}


def _doubt_effects(ways: list[Way], step: Step, doubts: Doubts) -> None:
    """Mark ways whose effects stand under a key that could not be read."""
    whole = any(doubts.key(step.place, key) for key in _EFFECTS)
    for way in ways:
        if way.kind == "cannot":
            continue
        if whole or (way.origin and any(doubts.key(way.origin.place, key) for key in _EFFECTS)):
            way.in_doubt = True


def _add_effects(way: Way, step: Step) -> None:
    """Let the effects of a whole step hold on the only way on from it."""
    way.isolates += step.isolates
    way.confirms += step.confirms
    way.restores += step.restores


def _way(key: str, kind: str, label: str, named: Word, owner: Answer | Band | Step) -> Way:
    """Return a way with the effects that stand on its answer or band, or on its step."""
    effects = owner.isolates, owner.confirms, owner.restores
    if kind in _OWN_GROUP:
        origin: Any = owner
        return Way(key, kind, label, named, None, *effects, origin.stop_use, origin)
    return Way(key, kind, label, named, None, *effects)


def link_target(named: str, library: Library) -> str | None:
    """Return the step, as `tree/step`, that a link `tree` or `tree/step` leads to, or None."""
    tree_id, _, step = named.partition("/")
    tree = library.trees.get(tree_id)
    if tree is None:
        return None
    wanted = step or tree.start
    return f"{tree_id}/{wanted}" if wanted in tree.steps else None
