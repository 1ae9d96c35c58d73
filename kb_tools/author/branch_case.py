"""The case that shows a new branch: a run that comes to it, or a known run that goes over it from now on."""

from __future__ import annotations

import re
import shlex
from dataclasses import dataclass
from difflib import get_close_matches
from itertools import pairwise
from typing import TYPE_CHECKING

import networkx as nx

from kb_tools.author.cases import NewCase, answer_anew, values_of
from kb_tools.findings import Place, UsageError
from kb_tools.model.build import load
from kb_tools.model.cases import end_of, replay
from kb_tools.model.entities import Case
from kb_tools.model.graph import build_graph
from kb_tools.model.records import nearest
from kb_tools.model.values import Word, folded

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from kb_tools.author.branch import Branch
    from kb_tools.author.change import Change
    from kb_tools.model.cases import Replay
    from kb_tools.model.entities import Library, Tree
    from kb_tools.model.graph import StepGraph, Way

_SAID = ("answer", "unsure", "band", "cannot", "not_cured")
"""Kinds of way that a case must name; the others are taken by themselves."""
_ALIKE = 0.8
"""How much of two names must be the same for one to be taken for the other's misspelling."""
_SAME_WORDS = 2
"""So many words of a name at least, when it is the other one's but for words that were left out."""


class UnansweredError(UsageError):
    """The run of a case comes to a step of which nobody said what it answers there."""

    def __init__(self, name: str, step: str, asks: tuple[str, ...]) -> None:
        """Note the case, the step and what could be answered there."""
        super().__init__(
            f"The case `{name}` comes to {step}, and nobody said what it answers there: add "
            f"--given {step} ANSWER, with {' or '.join(asks)}. Nothing was changed"
        )
        self.step, self.asks = step, asks


class OtherCaseWaitsError(UsageError):
    """A case that waits for its end seems to be the one that is meant, under another name."""

    def __init__(self, name: str, waiting: Case, why: str) -> None:
        """Note the case that waits."""
        super().__init__(
            f"There is no case `{name}`, but `{waiting.case}` waits: {why}. Lead that one over the branch with "
            f"--case {shlex.quote(str(waiting.case))}, or add {shlex.quote(name)} beside it with --new-case. "
            "Nothing was changed"
        )
        self.waiting, self.why = waiting, why


@dataclass(frozen=True, slots=True)
class Shown:
    """A case that shows a branch."""

    case: NewCase
    before: str
    """What it was before: empty for a new one, `waited` for one that failed, `known` for one that held."""
    run_end: str
    """Where its run ends with the branch, as the tree would write it."""


def waiting_cases(library: Library, tree: Tree) -> list[Case]:
    """Return the cases of a tree that `kb check` fails on: they do not come to the end that they name."""
    graph = build_graph(library)
    return [case for case in tree.cases if any(not one.follows for one in replay(library, graph, tree, case).troubles)]


def waits_alike(name: str, waiting: Iterable[Case]) -> Case | None:
    """Return a case that waits and whose name is another one's but for a few letters or words."""
    words, known = _words(name), {" ".join(_words(case.case)): case for case in waiting}
    for text, case in known.items():
        fewer, more = sorted((set(words), set(text.split())), key=len)
        if len(fewer) >= _SAME_WORDS and fewer <= more:
            return case
    close = get_close_matches(" ".join(words), known, n=1, cutoff=_ALIKE)
    return known[close[0]] if close else None


def _words(text: str) -> list[str]:
    return re.findall(r"\w+", text.casefold())


def judge_case(library: Library, branch: Branch, name: str) -> None:
    """Refuse a known case that does not come to the step of a branch.

    Raises:
        UsageError: when it does not.

    """
    tree = library.trees[branch.tree]
    known = next((case for case in tree.cases if folded(case.case) == folded(name)), None)
    if known:
        _given_before(library, build_graph(library), tree, branch, known)


def add_case(
    change: Change, library: Library, branch: Branch, name: str, said: Mapping[str, str], *, anew: bool = False
) -> Shown:
    """Put a case over a new branch into the tree; a case of that name is led over it.

    Args:
        change: Holds the branch already, and takes the case.
        library: The library as it stands.
        branch: The branch.
        name: What the case is called.
        said: Step -> what is answered there, beside what follows from the way to the branch.
        anew: Whether the case may be a new one although one waits that looks like it.

    Returns:
        The case.

    Raises:
        UnansweredError: when the run comes to a step that it has no answer for.
        OtherCaseWaitsError: when another case that waits seems to be meant.
        UsageError: when the run does not come to the branch, or to no end.

    """
    tree = library.trees[branch.tree]
    graph = build_graph(library)
    known = next((case for case in tree.cases if folded(case.case) == folded(name)), None)
    waiting = waiting_cases(library, tree)
    if not known and not anew:
        alike = waits_alike(name, waiting)
        if alike:
            raise OtherCaseWaitsError(name, alike, "its name is nearly the same")
    given = _given_before(library, graph, tree, branch, known)
    ways = _ways_there(graph, branch)
    run = replay(library, graph, tree, known) if known else None
    if not any(stride.way in ways for stride in (run.strides if run else ())):
        given |= _answer_there(ways, branch)
    said = {step.removeprefix(f"{tree.id}/"): value for step, value in said.items()}
    given |= said
    after = load(change.root, texts=change.texts)
    _judge_said(after, tree.id, said)
    run, end = _ended(after, tree.id, given, name)
    passed = [step.removeprefix(f"{tree.id}/") for step in run.path]
    idle = next((step for step in said if step not in passed), None)
    if idle:
        told = f"--given {idle}: the case `{name}` does not pass that step; it passes {', '.join(passed)}"
        raise UsageError(f"{told}. Nothing was changed")
    given = {step: value for step, value in given.items() if step in passed}
    if not known and not anew:
        same = next((case for case in waiting if end_of(tree, case) == run.end), None)
        if same:
            raise OtherCaseWaitsError(name, same, f"it ends at {same.ends_at} too")
    case = NewCase(tree.id, str(known.case) if known else name, str(known.ends_at) if known else end, given)
    sheet = change.sheet(tree.file)
    if known:
        answer_anew(sheet, known, given)
    else:
        sheet.add_to_list("cases", values_of(case))
    change.take(sheet)
    return Shown(case, "" if not known else "waited" if known in waiting else "known", end)


def _ended(after: Library, tree_id: str, given: Mapping[str, str], name: str) -> tuple[Replay, str]:
    """Return the run of a case with the branch, and its end as the tree would write it."""
    run = _run(after, after.trees[tree_id], given, name)
    if run.end is None:
        trouble = run.troubles[-1]
        if trouble.asks:
            raise UnansweredError(name, run.path[-1].removeprefix(f"{tree_id}/"), trouble.asks)
        raise UsageError(
            f"The case `{name}`: {trouble.message}. {trouble.remedy}; what it answers at a step can be said with "
            "--given STEP ANSWER. Nothing was changed"
        )
    return run, run.end.removeprefix(f"{tree_id}/")


def _judge_said(after: Library, tree_id: str, said: Iterable[str]) -> None:
    """Refuse an answer at a step that there is not."""
    for step in said:
        home, _, short = step.rpartition("/")
        steps = after.trees[home or tree_id].steps if (home or tree_id) in after.trees else {}
        if short not in steps:
            close = nearest(short, steps)
            hint = f" Did you mean {close}?" if close else ""
            raise UsageError(f"--given {step}: there is no such step.{hint} Nothing was changed")


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
            answer_anew(sheet, case, given | {branch.new: str(onward[0])})
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
