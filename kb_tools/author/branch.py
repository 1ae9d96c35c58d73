"""Grow a tree: a new answer at a step, a new step behind it, or a new step between a step and the next.

Every other line of the file stays as it is. Where an answer belongs to a shared check, or to the
check of an evidence table that judges the tree, it is put there too: they must name the same
answers.
"""

from __future__ import annotations

import re
import shlex
import unicodedata
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from yaml.nodes import MappingNode, Node, SequenceNode

from kb_tools.author.splice import child, find, items_of
from kb_tools.author.yaml_text import Written, flow
from kb_tools.findings import UsageError
from kb_tools.model.entities import STEP_KINDS
from kb_tools.model.graph import build_graph
from kb_tools.model.records import nearest
from kb_tools.model.values import folded, is_id

if TYPE_CHECKING:
    from collections.abc import Iterable

    from kb_tools.author.change import Change
    from kb_tools.author.splice import Sheet
    from kb_tools.model.entities import Band, Library, Step, Tree
    from kb_tools.model.graph import Way

_QUESTIONS = {"check": "answers", "measure": "bands"}
_SINGLE = {"cannot": "cannot", "not_cured": "not cured"}
"""Ways that are a key of the step -> what the walk calls them."""
_DULL = frozenset("a an the is are was does do did of to in on at it its with and or if that this be been".split())
_ID_WORDS = 4


@dataclass(slots=True)
class Branch:
    """What is to be added."""

    tree: str
    step: str
    answer: str = ""
    """The new answer; with `before`, the answer behind which the new step goes (left out: all that lead there)."""
    to: str = ""
    """The step that a new answer leads to; left out: the new step."""
    before: str = ""
    """The step before which the new one goes."""
    new: str = ""
    """The id of the new step; left out: none is made."""
    keys: dict[str, Any] = field(default_factory=dict)
    """The keys of the new step, its kind first."""
    answer_keys: dict[str, Any] = field(default_factory=dict)
    """More keys of the new answer: `say`, `unsure`, `stop_use`, ..., and `from` and `below` of a band."""


def slug(text: str, taken: Iterable[str]) -> str:
    """Return an id made of the first words of a text that is not taken yet; empty where it has no word."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    words = re.findall(r"[a-z0-9]+", plain.replace("'", ""))
    name = "-".join([word for word in words if word not in _DULL][:_ID_WORDS] or words[:_ID_WORDS])
    if not name:
        return ""
    if not name[0].isalpha():
        name = f"step-{name}"
    known, wanted, number = set(taken), name, 2
    while name in known:
        name, number = f"{wanted}-{number}", number + 1
    return name


def tree_and_step(library: Library, tree_id: str, step_id: str) -> tuple[Tree, Step]:
    """Return a tree and one of its steps.

    Raises:
        UsageError: when there is no such tree or step; the nearest one is named.

    """
    tree = library.trees.get(tree_id)
    if tree is None:
        close = nearest(tree_id, library.trees)
        raise UsageError(f"There is no tree {tree_id!r}." + (f" Did you mean {close}?" if close else ""))
    step = tree.steps.get(step_id)  # type: ignore[call-overload]
    if step is None:
        close = nearest(step_id, tree.steps)
        hint = f" Did you mean {close}?" if close else f" Its steps are {', '.join(tree.steps)}."
        raise UsageError(f"The tree {tree_id} has no step {step_id!r}.{hint}")
    return tree, step


def ways_to(library: Library, branch: Branch) -> list[Way]:
    """Return the ways of the step that lead to the one before which a new step goes."""
    node = build_graph(library).nodes[f"{branch.tree}/{branch.step}"]
    found = [way for way in node.ways if way.named == branch.before]
    if branch.answer:
        found = [way for way in found if folded(way.label) == folded(branch.answer)]
    return found


def judge_place(library: Library, branch: Branch) -> None:
    """Refuse a branch whose place is wrong, before more is asked of it.

    Args:
        library: The library as it stands.
        branch: Tree and step, and as far as they are known `answer` and `before`.

    Raises:
        UsageError: when no way leads to `before`, the answer is there already, or the step leads nowhere else.

    """
    tree, step = tree_and_step(library, branch.tree, branch.step)
    if branch.before:
        _check_targets(tree, branch)
        if not ways_to(library, branch):
            raise UsageError(_no_way(branch))
    elif step.kind in _QUESTIONS:
        if branch.answer:
            _check_answer(branch, step)
    elif step.kind not in ("do", "fix") or not (branch.answer or step.then or step.not_cured or step.cannot):
        raise UsageError(_how_to_go_on(branch, step))


def _check_answer(branch: Branch, step: Step) -> None:
    """Refuse an answer that a step has already."""
    known = next((way for way in step.answers or step.bands or () if folded(way.answer) == folded(branch.answer)), None)
    if known:
        raise UsageError(
            f"{branch.step} has the answer {branch.answer!r} already; to put a step behind it: --before {known.to}"
        )


def _no_way(branch: Branch) -> str:
    named = f" with the answer {branch.answer!r}" if branch.answer else ""
    return f"No way{named} leads from {branch.step} to {branch.before}"


def add_branch(change: Change, library: Library, branch: Branch) -> list[str]:
    """Put a branch into the file of its tree.

    Args:
        change: Takes the new texts.
        library: The library as it stands.
        branch: What to add.

    Returns:
        What was changed besides the tree's own file, in words.

    Raises:
        UsageError: when the branch does not fit the step.
        LibraryError: when the file cannot be changed.

    """
    tree, step = tree_and_step(library, branch.tree, branch.step)
    if branch.new:
        _check_new(tree, branch)
    _check_targets(tree, branch)
    sheet = change.sheet(tree.file)
    steps = child(sheet.root, "steps")
    group = child(steps, branch.step) if steps is not None else None
    if not isinstance(steps, MappingNode) or not isinstance(group, MappingNode):
        raise UsageError(f"{tree.file}: the step {branch.step} is written in a way that cannot be changed here")
    if branch.before:
        _insert_before(sheet, group, branch, ways_to(library, branch), step)
        told: list[str] = []
    elif step.kind in _QUESTIONS:
        _add_answer(sheet, group, branch, step)
        told = _tell_shared(change, library, branch, step) + _tell_tables(change, library, branch, step)
    else:
        _add_single(sheet, group, branch, step)
        told = []
    if branch.new:
        at = find(steps, branch.step)
        sheet.add_pair(steps, branch.new, _styled(branch.keys, steps), -1 if at is None else at, apart=True)
    change.take(sheet)
    return told


def _styled(keys: dict[str, Any], steps: MappingNode) -> dict[str, Any]:
    """Return the keys of a step with its answers between braces, where those of the other steps are so."""
    items = [item for _, step in steps.value for key in _QUESTIONS.values() for item in items_of(child(step, key))]
    braced = sum(isinstance(item, MappingNode) and bool(item.flow_style) for item in items)
    if 2 * braced <= len(items):
        return dict(keys)
    return {
        key: [Written(flow(item)) for item in value] if key in _QUESTIONS.values() else value
        for key, value in keys.items()
    }


def _check_new(tree: Tree, branch: Branch) -> None:
    """Refuse a new step that is there already, or has no kind."""
    if not is_id(branch.new):
        raise UsageError(f"{branch.new!r} is no id: small letters, digits and hyphens, a letter first")
    if branch.new in tree.steps:
        raise UsageError(f"The tree {tree.id} has a step {branch.new} already; give another --id, or lead --to it")
    if not any(kind in branch.keys for kind in STEP_KINDS):
        raise UsageError(f"A new step needs one of {', '.join(f'--{kind}' for kind in STEP_KINDS)}")


def _check_targets(tree: Tree, branch: Branch) -> None:
    """Refuse ways to steps that there are not."""
    questions = [(f"--way {shlex.quote(one['answer'])}", one["to"]) for one in branch.keys.get("answers", ())]
    questions += [("--band", one["to"]) for one in branch.keys.get("bands", ())]
    single = [
        (f"--{key.replace('_', '-')}", branch.keys[key])
        for key in ("then", "cannot", "not_cured")
        if key in branch.keys
    ]
    for option, target in (("--to", branch.to), ("--before", branch.before), *questions, *single):
        if not target or target in tree.steps or target == branch.new:
            continue
        close = nearest(target, tree.steps)
        told = f"The tree {tree.id} has no step {target!r} ({option} {target})."
        if branch.new and option.startswith("--way"):
            answer = option.removeprefix("--way ")
            behind = f"kb branch {tree.id} {branch.new} --answer {answer} --fix TEXT --id {target}"
            told += f" Did you mean {close}?" if close else ""
            told += f" One that is still to be written comes second: leave this {option} out, and then {behind}"
        else:
            told += f" Did you mean {close}?" if close else f" Its steps are {', '.join(tree.steps)}."
        raise UsageError(told)


def _target(branch: Branch) -> str:
    if not (branch.to or branch.new):
        raise UsageError("Say where the answer leads: --to STEP, or a new step (--check, --do, --fix, ...)")
    return branch.to or branch.new


def _add_answer(sheet: Sheet, group: MappingNode, branch: Branch, step: Step) -> None:
    """Put a new answer or band at a question."""
    if not branch.answer:
        raise UsageError("Give the new answer: --answer TEXT; or put a step in between with --before TARGET")
    key = _QUESTIONS[step.kind]
    ways = step.answers or step.bands or ()
    _check_answer(branch, step)
    edges = {name: branch.answer_keys[name] for name in ("from", "below") if branch.answer_keys.get(name) is not None}
    more = {name: value for name, value in branch.answer_keys.items() if name not in ("from", "below")}
    items = child(group, key)
    if step.kind == "measure":
        if not edges:
            raise UsageError("A new band needs --from or --below, or both")
        values = {**edges, "answer": branch.answer, "to": _target(branch), **more}
        _carve(sheet, items, step.bands or (), edges)
        at = sum(1 for band in step.bands or () if (band.start or float("-inf")) < edges.get("from", float("-inf")))
    elif edges:
        raise UsageError(f"{branch.step} is a check: --from and --below belong to a measurement")
    else:
        values = {"answer": branch.answer, "to": _target(branch), **more}
        at = next((n for n, way in enumerate(step.answers or ()) if way.unsure and not more.get("unsure")), len(ways))
    if isinstance(items, SequenceNode) and items.value:
        sheet.add_item(items, values, at if at < len(items.value) else None)
    else:
        sheet.add_pair(group, key, [values])


def _carve(sheet: Sheet, items: Node | None, bands: Iterable[Band], edges: dict[str, float]) -> None:
    """Take the readings of a new band away from those that had them, so that no reading falls into two."""
    low, high = edges.get("from", float("-inf")), edges.get("below", float("inf"))
    for node, band in zip(items_of(items), bands, strict=True):
        start = float("-inf") if band.start is None else float(band.start)
        below = float("inf") if band.below is None else float(band.below)
        if low >= below or high <= start:
            continue
        if low <= start and below <= high:
            raise UsageError(
                f"The new band takes all readings of {str(band.answer)!r}; make it narrower, or change the file by hand"
            )
        if start < low and high < below:
            raise UsageError(
                f"The new band cuts {str(band.answer)!r} in two; add one of its ends first, so that the two parts "
                "have names of their own"
            )
        _set_edge(sheet, node, *(("below", low) if start < low else ("from", high)))


def _set_edge(sheet: Sheet, node: Node, edge: str, value: float) -> None:
    at = find(node, edge)
    if not isinstance(node, MappingNode):
        return
    if at is not None:
        sheet.set_scalar(node.value[at][1], float(value), inside_flow=bool(node.flow_style))
    else:
        other = find(node, "from")
        sheet.add_pair(node, edge, float(value), 0 if other is None else other)


def _add_single(sheet: Sheet, group: MappingNode, branch: Branch, step: Step) -> None:
    """Put the way for somebody who cannot do an action, or for a fix that did not cure, where there is none yet."""
    key = next((key for key, label in _SINGLE.items() if folded(label) == folded(branch.answer)), "")
    if {"do": "cannot", "fix": "not_cured"}.get(step.kind) != key or not key:
        raise UsageError(_how_to_go_on(branch, step))
    if getattr(step, key):
        raise UsageError(f"{branch.step} goes on to {getattr(step, key)} then; put a step between with --before it")
    sheet.add_pair(group, key, _target(branch))


def _how_to_go_on(branch: Branch, step: Step) -> str:
    onward = {"do": step.then, "fix": step.not_cured}.get(step.kind)
    if onward:
        told = f"{branch.step} is a `{step.kind}` with one way on, to {onward}"
        return f"{told}: put a step in between with --before {onward}"
    told = f"Nothing follows the `{step.kind}` {branch.step}"
    return f"{told}: name the step before it, and this one as --before {branch.step}"


def _insert_before(sheet: Sheet, group: MappingNode, branch: Branch, ways: list[Way], step: Step) -> None:
    """Let ways of a step lead to the new one, which leads on to where they led."""
    if not branch.new:
        raise UsageError("--before puts a new step in between: give one with --check, --measure, --do or --fix")
    if not ways:
        raise UsageError(_no_way(branch))
    wanted = {(way.named.place.line - 1, way.named.place.column - 1) for way in ways}
    found = 0
    for node, inside_flow in _targets(group, _QUESTIONS.get(step.kind, "")):
        if (node.start_mark.line, node.start_mark.column) in wanted:
            sheet.set_scalar(node, branch.new, inside_flow=inside_flow)
            found += 1
    if found != len(ways):
        raise UsageError(f"{branch.step} takes its way to {branch.before} from a shared item; change it there, by hand")


def _targets(group: MappingNode, key: str) -> Iterable[tuple[Node, bool]]:
    """Yield the nodes that name where a step leads, each with whether it stands between braces."""
    for item in items_of(child(group, key)) if key else ():
        target = child(item, "to")
        if target is not None and isinstance(item, MappingNode):
            yield target, bool(item.flow_style)
    for name in ("then", "cannot", "not_cured"):
        target = child(group, name)
        if target is not None:
            yield target, bool(group.flow_style)


def _tell_shared(change: Change, library: Library, branch: Branch, step: Step) -> list[str]:
    """Put a new answer into the shared check whose answers the step has."""
    if step.kind != "check" or not step.use or not step.shared_answers:
        return []
    known = {folded(answer.answer) for answer in step.shared_answers}
    if folded(branch.answer) in known:
        return []
    users = [f"{tree.id}/{name}" for tree, name, other in library.steps() if other.use == step.use]
    others = [name for name in users if name != f"{branch.tree}/{branch.step}"]
    if others:
        more = f" and {len(others) - 1} more" if len(others) > 1 else ""
        raise UsageError(
            f"The answers of {branch.step} are those of the shared check {step.use}, and {others[0]}{more} would "
            "have to lead the new one on too. Ask it in a check of its own behind one of the answers: "
            "--before TARGET --check TEXT"
        )
    file = step.shared_answers[0].place.file
    sheet = change.sheet(file)
    items = child(sheet.root, step.use, "answers")
    if not isinstance(items, SequenceNode):
        return []
    unsure = bool(branch.answer_keys.get("unsure"))
    at = next((number for number, answer in enumerate(step.shared_answers) if answer.unsure and not unsure), None)
    sheet.add_item(items, {"answer": branch.answer}, at)
    change.take(sheet)
    return [f"{file}: the shared check {step.use} has the answer too"]


def _tell_tables(change: Change, library: Library, branch: Branch, step: Step) -> list[str]:
    """Put a new answer into the checks of evidence tables that stand for the step; no cause shows it yet."""
    told: list[str] = []
    for table in library.tables.values():
        row = table.checks.get(branch.step)  # type: ignore[call-overload]
        if table.tree != branch.tree or row is None or step.kind != "check" or branch.answer_keys.get("unsure"):
            continue
        if folded(branch.answer) in map(folded, row.answers):
            continue
        sheet = change.sheet(table.file)
        items = child(sheet.root, "checks", branch.step, "answers")
        if isinstance(items, SequenceNode):
            sheet.add_word(items, branch.answer)
            change.take(sheet)
            told.append(f"{table.file}: the check {branch.step} has the answer too; say which cause shows it")
    return told
