"""The graph of steps against the standard library's graphlib, and what becomes an edge."""

from __future__ import annotations

import graphlib
from typing import TYPE_CHECKING

from hypothesis import given, settings
from hypothesis import strategies as st

from kb_tools.model.graph import build_graph
from making import answer, library, step, tree

if TYPE_CHECKING:
    from kb_tools.model.graph import StepGraph

Edges = set[tuple[int, int]]


def graph_of(size: int, edges: Edges) -> StepGraph:
    """Return the graph of a tree of checks with these ways."""
    steps = {
        f"s{number}": step(
            "check",
            answers=tuple(answer(f"s{to}", f"To {to}") for start, to in sorted(edges) if start == number),
        )
        for number in range(size)
    }
    return build_graph(library([tree("t", "s0", steps)]))


@st.composite
def digraphs(draw: st.DrawFn) -> tuple[int, Edges]:
    """Draw a number of steps and ways among them, loops included."""
    size = draw(st.integers(1, 8))
    name = st.integers(0, size - 1)
    return size, draw(st.sets(st.tuples(name, name), max_size=14))


@settings(max_examples=500, deadline=None)
@given(digraphs())
def test_the_order_is_that_of_graphlib(drawn: tuple[int, Edges]) -> None:
    """There is an order just when graphlib finds no cycle, and it keeps every way."""
    size, edges = drawn
    sorter: graphlib.TopologicalSorter[int] = graphlib.TopologicalSorter(
        {number: {start for start, to in edges if to == number} for number in range(size)}
    )
    try:
        sorter.prepare()
        has_order = True
    except graphlib.CycleError:
        has_order = False
    graph = graph_of(size, edges)
    assert (graph.order is not None) == has_order
    if graph.order is not None:
        rank = {key: number for number, key in enumerate(graph.order)}
        assert sorted(rank) == sorted(f"t/s{number}" for number in range(size))
        assert all(rank[f"t/s{start}"] < rank[f"t/s{to}"] for start, to in edges)


def test_only_ids_that_resolve_become_edges() -> None:
    """A misspelt id keeps its way, without a target and without an edge."""
    graph = build_graph(
        library(
            [
                tree(
                    "a",
                    "ask",
                    {
                        "ask": step("check", answers=(answer("edn"), answer("end", "No"))),
                        "end": step("escalate"),
                        "on": step("link", link="b/nowhere"),
                    },
                ),
                tree("b", "only", {"only": step("link", link="a")}),
            ]
        )
    )
    assert [way.target for way in graph.nodes["a/ask"].ways] == [None, "a/end"]
    assert graph.nodes["a/on"].ways[0].target is None
    assert set(graph.digraph.edges) == {("a/ask", "a/end"), ("b/only", "a/ask")}
    assert graph.starts == ["a/ask", "b/only"]


def test_a_fix_and_a_link_lead_on_like_any_step() -> None:
    """`not_cured` and links are ways, with the effects of their step."""
    graph = build_graph(
        library(
            [
                tree(
                    "a", "mend", {"mend": step("fix", not_cured="go", restores=["power"]), "go": step("link", link="b")}
                ),
                tree("b", "end", {"end": step("escalate")}),
            ],
            {"power": False},
        )
    )
    (way,) = graph.nodes["a/mend"].ways
    assert (way.kind, way.label, way.target, way.restores) == ("not_cured", "not cured", "a/go", ("power",))
    assert graph.ways_between("a/go", "b/end")[0].kind == "link"
    assert graph.order == ["a/mend", "a/go", "b/end"]
