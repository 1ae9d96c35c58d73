"""The place of a branch: what may be isolated there, and which ways to the mended step go round it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import networkx as nx

from kb_tools.author.branch import ways_to
from kb_tools.model.graph import build_graph
from kb_tools.model.hazards import analyse

if TYPE_CHECKING:
    from kb_tools.author.branch import Branch
    from kb_tools.model.entities import Library


def isolated_there(library: Library, branch: Branch) -> list[str]:
    """Return the hazards that are, or may be, isolated where a branch begins, in the order they are declared.

    Args:
        library: The library as it stands.
        branch: Where it goes: tree, step, and `before` with its answer.

    """
    graph = build_graph(library)
    isolation = analyse(graph, library)
    state = isolation.before.get(f"{branch.tree}/{branch.step}")
    if state is None:
        return []
    maybe = state.maybe
    if branch.before:
        after = 0
        for way in ways_to(library, branch):
            effects = isolation.effects(way)
            after |= (maybe | effects.may_isolate) & ~effects.may_restore
        maybe = after
    return isolation.names(maybe)


def also_reached(after: Library, branch: Branch) -> list[str]:
    """Return the steps from which one comes to the step behind a new one without passing that.

    Args:
        after: The library with the branch.
        branch: The branch, a new step before another.

    Returns:
        The steps as the tree would write them, `step` or `tree/step`; none where the new step stands on every way.

    """
    if not (branch.before and branch.new):
        return []
    graph = build_graph(after)
    new, behind = f"{branch.tree}/{branch.new}", f"{branch.tree}/{branch.before}"
    rest = graph.digraph.copy()
    rest.remove_nodes_from([new])
    reached = {one for start in graph.starts if start in rest for one in (start, *nx.descendants(rest, start))}
    sources = [one for one in graph.nodes if one in reached and rest.has_edge(one, behind)]
    return [source.removeprefix(f"{branch.tree}/") for source in sources]
