"""No path leads back to a step that it has passed.

A troubleshooting tree may join branches again, but it must not lead in a circle: a technician would
repeat a check that cannot come out differently, odds and minutes would have no meaning, and nobody
could prove that the walk comes to an end. The rule looks at single steps over the whole library:
links from tree to tree and the `not_cured` ways of fixes are ways like any other. Two trees may
link to each other, as long as no path leads back to a step.

For each knot of steps that lead to one another the finding prints one shortest loop, and where each
of its arrows is written. It stands at the arrow that closes the loop: the one that leads back to
the step that is written first.

On an equipment map, no flow leads from a part to itself.

To mend it, lead one of the arrows elsewhere, most often the last one. Where a check must be made
again after something was done, write it as a step of its own with its own answers.
"""

from __future__ import annotations

from collections import deque
from itertools import pairwise
from typing import TYPE_CHECKING

import networkx as nx

from kb_tools.findings import Finding, Severity

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.model.entities import Library
    from kb_tools.model.graph import StepGraph
    from kb_tools.rules.contract import Subject

ID = "no-loop"
SEVERITY = Severity.ERROR
SUMMARY = "No path leads back to a step that it has passed."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each knot of steps that lead to one another."""
    yield from _flows(subject.library)
    graph = subject.graph
    if graph.order is not None:
        return
    written = {key: number for number, key in enumerate(graph.nodes)}
    for knot in nx.strongly_connected_components(graph.digraph):
        if len(knot) > 1 or graph.digraph.has_edge(*(2 * tuple(knot))):
            yield _finding(graph, shortest_loop(graph.digraph.subgraph(knot), written))


def _flows(library: Library) -> Iterator[Finding]:
    """Yield a finding for each flow of a map that leads from a part to itself; data may go round over others."""
    for shown in library.maps.values():
        for flow in shown.flows:
            if flow.start == flow.to and flow.to in shown.parts:
                message = f"This flow leads from `{flow.to}` to itself"
                remedy = "Name the part that it leads to, or delete the flow"
                yield Finding(flow.to.place, ID, SEVERITY, message, remedy)


def shortest_loop(knot: nx.DiGraph[str], written: dict[str, int]) -> list[str]:
    """Return a shortest loop of a strongly connected graph, its first step repeated at the end.

    Every loop holds an edge that leads back to a step still open in a depth-first search, so a
    search in breadth from the targets of those edges finds a shortest one.

    Args:
        knot: Steps that all lead to one another.
        written: The order of the steps; it decides between loops of one length, and which step of
            the loop comes first.

    """
    best: list[str] = []
    for target in sorted(_targets_of_back_edges(knot, written), key=written.__getitem__):
        best = _loop_through(target, knot, len(best)) or best
    first = min(range(len(best)), key=lambda index: written[best[index]])
    return [*best[first:], *best[:first], best[first]]


def _targets_of_back_edges(knot: nx.DiGraph[str], written: dict[str, int]) -> set[str]:
    root = min(knot, key=written.__getitem__)
    found: set[str] = set()
    still_open: set[str] = set()
    for _, target, label in nx.dfs_labeled_edges(knot, root):
        if label == "forward":
            still_open.add(target)
        elif label == "reverse":
            still_open.discard(target)
        elif target in still_open:
            found.add(target)
    return found


def _loop_through(step: str, knot: nx.DiGraph[str], shorter_than: int) -> list[str]:
    """Return the steps of a shortest loop through `step`, or nothing when it is no shorter.

    Args:
        step: The step.
        knot: Steps that all lead to one another.
        shorter_than: How many steps a known loop has; 0 when none is known.

    """
    before: dict[str, str] = {}
    reached = deque([(step, 1)])
    while reached:
        here, length = reached.popleft()
        if shorter_than and length >= shorter_than:
            return []
        for following in knot.successors(here):
            if following == step:
                path = [here]
                while path[-1] != step:
                    path.append(before[path[-1]])
                return path[::-1]
            if following not in before:
                before[following] = here
                reached.append((following, length + 1))
    return []


def _finding(graph: StepGraph, loop: list[str]) -> Finding:
    """Word the finding for a loop whose first step is repeated at its end."""
    arrows = [graph.ways_between(source, target)[0] for source, target in pairwise(loop)]
    notes = tuple((way.place, f"`{way.label}` leads from {way.source} to {way.target}") for way in arrows)
    count = len(loop) - 1
    around = "to itself" if count == 1 else f"back to where it began, over {count} steps"
    return Finding(
        arrows[-1].place,
        ID,
        SEVERITY,
        f"From `{loop[0]}` a path leads {around}",
        "Lead one of these ways to another step, for instance to an `escalate` step",
        tuple(loop),
        notes,
    )
