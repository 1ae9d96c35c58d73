"""Every step is reached from the start of some tree.

A step that no answer, band, `then`, `cannot`, `not_cured` or link leads to is never shown to
anybody: most often it is what remains of a branch that was led elsewhere, or a way to it was
forgotten. The rule follows every way of the whole library from the start of each tree.

Of steps that only other unreached steps lead to, the finding says so: mend the first one, and they
are reached too.

Nothing is reported that may only follow from another mistake. An unreached step is passed over when
the tree has no start, when a step that could lead there could not be read, when a step before it
has no way on, or when a way leads to an id that is not there and the unreached step may be what was
meant.

To mend it, lead a way to the step, or delete it.
"""

from __future__ import annotations

from difflib import SequenceMatcher
from typing import TYPE_CHECKING

import networkx as nx

from kb_tools.findings import Finding, Severity
from kb_tools.model.records import nearest
from kb_tools.rules._broken import named_in_broken_files

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from kb_tools.model.graph import Node, StepGraph, Way
    from kb_tools.rules.contract import Subject

ID = "step-reachable"
SEVERITY = Severity.ERROR
SUMMARY = "Every step is reached from the start of some tree."

_SURELY_MEANT = 0.8
"""From this likeness on (difflib's ratio) a misspelt id is taken for the nearest known one."""
_MUST_GO_ON = ("check", "measure", "do")
"""Kinds of step whose lack of ways on is a finding of `path-ends`."""
_WAY_KEYS = ("answers", "bands", "then", "cannot", "not_cured", "link")


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each step that no start leads to."""
    graph = subject.graph
    reached = reachable(graph, graph.starts)
    if len(reached) == len(graph.nodes):
        return
    reached = _with_the_benefit_of_the_doubt(reached, subject)
    unreached = graph.digraph.subgraph(key for key in graph.nodes if key not in reached)
    for node in graph.nodes.values():
        if node.key in unreached:
            yield _finding(node, [key for key in unreached.predecessors(node.key) if key != node.key])


def reachable(graph: StepGraph, starts: Iterable[str]) -> set[str]:
    """Return the steps that some path leads to from `starts`, these included."""
    layers = nx.bfs_layers(graph.digraph, list(starts))
    return {key for layer in layers for key in layer}


def _finding(node: Node, before: list[str]) -> Finding:
    if before:
        message = f"Only steps that are not reached themselves lead to `{node.name}`, such as {before[0]}"
    else:
        message = f"Nothing leads to the step `{node.name}`"
    return Finding(node.name.place, ID, SEVERITY, message, "Lead a way to it, or delete it")


def _with_the_benefit_of_the_doubt(reached: set[str], subject: Subject) -> set[str]:
    """Return the steps that are reached, or that may be once other mistakes are mended."""
    graph, library = subject.graph, subject.library
    while True:
        starts = set(_of_trees_without_start(subject)) | set(_misspelt(reached, subject))
        if starts <= reached:
            break
        reached = reached | reachable(graph, starts)
    unreached = graph.digraph.subgraph(key for key in graph.nodes if key not in reached)
    wanting = _wanting(reached, subject)
    firsts: dict[str, list[str]] = {}
    for first in _firsts(unreached):
        if named_in_broken_files(first, library):
            reached = reached | reachable(graph, [first])
        else:
            firsts.setdefault(graph.nodes[first].tree.id, []).append(first)
    excused = [key for tree, keys in firsts.items() if len(keys) <= wanting.get(tree, 0) for key in keys]
    return reached | reachable(graph, excused)


def _firsts(unreached: nx.DiGraph[str]) -> Iterator[str]:
    """Yield one step of each knot that no other unreached step leads to."""
    condensed = nx.condensation(unreached)
    for knot, steps_before in condensed.in_degree():
        if not steps_before:
            yield min(condensed.nodes[knot]["members"])


def _of_trees_without_start(subject: Subject) -> Iterator[str]:
    """Yield the steps of trees whose first step is not known."""
    for node in subject.graph.nodes.values():
        if node.tree.start not in node.tree.steps:
            yield node.key


def _misspelt(reached: set[str], subject: Subject) -> Iterator[str]:
    """Yield the steps that ways with a slightly misspelt id were meant to lead to."""
    for way in _unresolved(reached, subject):
        meant = _meant(way, subject)
        if meant:
            yield meant


def _wanting(reached: set[str], subject: Subject) -> dict[str, float]:
    """Return for each tree how many of its steps may be what a way was meant to lead to."""
    graph, doubts = subject.graph, subject.library.doubts
    wanting: dict[str, float] = {}
    for way in _unresolved(reached, subject):
        if not _meant(way, subject):
            tree = way.named.partition("/")[0] if way.kind == "link" else _tree_of(way)
            wanting[tree] = wanting.get(tree, 0) + 1
    for key in reached:
        node = graph.nodes[key]
        unread = any(doubts.key(node.step.place, name) for name in _WAY_KEYS)
        lost = not node.ways and (node.step.in_doubt or node.step.kind in _MUST_GO_ON)
        if unread or lost or not node.step.kind:
            wanting[node.tree.id] = float("inf")
    return wanting


def _unresolved(reached: set[str], subject: Subject) -> Iterator[Way]:
    for key in reached:
        for way in subject.graph.nodes[key].ways:
            if way.target is None and way.named is not None:
                yield way


def _tree_of(way: Way) -> str:
    return way.source.partition("/")[0]


def _meant(way: Way, subject: Subject) -> str:
    """Return the step, as `tree/step`, that a misspelt id surely means, or an empty text."""
    library = subject.library
    tree_id, step = _tree_of(way), str(way.named)
    if way.kind == "link":
        written, _, step = way.named.partition("/")
        tree_id = written if written in library.trees else _surely(written, library.trees)
    if not tree_id or not step:
        return ""
    steps = library.trees[tree_id].steps
    found = step if step in steps else _surely(step, steps)
    return f"{tree_id}/{found}" if found else ""


def _surely(name: str, known: Iterable[str]) -> str:
    close = nearest(name, known)
    like = SequenceMatcher(None, name, close).ratio() if close else 0.0
    return close if like >= _SURELY_MEANT else ""
