"""Loops and unreached steps of random libraries, against brute force and against graphlib."""

from __future__ import annotations

import graphlib
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from hypothesis import given, settings
from hypothesis import strategies as st

from kb_tools.rules import no_loop, step_reachable
from kb_tools.rules.contract import subject_of
from kb_tools.rules.example_files import TODAY
from making import answer, library, step, tree, word

if TYPE_CHECKING:
    from kb_tools.findings import Finding
    from kb_tools.model.entities import Library, Step

Ways = dict[str, set[str]]
"""Step, as `tree/step` -> the steps that ways from it lead to."""


class Drawn(NamedTuple):
    """A random library, and the same as plain Python."""

    library: Library
    ways: Ways
    starts: list[str]


@st.composite
def libraries(draw: st.DrawFn) -> Drawn:
    """Draw one to three trees of checks, fixes, links and ends, loops and unreached steps included."""
    sizes = draw(st.lists(st.integers(1, 5), min_size=1, max_size=3))
    keys = [f"t{at}/s{number}" for at, size in enumerate(sizes) for number in range(size)]
    ways: Ways = {}
    trees = []
    for at, size in enumerate(sizes):
        steps: dict[str, Step] = {}
        for number in range(size):
            key = f"t{at}/s{number}"
            kind = draw(st.sampled_from(["check", "check", "check", "fix", "link", "done"]))
            near = st.integers(0, size - 1)
            if kind == "check":
                targets = draw(st.lists(near, min_size=1, max_size=3))
                made = step("check", answers=tuple(answer(f"s{to}", f"A{i}") for i, to in enumerate(targets)))
                ways[key] = {f"t{at}/s{to}" for to in targets}
            elif kind == "fix":
                to = draw(near)
                made = step("fix", not_cured=f"s{to}")
                ways[key] = {f"t{at}/s{to}"}
            elif kind == "link":
                goal = draw(st.sampled_from(keys))
                named = draw(st.sampled_from([goal, goal.partition("/")[0]]))
                made = step("link", link=named)
                made.text = word(named)
                ways[key] = {named if "/" in named else f"{named}/s0"}
            else:
                made, ways[key] = step("done"), set()
            steps[f"s{number}"] = made
        trees.append(tree(f"t{at}", "s0", steps))
    return Drawn(library(trees), ways, [f"t{at}/s0" for at in range(len(sizes))])


def closure(ways: Ways) -> Ways:
    """Return for each step the steps that lie on some path from it, by S. Warshall's method (1962)."""
    beyond = {key: set(targets) for key, targets in ways.items()}
    for between, further in beyond.items():
        for targets in beyond.values():
            if between in targets:
                targets.update(further)
    return beyond


def knot_of(key: str, beyond: Ways) -> frozenset[str]:
    """Return the steps that are on loops with `key`."""
    return frozenset(other for other in beyond[key] if key in beyond[other])


def simple_loops(ways: Ways) -> list[tuple[str, ...]]:
    """Return every loop without repeated steps, each from its least step, by trying every path."""
    loops: list[tuple[str, ...]] = []
    paths: list[tuple[str, ...]] = [(key,) for key in ways]
    while paths:
        path = paths.pop()
        for target in ways[path[-1]]:
            if target == path[0]:
                loops.append(path)
            elif target > path[0] and target not in path:
                paths.append((*path, target))
    return loops


def found_by(rule: object, drawn: Drawn) -> list[Finding]:
    """Return what a rule's module finds."""
    subject = subject_of(drawn.library, TODAY)
    return list(rule.check(subject))  # type: ignore[attr-defined]


@settings(max_examples=800, deadline=None)
@given(libraries())
def test_each_knot_of_steps_is_one_shortest_loop(drawn: Drawn) -> None:
    """One finding for each set of steps on common loops; its path is a loop of it, and none is shorter."""
    beyond = closure(drawn.ways)
    shortest: dict[frozenset[str], int] = {}
    for loop in simple_loops(drawn.ways):
        knot = knot_of(loop[0], beyond)
        assert set(loop) <= knot
        shortest[knot] = min(len(loop), shortest.get(knot, len(loop)))
    found = found_by(no_loop, drawn)
    assert len(found) == len(shortest)
    for finding in found:
        path = finding.path
        assert path[0] == path[-1]
        assert len(set(path)) == len(path) - 1
        assert all(target in drawn.ways[source] for source, target in pairwise(path))
        [knot] = [knot for knot in shortest if path[0] in knot]
        assert len(path) - 1 == shortest[knot]
        assert len(finding.notes) == len(path) - 1
        assert path[0] == min(path, key=list(drawn.ways).index), "begins where it is written first"


@settings(max_examples=1000, deadline=None)
@given(libraries())
def test_there_is_a_loop_just_when_graphlib_finds_a_cycle(drawn: Drawn) -> None:
    """The standard library's graphlib and the rule agree, and graphlib's cycle is within a knot."""
    found = found_by(no_loop, drawn)
    try:
        graphlib.TopologicalSorter(drawn.ways).prepare()
        cycle: list[str] = []
    except graphlib.CycleError as error:
        cycle = error.args[1]
    if cycle:
        beyond = closure(drawn.ways)
        assert any(set(cycle) <= knot_of(finding.path[0], beyond) for finding in found)
    else:
        assert not found


@settings(max_examples=800, deadline=None)
@given(libraries())
def test_unreached_steps_are_those_on_no_path_from_a_start(drawn: Drawn) -> None:
    """A step is reported just when it lies on no path from any tree's start; loops do not hide it."""
    beyond = closure(drawn.ways)
    reached = set(drawn.starts).union(*(beyond[start] for start in drawn.starts))
    found = found_by(step_reachable, drawn)
    unreached = [key for key in drawn.ways if key not in reached]
    assert len(found) == len(unreached)
    for finding, key in zip(found, unreached, strict=True):
        before = [other for other, targets in drawn.ways.items() if key in targets and other != key]
        assert f"`{key.partition('/')[2]}`" in finding.message
        assert ("Only steps that are not reached" in finding.message) == bool(before)
