"""Replay a case: follow what it says through the trees, and tell where it goes astray.

A case gives an answer for each check and measurement that it passes. A `do` counts as done, a fix
as the end and a link as followed, unless the case says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, NamedTuple

import networkx as nx

from kb_tools.model.entities import ENDS, Band
from kb_tools.model.records import nearest
from kb_tools.model.units import PLAIN, UnitProblem, read_reading, unit_of
from kb_tools.model.values import folded

if TYPE_CHECKING:
    from kb_tools.findings import Place
    from kb_tools.model.entities import Case, Library, Tree
    from kb_tools.model.graph import Node, StepGraph, Way
    from kb_tools.model.values import Word

_USUAL = {"do": "done", "fix": "cured", "done": "cured", "link": "go", "escalate": ""}
"""What happens at a step that the case says nothing of; checks and measurements must be given."""
_REQUIRED = {"do": "done", "fix": "not cured", "link": "go"}
"""The way that a step of a kind must have: where it is missing, another rule says so."""


class _Option(NamedTuple):
    """What can be said at a step, and the way that it leads; None where the run ends there."""

    label: str
    way: Way | None


@dataclass(frozen=True, slots=True)
class Stride:
    """One step that a case passes."""

    step: str
    """`tree/step`."""
    value: str
    """What was answered there: as given, or what usually happens; empty at an escalation."""
    way: Way | None
    """The way taken; None at the end."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something that keeps a case from being a run with a known end."""

    place: Place
    message: str
    remedy: str
    path: tuple[str, ...] = ()
    follows: bool = False
    """Whether it only follows from what another rule reports: a step that is missing, a loop."""
    notes: tuple[tuple[Place, str], ...] = ()
    """Further places that explain it, each with a word on it."""
    asks: tuple[str, ...] = ()
    """What the step that the run came to last could be answered with, where the case says nothing of it."""


@dataclass(slots=True)
class Replay:
    """How a case went."""

    strides: list[Stride] = field(default_factory=list)
    end: str | None = None
    """The end it came to, as `tree/step`; None when it came to none."""
    troubles: list[Trouble] = field(default_factory=list)

    @property
    def path(self) -> tuple[str, ...]:
        """The steps passed, each as `tree/step`."""
        return tuple(stride.step for stride in self.strides)


def end_of(tree: Tree, case: Case) -> str:
    """Return the end that a case of `tree` names, as `tree/step`; whether it exists is not said."""
    return _full(tree, case.ends_at or "")


def replay(library: Library, graph: StepGraph, tree: Tree, case: Case) -> Replay:
    """Follow a case from the start of its tree.

    Args:
        library: The library; of what could not be read of it nothing is said.
        graph: The library's graph.
        tree: The tree in which the case stands; its steps may be given without the tree's id.
        case: The case.

    """
    return _Replayer(library, graph, tree, case).run()


def last_turn(graph: StepGraph, replay: Replay, wanted: str) -> Stride | None:
    """Return the last stride of a run from which another end was still in reach; None where it never was.

    Args:
        graph: The library's graph.
        replay: The run.
        wanted: The end, as `tree/step`.

    """
    if wanted not in graph.digraph:
        return None
    before = {*nx.ancestors(graph.digraph, wanted), wanted}
    return next((stride for stride in reversed(replay.strides) if stride.step in before), None)


def _full(tree: Tree, name: str) -> str:
    return name if "/" in name else f"{tree.id}/{name}"


class _Stopped(Exception):  # noqa: N818 - no error: the run has its trouble and goes no further
    """The run cannot go on."""


class _Replayer:
    """Follows one case."""

    def __init__(self, library: Library, graph: StepGraph, tree: Tree, case: Case) -> None:
        self.graph, self.tree, self.case, self.doubts = graph, tree, case, library.doubts
        self.unread_trees = {PurePosixPath(name).stem for name in library.broken}
        self.unread_trees |= {other.id for other in library.trees.values() if not other.steps}
        given = case.given or {}
        self.given = {_full(tree, name): (name, value) for name, value in given.items()}
        self.unknown = False
        self.in_doubt = False
        """Whether the run passed a step of which something that decides the way could not be read."""
        self.result = Replay()

    def run(self) -> Replay:
        """Follow the case and compare where it ends."""
        result, case, wanted = self.result, self.case, end_of(self.tree, self.case)
        for key, (name, _) in self.given.items():
            self.unknown |= self._is_unknown(key, name)
        if case.ends_at:
            self.unknown |= self._is_unknown(wanted, case.ends_at)
        try:
            result.end = self._follow(f"{self.tree.id}/{self.tree.start}")
        except _Stopped:
            return result
        if self.unknown or self.in_doubt or not case.ends_at:
            return result
        if result.end != wanted:
            told, notes = self._astray(wanted)
            self._trouble(
                case.ends_at.place,
                f"The case `{case.case}` ends at `{self._short(result.end)}`, not at `{case.ends_at}`; {told}",
                "Mend the tree if it sends this fault the wrong way, else mend the case",
                notes=notes,
            )
        else:
            self._report_idle()
        return result

    def _astray(self, wanted: str) -> tuple[str, tuple[tuple[Place, str], ...]]:
        """Return in words at which step the run leaves the last way to the end that it should come to, and where."""
        turn = last_turn(self.graph, self.result, wanted)
        if turn is None:
            return "no way leads there from where it begins", ()
        short = self._short(turn.step)
        if turn.way is None:
            return f"it counts as ended at `{short}`, before the way on to it", ()
        message = f"it goes astray at `{short}` with `{turn.value}`"
        return message, ((turn.way.place, f"from here on `{self._short(wanted)}` is out of reach"),)

    def _is_unknown(self, key: str, named: Word) -> bool:
        """Tell whether there is no step `key`, and say so at the word that names it."""
        if key in self.graph.nodes:
            return False
        tree_id = key.partition("/")[0]
        steps = [self._short(node) for node in self.graph.nodes if node.startswith(f"{tree_id}/")]
        close = nearest(named, steps)
        self._trouble(
            named.place,
            f"The case `{self.case.case}` names the step `{named}`, which there is not",
            _remedy(close, is_end=named is self.case.ends_at),
            follows=self.doubts.item("trees", tree_id) or tree_id in self.unread_trees or named in self.doubts.ids,
        )
        return True

    def _report_idle(self) -> None:
        """Report answers to steps that the run never passed."""
        passed = set(self.result.path)
        for key, (name, _) in self.given.items():
            if key not in passed:
                self._trouble(
                    name.place,
                    f"The case `{self.case.case}` answers `{name}`, which its run never passes",
                    "Delete the answer, or mend the case so that it passes the step",
                )

    def _follow(self, key: str) -> str:
        """Go from step to step; return the end."""
        passed: set[str] = set()
        while key not in passed:
            if key not in self.graph.nodes:
                raise self._lost()
            passed.add(key)
            place = self.graph.nodes[key].step.place
            self.in_doubt |= any(self.doubts.key(place, name) for name in ("answers", "bands", "unit"))
            way = self._way_from(self.graph.nodes[key])
            if way is None:
                return key
            key = way.target or ""
        message = f"The run comes to `{self._short(key)}` a second time, in a circle"
        raise self._stopped(self.case.place, message, "Let one of the ways lead elsewhere", follows=True)

    def _lost(self) -> _Stopped:
        """Note that the way leads to a step that there is not."""
        last = self.result.strides[-1] if self.result.strides else None
        named = last.way.named if last and last.way else self.tree.start
        source = f"`{self._short(last.step)}`" if last else "the tree's `start`"
        message = f"The run comes from {source} to `{named}`, which there is not"
        remedy = "Write that step first, or lead the way to one that there is"
        return self._stopped(self.case.place, message, remedy, follows=True)

    def _way_from(self, node: Node) -> Way | None:
        """Return the way that the case takes at a step, or None when it ends there."""
        _, given = self.given.get(node.key, (None, None))
        said = given if given is not None else _USUAL.get(node.step.kind)
        self.result.strides.append(Stride(node.key, said or "", None))
        options = _options(node)
        if said is None:
            raise self._unanswered(node, options)
        option = _named(options, said)
        if option is None and given is not None and node.step.kind == "measure":
            option = self._band(node, given)
        if option is None:
            raise self._refused(node, said, given, options)
        self.result.strides[-1] = Stride(node.key, said, option.way)
        return option.way

    def _band(self, node: Node, given: Word) -> _Option:
        """Return the band that a reading falls into."""
        try:
            unit = unit_of(node.step.unit or PLAIN)
        except UnitProblem as problem:
            raise self._stopped(given.place, problem.message, problem.hint, follows=True) from None
        try:
            reading = read_reading(given, unit)
        except UnitProblem as problem:
            message = f"At `{self._short(node.key)}`: {problem.message}"
            raise self._stopped(given.place, message, problem.hint) from None
        span = node.step.plausible
        if span is not None and len(span) == 2 and not span[0] <= reading <= span[1]:  # noqa: PLR2004 - from and to
            raise self._stopped(
                given.place,
                f"At `{self._short(node.key)}` the reading `{given}` lies outside `plausible`, where a walk doubts it",
                f"Give a reading from {span[0]:g} to {span[1]:g} {node.step.unit}, or widen `plausible`",
            )
        for way in node.ways:
            if isinstance(way.origin, Band) and _holds(way.origin, reading):
                return _Option(way.label, way)
        raise self._stopped(given.place, "No band holds the reading", "Close the gap", follows=True)

    def _unanswered(self, node: Node, options: list[_Option]) -> _Stopped:
        """Report a check or measurement that the case gives no answer for."""
        short = self._short(node.key)
        wanted = " or ".join(option.label for option in options)
        if node.step.kind == "measure":
            wanted = f"a reading in {node.step.unit}"
        return self._stopped(
            self.case.place,
            f"The case `{self.case.case}` passes `{short}` and gives no answer for it",
            f"Add `{short}` to `given`: {wanted}",
            follows=not options or self.unknown or self.doubts.key(self.case.place, "given"),
            asks=(wanted,) if node.step.kind == "measure" else tuple(option.label for option in options),
        )

    def _refused(self, node: Node, said: str, given: Word | None, options: list[_Option]) -> _Stopped:
        """Report an answer that the step does not have."""
        short, kind = self._short(node.key), node.step.kind
        return self._stopped(
            given.place if given is not None else self.case.place,
            f"The case `{self.case.case}` answers `{short}` with `{said}`, which it does not have",
            "Delete the line: nothing is asked there" if kind == "escalate" else _either(options),
            follows=not options or folded(said) == folded(_REQUIRED.get(kind, "?")),
        )

    def _stopped(
        self, place: Place, message: str, remedy: str, *, follows: bool = False, asks: tuple[str, ...] = ()
    ) -> _Stopped:
        self._trouble(place, message, remedy, follows=follows, asks=asks)
        return _Stopped(message)

    def _trouble(
        self,
        place: Place,
        message: str,
        remedy: str,
        *,
        follows: bool = False,
        notes: tuple[tuple[Place, str], ...] = (),
        asks: tuple[str, ...] = (),
    ) -> None:
        doubtful = follows or self.in_doubt
        self.result.troubles.append(Trouble(place, message, remedy, self.result.path, doubtful, notes, asks))

    def _short(self, key: str | None) -> str:
        """Return `tree/step` as the case would write it."""
        return (key or "").removeprefix(f"{self.tree.id}/")


def _remedy(close: str, *, is_end: bool) -> str:
    """Return what to do about a step that there is not; an end may be one that is still to be written."""
    if is_end:
        nearest_one = f" (nearest: `{close}`)" if close else ", here or as `tree/step`"
        return f"Write it with `kb branch`, if it is still to come; else name a step that there is{nearest_one}"
    return f"Did you mean `{close}`?" if close else "Name a step of this tree, or `tree/step`"


def _options(node: Node) -> list[_Option]:
    """Return what can be said at a step."""
    options = [_Option(way.label, way) for way in node.ways]
    if node.step.kind in ENDS:
        options.insert(0, _Option(_USUAL[node.step.kind], None))
    return options


def _named(options: list[_Option], said: str) -> _Option | None:
    """Return the option that is said, to the letter or but for case and spaces."""
    for option in options:
        if option.label == said:
            return option
    wanted = folded(said)
    return next((option for option in options if folded(option.label) == wanted), None)


def _either(options: list[_Option]) -> str:
    return f"Write {' or '.join(option.label for option in options)}"


def _holds(band: Band, reading: float) -> bool:
    return (band.start is None or band.start <= reading) and (band.below is None or reading < band.below)
