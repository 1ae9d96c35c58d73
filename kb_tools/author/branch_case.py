"""The case that shows a new branch: a run that comes to it, or a known run that goes over it from now on."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import networkx as nx
from yaml.nodes import MappingNode, ScalarNode

from kb_tools.author.cases import NewCase, values_of
from kb_tools.author.splice import child, items_of
from kb_tools.author.yaml_text import flow
from kb_tools.findings import Place, UsageError
from kb_tools.model.build import load
from kb_tools.model.cases import replay
from kb_tools.model.entities import Case
from kb_tools.model.graph import build_graph
from kb_tools.model.values import Word, folded

if TYPE_CHECKING:
    from collections.abc import Mapping

    from kb_tools.author.branch import Branch
    from kb_tools.author.change import Change
    from kb_tools.author.splice import Sheet
    from kb_tools.model.cases import Replay
    from kb_tools.model.entities import Library, Tree
    from kb_tools.model.graph import StepGraph, Way

_SAID = ("answer", "unsure", "band", "cannot", "not_cured")
"""Kinds of way that a case must name; the others are taken by themselves."""


def add_case(change: Change, library: Library, branch: Branch, name: str, said: Mapping[str, str]) -> NewCase:
    """Put a case over a new branch into the tree; a case of that name is led over it.

    Args:
        change: Holds the branch already, and takes the case.
        library: The library as it stands.
        branch: The branch.
        name: What the case is called.
        said: Step -> what is answered there, beside what follows from the way to the branch.

    Returns:
        The case.

    Raises:
        UsageError: when the run does not come to the branch, or an answer is missing.

    """
    tree = library.trees[branch.tree]
    graph = build_graph(library)
    known = next((case for case in tree.cases if folded(case.case) == folded(name)), None)
    given = _given_before(library, graph, tree, branch, known)
    ways = _ways_there(graph, branch)
    run = replay(library, graph, tree, known) if known else None
    if not any(stride.way in ways for stride in (run.strides if run else ())):
        given |= _answer_there(ways, branch)
    given |= {step.removeprefix(f"{tree.id}/"): value for step, value in said.items()}
    after = load(change.root, texts=change.texts)
    run = _run(after, after.trees[tree.id], given, name)
    if run.end is None:
        trouble = run.troubles[-1]
        raise UsageError(f"{trouble.message}. {trouble.remedy}, here with --given STEP ANSWER")
    passed = {step.removeprefix(f"{tree.id}/") for step in run.path}
    given = {step: value for step, value in given.items() if step in passed}
    end = str(known.ends_at) if known else run.end.removeprefix(f"{tree.id}/")
    case = NewCase(tree.id, name, end, given)
    sheet = change.sheet(tree.file)
    if known:
        _lead_over(sheet, known, given)
    else:
        sheet.add_to_list("cases", values_of(case))
    change.take(sheet)
    return case


def lead_cases_on(change: Change, library: Library, branch: Branch, but: str = "") -> list[str]:
    """Let the known cases of a tree pass a new check that was put on their way, by the answer that leads on.

    Args:
        change: Holds the branch already, and takes the cases.
        library: The library as it stands.
        branch: The branch; only a check before another step asks something new of known cases.
        but: A case that is led elsewhere.

    Returns:
        The names of the cases that were changed; none where no one answer leads on.

    """
    if not branch.before or "check" not in branch.keys:
        return []
    after = build_graph(load(change.root, texts=change.texts))
    ways = after.nodes[f"{branch.tree}/{branch.new}"].ways
    onward = [way.label for way in ways if way.named == branch.before and way.kind == "answer"]
    if len(onward) != 1:
        return []
    tree, graph = library.trees[branch.tree], build_graph(library)
    here, there = f"{tree.id}/{branch.step}", f"{tree.id}/{branch.before}"
    sheet = change.sheet(tree.file)
    led = []
    for case in tree.cases:
        path = replay(library, graph, tree, case).path
        if folded(case.case) != folded(but) and (here, there) in pairwise(path):
            given = {str(name): str(value) for name, value in (case.given or {}).items()}
            _lead_over(sheet, case, given | {branch.new: str(onward[0])})
            led.append(str(case.case))
    change.take(sheet)
    return led


def _given_before(library: Library, graph: StepGraph, tree: Tree, branch: Branch, known: Case | None) -> dict[str, str]:
    """Return what a run answers before it comes to the step: that of a case which does, else of the shortest way."""
    key = f"{tree.id}/{branch.step}"
    cases = [known] if known else list(tree.cases)
    runs = [(case, replay(library, graph, tree, case)) for case in cases]
    runs = [(case, run) for case, run in runs if key in run.path]
    if known and not runs:
        raise UsageError(f"The case `{known.case}` does not pass {branch.step}; give another --case, or another step")
    if runs:
        case, run = min(runs, key=lambda one: one[1].path.index(key))
        before = {*run.path[: run.path.index(key)]}
        kept = {str(name): str(value) for name, value in (case.given or {}).items()}
        if case is known:
            return kept
        return {name: value for name, value in kept.items() if (name if "/" in name else f"{tree.id}/{name}") in before}
    try:
        path = nx.shortest_path(graph.digraph, f"{tree.id}/{tree.start}", key)
    except nx.NetworkXException as error:
        raise UsageError(f"No way leads from the start of {tree.id} to {branch.step}") from error
    ways = [graph.ways_between(*pair)[0] for pair in pairwise(path)]
    return {way.source.removeprefix(f"{tree.id}/"): _said(way) for way in ways if way.kind in _SAID}


def _ways_there(graph: StepGraph, branch: Branch) -> list[Way]:
    """Return the ways of the step on which a new step was put; none where it has a new answer."""
    ways = graph.nodes[f"{branch.tree}/{branch.step}"].ways if branch.before else []
    ways = [way for way in ways if way.named == branch.before]
    return [way for way in ways if not branch.answer or folded(way.label) == folded(branch.answer)]


def _answer_there(ways: list[Way], branch: Branch) -> dict[str, str]:
    """Return what the run answers at the step where the branch begins."""
    if not branch.before:
        return {branch.step: branch.answer}
    return {branch.step: _said(ways[0])} if ways and ways[0].kind in _SAID else {}


def _said(way: Way) -> str:
    return str(way.label)


def _run(library: Library, tree: Tree, given: Mapping[str, str], name: str) -> Replay:
    """Replay a case that is not written yet."""
    here = tree.place
    case = Case(here, _word(name, here), {_word(key, here): _word(text, here) for key, text in given.items()})
    case.ends_at = _word("", here)
    return replay(library, build_graph(library), tree, case)


def _word(text: str, place: Place) -> Word:
    word = Word(text)
    word.file, word.line, word.column = place
    return word


def _lead_over(sheet: Sheet, case: Case, given: Mapping[str, str]) -> None:
    """Change what a case of the file answers."""
    names = [(child(one, "case"), child(one, "given")) for one in items_of(child(sheet.root, "cases"))]
    node = next((node for name, node in names if isinstance(name, ScalarNode) and name.value == case.case), None)
    if not isinstance(node, MappingNode):
        raise UsageError(f"{case.place}: the case is written in a way that cannot be changed here; change it by hand")
    if node.flow_style or not node.value:
        sheet.set_flow(node, flow(dict(given)))
        return
    there = {key.value for key, _ in node.value}
    for at, (key, value) in reversed(list(enumerate(node.value))):
        if key.value not in given:
            sheet.remove_pair(node, at)
        elif isinstance(value, ScalarNode) and value.value != given[key.value]:
            sheet.set_scalar(value, given[key.value], inside_flow=False)
    for step, said in given.items():
        if step not in there:
            sheet.add_pair(node, step, said)
