"""Visit records become cases: what was answered, read and could not be done, and the cause that was found.

A case holds ids, answers and readings. Names, serial numbers, remarks and job references stay out.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass, field
from datetime import datetime  # noqa: TC003 - msgspec reads the annotations
from typing import TYPE_CHECKING, Annotated, Any, Literal

import msgspec
from msgspec import Meta, Struct
from yaml.nodes import MappingNode, ScalarNode

from kb_tools.author.learn_record import FORMAT, PROBLEMS, VERSION, problem_of
from kb_tools.author.splice import child, items_of
from kb_tools.author.yaml_text import Written, flow
from kb_tools.findings import LibraryError, UsageError
from kb_tools.model.cases import replay
from kb_tools.model.graph import build_graph
from kb_tools.model.moved import Moves
from kb_tools.model.reading import number_text
from kb_tools.model.records import nearest
from kb_tools.model.units import PLAIN, UnitProblem, read_reading, unit_of
from kb_tools.model.values import is_id

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from kb_tools.author.change import Change
    from kb_tools.author.splice import Sheet
    from kb_tools.model.entities import Case, Library, Step

MOST_BYTES = 5_000_000
"""A record of a long visit has some 50 kilobytes."""
_Line = Annotated[str, Meta(max_length=4000)]
_ENDINGS = ("cured", "go", "done")
_HEX = re.compile(r"[0-9a-f]{8,64}")


class _Taken(Struct):
    """One answer."""

    tree: _Line
    step: _Line
    kind: Literal["check", "measure", "do", "fix", "escalate", "done", "link"]
    answer: _Line
    reading: _Line | None


class _Mended(Struct):
    """A fix, or an end with a proof, and what came of it."""

    tree: _Line
    step: _Line
    cured: bool


class _Entered(Struct):
    """A tree that was entered."""

    tree: _Line


class _Origin(Struct):
    """The library that the visit was made with."""

    key: _Line = ""
    title: _Line = ""


class Visit(Struct):
    """A visit record, as far as a case is made of it."""

    format: Literal["fault-tree visit record"]
    version: Literal[1]
    id: _Line
    started: datetime
    trees: Annotated[list[_Entered], Meta(min_length=1)]
    steps: list[_Taken]
    fixes: list[_Mended]
    library: _Origin | None = None


@dataclass(frozen=True, slots=True)
class NewCase:
    """A case to be put into a tree."""

    tree: str
    name: str
    ends_at: str
    given: dict[str, str]
    source: str = ""
    """The file of the record that it comes from."""


@dataclass(slots=True)
class Put:
    """What became of cases that were to be put into trees."""

    added: list[NewCase] = field(default_factory=list)
    completed: list[NewCase] = field(default_factory=list)
    """Those that waited under the same name and got answers that they lacked."""
    passed_over: list[tuple[NewCase, str]] = field(default_factory=list)
    """Those that a tree has already, each with what it is called there."""

    @property
    def changed(self) -> list[NewCase]:
        """All that stand in the files otherwise than before."""
        return [*self.added, *self.completed]


def read_record(path: Path, save: str, copy: str) -> Visit:
    """Read a visit record.

    Args:
        path: The file.
        save: What the walk's button is called that saves a record so that it can be read.
        copy: What the one is called that gives a text for people.

    Raises:
        UsageError: when there is no such file.
        LibraryError: when it is no visit record; file and mistake are told.

    """
    if path.is_dir():
        example = min((one.name for one in path.glob("*.json")), default="visit.json")
        raise UsageError(f"{path} is a folder; name the file of each record in it, as in {path / example}")
    try:
        if path.stat().st_size > MOST_BYTES:
            raise LibraryError(f"{path}: the file has more than {MOST_BYTES:,} bytes; a visit record is small")
        raw = path.read_bytes().removeprefix(b"\xef\xbb\xbf")
    except FileNotFoundError as error:
        raise UsageError(f"{path} does not exist") from error
    except OSError as error:
        raise LibraryError(f"{path}: {(error.strerror or 'cannot be read').lower()}; nothing was changed") from error
    try:
        return _DECODER.decode(raw)
    except PROBLEMS as error:
        told, byte = problem_of(raw, error)
        line = raw[:byte].count(b"\n") + 1
        remedy = f"take a record as the walk saves it (format {FORMAT!r}, version {VERSION})"
        if not raw.lstrip().startswith((b"{", b"[")):
            remedy = f"take the file that the walk saves with “{save}”; the text of “{copy}” cannot be read"
        raise LibraryError(f"{path}:{line}: {told}; {remedy}. Nothing was changed") from error


_DECODER = msgspec.json.Decoder(Visit)


def case_of(
    library: Library,
    visit: Visit,
    source: str,
    ends_at: str | None = None,
    name: str | None = None,
    said: Mapping[str, str] | None = None,
) -> NewCase:
    """Return the case that a visit is.

    Args:
        library: The library; ids of earlier editions are read as what they mean today.
        visit: The record.
        source: The record's file, for messages.
        ends_at: Where the run should end, `step` or `tree/step`, also one that is still to be written;
            left out: the fix that cured.
        name: What the case is called; left out: the day of the visit and the record's id.
        said: Step -> what is answered there, beside what the record says, or instead of it.

    Raises:
        UsageError: when `ends_at` or `said` names no step.
        LibraryError: when the record fits no tree of this library, or names no cause.

    """
    moves = Moves(library)
    home, _ = moves.now(visit.steps[0].tree if visit.steps else visit.trees[0].tree)
    if home not in library.trees:
        close = nearest(home, library.trees)
        hint = f" (nearest: {close})" if close else ""
        raise LibraryError(
            f"{source}: the walk began in the tree `{home}`, which there is not{hint}"
            f"{_elsewhere(visit, library)}; nothing was changed"
        )
    given: dict[str, str] = {}
    for taken in visit.steps:
        tree, step = moves.now(taken.tree, taken.step)
        known = library.trees[tree].steps.get(step) if tree in library.trees else None  # type: ignore[call-overload]
        if known is None:
            other = _elsewhere(visit, library)
            remedy = "" if other else ". If it was renamed by hand, say so in trees/shared/moved.yml"
            raise LibraryError(
                f"{source}: the walk passed `{tree}/{step}`, which there is not (any more){other}{remedy}; "
                "nothing was changed"
            )
        if taken.answer not in _ENDINGS or taken.kind in ("check", "measure"):
            given[_short(home, tree, step)] = _value(taken, known)
    given |= _judged(library, home, said or {})
    wanted = _wanted(home, ends_at, library) if ends_at else _cured(visit, moves, home, source)
    return NewCase(home, name or _name(visit), wanted, given, source)


def _elsewhere(visit: Visit, library: Library) -> str:
    """Return in words that the record is one of another library; empty where it is not, or does not say."""
    origin = visit.library
    if origin is None or not origin.key or origin.key == library.key:
        return ""
    made = f"`{origin.title}` ({origin.key})" if origin.title else origin.key
    return (
        f". The record was made with the library {made}, and this one is `{library.title}` ({library.key}): "
        "name the right folder with --library"
    )


def _judged(library: Library, home: str, said: Mapping[str, str]) -> dict[str, str]:
    """Return what is answered beside the record, each step written as a case of the tree writes it."""
    found = {}
    for named, value in said.items():
        tree, _, step = named.rpartition("/")
        steps = library.trees[tree or home].steps if (tree or home) in library.trees else {}
        if step not in steps:
            close = nearest(step, steps)
            hint = f" Did you mean {close}?" if close else ""
            raise UsageError(f"--given {named}: there is no such step.{hint} Nothing was changed")
        found[_short(home, tree or home, step)] = value
    return found


def _short(home: str, tree: str, step: str) -> str:
    return step if tree == home else f"{tree}/{step}"


def _value(taken: _Taken, step: Step) -> str:
    """Return what a case says of an answer: a reading in the step's unit, else the answer itself."""
    if taken.kind != "measure" or not taken.reading:
        return taken.answer
    unit = str(step.unit or PLAIN)
    try:
        number = number_text(read_reading(taken.reading, unit_of(unit)))
    except UnitProblem:
        return taken.answer
    return number if unit == PLAIN else f"{number} {unit}"


def _wanted(home: str, ends_at: str, library: Library) -> str:
    tree, slash, step = ends_at.rpartition("/")
    if not is_id(step) or (slash and not is_id(tree)):
        raise UsageError(f"--ends-at {ends_at!r} is no id of a step; write `step`, or `tree/step`")
    if slash and tree not in library.trees:
        close = nearest(tree, library.trees)
        raise UsageError(f"There is no tree {tree!r}." + (f" Did you mean {close}?" if close else ""))
    return _short(home, tree or home, step)


def _cured(visit: Visit, moves: Moves, home: str, source: str) -> str:
    """Return the end at which the visit says that it was mended."""
    ends = [(one.tree, one.step) for one in visit.fixes if one.cured]
    ends += [(one.tree, one.step) for one in visit.steps if one.answer == "cured"]
    if not ends:
        raise LibraryError(
            f"{source}: the visit ended without a cure, so the record does not say what the cause was. Name the fix "
            "that it turned out to need with --ends-at STEP (also one that is still to be written); nothing was changed"
        )
    return _short(home, *moves.now(*ends[-1]))


def _name(visit: Visit) -> str:
    """Return what a case is called: nothing that a person typed."""
    known = visit.id if _HEX.fullmatch(visit.id) else hashlib.sha256(visit.id.encode()).hexdigest()
    return f"Visit of {visit.started.date().isoformat()}, record {known[:8]}"


def add_cases(change: Change, library: Library, cases: Sequence[NewCase], *, complete: bool = False) -> Put:
    """Put cases into the files of their trees.

    Args:
        change: Takes the new texts.
        library: The library as it stands.
        cases: The cases; one whose run and end a tree has already is passed over.
        complete: Whether a case that is there under the same name, with the same end, and fails, takes the answers
            that it lacks.

    Returns:
        What became of them.

    Raises:
        LibraryError: when a tree has a case of that name with another run or end.

    """
    put, graph = Put(), build_graph(library)
    for one in cases:
        tree = library.trees[one.tree]
        earlier = [other for other in put.added if other.tree == one.tree]
        known = [(str(case.case), _given_of(case), str(case.ends_at)) for case in tree.cases]
        known += [(other.name, other.given, other.ends_at) for other in earlier]
        same = next((name for name, given, end in known if (given, end) == (one.given, one.ends_at)), None)
        if same is not None:
            put.passed_over.append((one, same))
            continue
        named = next((case for case in tree.cases if case.case == one.name), None)
        sheet = change.sheet(tree.file)
        if named and complete and named.ends_at == one.ends_at and replay(library, graph, tree, named).troubles:
            whole = _given_of(named) | one.given
            answer_anew(sheet, named, whole)
            put.completed.append(one)
        elif named or any(other.name == one.name for other in earlier):
            raise LibraryError(
                f"{tree.file} has a case `{one.name}` already, with other answers or another end; change that, or "
                "give another name with --case. Nothing was changed"
            )
        else:
            sheet.add_to_list("cases", values_of(one))
            put.added.append(one)
        change.take(sheet)
    return put


def _given_of(case: Case) -> dict[str, str]:
    return {str(step): str(value) for step, value in (case.given or {}).items()}


def answer_anew(sheet: Sheet, case: Case, given: Mapping[str, str]) -> None:
    """Change what a case of the file answers.

    Args:
        sheet: The file of its tree.
        case: The case.
        given: All that it answers from now on.

    Raises:
        UsageError: when it is written in a way that cannot be changed.

    """
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


def values_of(case: NewCase) -> dict[str, Any]:
    """Return the keys of a case in the order in which `kb` writes them."""
    return {"case": case.name, "given": dict(case.given) or Written("{}"), "ends_at": case.ends_at}
