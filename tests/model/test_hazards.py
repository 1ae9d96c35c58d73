"""The analysis of isolation against published dominators and against plain reachability.

With one isolating step, "isolated on every path" is dominance: the step isolates on leaving, so it
protects just the steps that it strictly dominates.
"""

from __future__ import annotations

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kb_tools.model.graph import StepGraph, build_graph
from kb_tools.model.hazards import CONFIRMED, ISOLATED, PRESENT, Isolation, analyse
from making import answer, library, step, tree

LENGAUER_TARJAN = "R-A R-B R-C A-D B-A B-D B-E C-F C-G D-L E-H F-I G-I G-J H-E H-K I-K J-I K-I K-R L-H".split()
"""T. Lengauer, R. Tarjan, ACM TOPLAS 1(1):121-141, 1979, fig. 1; the root is R."""
LENGAUER_TARJAN_DOMINATORS = (
    dict.fromkeys("ABCDEHIK", "R")
    | dict.fromkeys("FG", "C")
    | {
        "J": "G",
        "L": "D",
    }
)
COOPER_HARVEY_KENNEDY = "1-2 2-1 2-3 3-2 4-2 4-3 5-1 6-4 6-5".split()
"""K. Cooper, T. Harvey, K. Kennedy, "A simple, fast dominance algorithm", fig. 4; the root is 6."""
COOPER_HARVEY_KENNEDY_DOMINATORS = dict.fromkeys("12345", "6")

PUBLISHED = pytest.mark.parametrize(
    ("edges", "root", "published"),
    [
        pytest.param(LENGAUER_TARJAN, "R", LENGAUER_TARJAN_DOMINATORS, id="lengauer-tarjan"),
        pytest.param(COOPER_HARVEY_KENNEDY, "6", COOPER_HARVEY_KENNEDY_DOMINATORS, id="cooper-harvey-kennedy"),
    ],
)


def analysed(edges: list[str], root: str, isolating: str) -> Isolation:
    """Analyse a flow graph, loops and all, in which one step isolates on leaving it."""
    ways: dict[str, list[str]] = {}
    for edge in edges:
        source, target = edge.split("-")
        ways.setdefault(source, []).append(target)
        ways.setdefault(target, [])
    steps = {}
    for name, targets in ways.items():
        effects = {"isolates": ["power"]} if name == isolating else {}
        answers = [answer(target, f"To {target}", **effects) for target in targets]
        steps[name] = step("check", answers=tuple(answers))
    made = library([tree("t", root, steps)], {"power": False})
    return analyse(build_graph(made), made)


def strict_dominators(immediate: dict[str, str], name: str) -> set[str]:
    """Follow immediate dominators up to the root."""
    found: set[str] = set()
    while name in immediate and immediate[name] != name:
        name = immediate[name]
        found.add(name)
    return found


@PUBLISHED
def test_published_dominators_protect(edges: list[str], root: str, published: dict[str, str]) -> None:
    """A step that isolates protects just the steps that it strictly dominates in the paper."""
    for isolating in [root, *published]:
        isolation = analysed(edges, root, isolating)
        for name in [root, *published]:
            guarded = isolation.surely_isolated(f"t/{name}", "power", confirmed=False)
            assert guarded == (isolating in strict_dominators(published, name)), (isolating, name)


@PUBLISHED
def test_published_dominators_are_those_of_networkx(edges: list[str], root: str, published: dict[str, str]) -> None:
    """The printed tables, typed off the papers, agree with networkx."""
    graph: nx.DiGraph[str] = nx.DiGraph()
    graph.add_edges_from((edge[0], edge[-1]) for edge in edges)
    computed = dict(nx.immediate_dominators(graph, root))
    computed.pop(root, None)  # versions differ in what they say of the root
    assert computed == published


def test_a_step_that_nothing_reaches_is_absent() -> None:
    """What no start reaches is neither guarded nor unguarded: it is not in the result."""
    isolation = analysed([*LENGAUER_TARJAN, "X-A"], "R", "R")
    assert "t/X" in isolation.graph.nodes
    assert "t/X" not in isolation.before
    assert isolation.path_to("t/X") == ()


@st.composite
def flow_graphs(draw: st.DrawFn) -> list[tuple[int, int, int]]:
    """Draw edges (from, to, effect) among up to six steps, loops and parallel ways included."""
    size = draw(st.integers(1, 6))
    name = st.integers(0, size - 1)
    return draw(st.lists(st.tuples(name, name, st.integers(0, 7)), max_size=14))


def effect_of(code: int, level: int) -> int:
    """Return the state after a way whose effects are the bits of `code`, told anew for the test."""
    isolates, confirms, restores = code & 1, code & 2, code & 4
    if restores:
        return PRESENT
    if isolates and level == PRESENT:
        level = ISOLATED
    if confirms and level == ISOLATED:
        level = CONFIRMED
    return level


def keys_of(code: int) -> dict[str, list[str]]:
    """Return the effects of a way as keys of an answer."""
    names = ("isolates", "confirms", "restores")
    return {name: ["power"] for bit, name in enumerate(names) if code >> bit & 1}


def graph_of(edges: list[tuple[int, int, int]]) -> tuple[StepGraph, Isolation]:
    """Build and analyse a tree with these ways; its start is s0."""
    steps = {}
    for name in {0} | {end for edge in edges for end in edge[:2]}:
        own = [edge for edge in edges if edge[0] == name]
        answers = [
            answer(f"s{target}", f"Answer {number}", **keys_of(code)) for number, (_, target, code) in enumerate(own)
        ]
        steps[f"s{name}"] = step("check", answers=tuple(answers))
    made = library([tree("t", "s0", steps)], {"power": True})
    graph = build_graph(made)
    return graph, analyse(graph, made)


@settings(max_examples=1000, deadline=None)
@given(flow_graphs())
def test_loops_are_worked_to_the_fixed_point(edges: list[tuple[int, int, int]]) -> None:
    """With loops too, the result is that of reachability over pairs of a step and its state."""
    _, isolation = graph_of(edges)
    product: nx.DiGraph[tuple[int, int]] = nx.DiGraph()
    product.add_node((0, PRESENT))
    for source, target, code in edges:
        for level in (PRESENT, ISOLATED, CONFIRMED):
            product.add_edge((source, level), (target, effect_of(code, level)))
    reached = nx.descendants(product, (0, PRESENT)) | {(0, PRESENT)}
    levels: dict[str, set[int]] = {}
    for name, level in reached:
        levels.setdefault(f"t/s{name}", set()).add(level)
    assert set(isolation.before) == set(levels)
    for key, possible in levels.items():
        assert isolation.surely_isolated(key, "power", confirmed=False) == (min(possible) >= ISOLATED)
        assert isolation.surely_isolated(key, "power", confirmed=True) == (min(possible) == CONFIRMED)
        assert isolation.maybe_isolated(key, "power") == (max(possible) >= ISOLATED)
        name = int(key.removeprefix("t/s"))
        distances = nx.single_source_shortest_path_length(product, (0, PRESENT))
        for found, wanted in (
            (isolation.path_exposed(key, "power", confirmed=False), {PRESENT}),
            (isolation.path_exposed(key, "power", confirmed=True), {PRESENT, ISOLATED}),
            (isolation.path_isolated(key, "power"), {ISOLATED, CONFIRMED}),
        ):
            lengths = [distances[name, level] for level in possible & wanted]
            assert len(found) == (min(lengths) + 1 if lengths else 0)


def test_an_effect_of_a_whole_step_holds_on_its_only_way() -> None:
    """A check with one answer may bear the effect itself; with several, it holds on none."""
    for others, guarded in ((0, True), (1, False)):
        answers = tuple(answer("end", f"Answer {number}") for number in range(1 + others))
        steps = {
            "ask": step("check", answers=answers, isolates=["power"]),
            "end": step("escalate"),
        }
        made = library([tree("t", "ask", steps)], {"power": False})
        isolation = analyse(build_graph(made), made)
        assert isolation.surely_isolated("t/end", "power", confirmed=False) == guarded


def test_what_cannot_be_done_has_no_effect() -> None:
    """The `cannot` way of a step isolates nothing."""
    steps = {
        "pull": step("do", isolates=["power"], then="after", cannot="stuck"),
        "after": step("escalate"),
        "stuck": step("escalate"),
    }
    made = library([tree("t", "pull", steps)], {"power": False})
    isolation = analyse(build_graph(made), made)
    assert isolation.surely_isolated("t/after", "power", confirmed=False)
    assert not isolation.maybe_isolated("t/stuck", "power")


def test_an_unknown_hazard_gets_the_benefit_of_the_doubt() -> None:
    """An id that names nothing may mean the hazard: nothing is reported that follows from it."""
    steps = {
        "pull": step("do", isolates=["pwoer"], confirms=["pwoer"], then="work"),
        "work": step("do", restores=["pwoer"], then="after"),
        "after": step("escalate"),
    }
    made = library([tree("t", "pull", steps)], {"power": True})
    isolation = analyse(build_graph(made), made)
    assert isolation.surely_isolated("t/work", "power", confirmed=True)
    assert isolation.path_exposed("t/work", "power", confirmed=True) == ()
    assert not isolation.maybe_isolated("t/work", "power")
    assert not isolation.maybe_isolated("t/after", "power")
