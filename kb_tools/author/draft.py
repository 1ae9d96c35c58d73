"""Draft a tree from an evidence table: the best order of its checks as a tree file to be finished.

What the table cannot know, above all how the mending is proven, is left out with a comment, so that
`kb check` reports it; nothing is filled in silently. Isolation follows from what the checks and
fixes declare: before a check that exposes a hazard stands a step that isolates it, before one that
needs its power a step that puts it back.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from kb_tools.author.yaml_text import mapping, scalar
from kb_tools.model.schema import editor_line
from kb_tools.model.tables import shown_by
from kb_tools.model.values import folded
from kb_tools.numbers.testability import NO_FAULT

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    from kb_tools.model.entities import Library, Step, Table, TableCheck
    from kb_tools.model.tables import Shown
    from kb_tools.numbers.order_problem import Order

DESK, NOTHING = "hand-over", "nothing-found"
TO_FINISH = "TO FINISH"
"""Stands in the comments that ask the author for what a table cannot know."""


@dataclass(frozen=True, slots=True)
class _Way:
    """How the draft came to a step: what is isolated, and what was answered."""

    isolated: frozenset[str]
    given: tuple[tuple[str, str], ...]
    parts: dict[str, Fraction]
    """Cause -> which part of its visits comes this way; each answer that it may show is equally likely."""


@dataclass(slots=True)
class _Draft:
    """A draft under way."""

    table: Table
    library: Library
    shown: Shown
    names: Mapping[str, str]
    """Cause -> what the part is called on the map that the table comes from."""
    steps: dict[str, tuple[dict[str, Any], list[str]]] = field(default_factory=dict)
    """Step -> its keys and the comments that go with it."""
    cases: list[dict[str, Any]] = field(default_factory=list)
    nothing: float | None = None
    """Share of the visits in which nothing is wrong; None where the table tells none."""

    def fresh(self, wanted: str) -> str:
        """Return a step id that is not taken yet."""
        name, number = wanted, 2
        while name in self.steps:
            name, number = f"{wanted}-{number}", number + 1
        return name

    def called(self, cause: str) -> str:
        """Return a cause in words."""
        return self.names.get(cause) or cause.replace("-", " ")

    def add(self, wanted: str, keys: dict[str, Any], comments: list[str] | None = None) -> str:
        """Take a place for a step, in the order of reading; its keys may be filled in later."""
        name = self.fresh(wanted)
        self.steps[name] = (keys, comments or [])
        return name


def draft(
    table: Table, order: Order, library: Library, day: date, map_id: str | None = None, origin: str | None = None
) -> str:
    """Return the text of a tree file.

    Args:
        table: The evidence table.
        order: The best order of its checks, as `best_order` found it.
        library: The library, for hazards and for the fixes that the table names.
        day: The date of the draft; a review is still to be made.
        map_id: The equipment map that the checks look at; left out: that of the table's tree.
        origin: From what the table comes, in words; left out: from a file of its own.

    """
    # A table that was derived from a map has the map's parts as its causes.
    shown = library.maps.get(map_id) if map_id and origin else None
    names = {str(part): str(row.name) for part, row in shown.parts.items()} if shown else {}
    work = _Draft(table, library, shown_by(table, library.doubts), names)
    start = _order(work, order, _Way(frozenset(), (), dict.fromkeys(map(str, table.causes), Fraction(1))))
    _common_ends(work)
    lines = [
        editor_line("trees/area/tree.yml").rstrip(),
        f"# Drafted from {origin or f'the evidence table {table.id}'}.",
        f"# {TO_FINISH}: heard_as, equipment, how-to, the desk's wording (say), and whatever `kb check` asks for.",
        "# A draft stays out of the site.",
        *mapping(_head(table, library, map_id)),
        *mapping({"status": "draft", "reviewed": day.isoformat(), "start": start}),
        "steps:",
    ]
    for name, (keys, comments) in work.steps.items():
        lines += [f"  {name}:", *(f"    # {comment}" for comment in comments), *mapping(keys, "    ")]
    lines.append("cases:")
    for case in work.cases:
        lines += [f"  - case: {scalar(case['case'])}", "    given:" if case["given"] else "    given: {}"]
        lines += [f"      {step}: {scalar(value)}" for step, value in case["given"].items()]
        lines.append(f"    ends_at: {case['ends_at']}")
    return "\n".join(lines) + "\n"


def _head(table: Table, library: Library, map_id: str | None) -> dict[str, Any]:
    """Return what stands first in the file; equipment and map are those of the table's tree."""
    tree = library.trees.get(table.tree) if table.tree else None
    return {
        "title": str(table.title).partition(":")[0],
        "equipment": [str(name) for name in tree.equipment] if tree else [],
        "map": map_id or (str(tree.map) if tree and tree.map else None),
    }


def _order(work: _Draft, order: Order, way: _Way) -> str:
    """Add the steps of an order and return the first."""
    if "check" not in order:
        return _group(work, list(order["causes"]), way)
    check = work.table.checks[order["check"]]  # type: ignore[index]
    needs = {*map(str, check.needs), *map(str, check.works_live)}
    first, state, link = _make_ready(work, set(map(str, check.exposes)), needs, way.isolated)
    keys = _check_keys(check)
    name = work.add(order["check"], keys)
    if link is not None:
        link["then"] = name
    onward = {folded(answer): rest for answer, rest in order["answers"].items()}
    ways: list[dict[str, Any]] = []
    for band in check.bands:
        edges = (("from", band.start), ("below", band.below))
        ways.append({name: float(edge) for name, edge in edges if edge is not None} | {"answer": str(band.answer)})
    ways += [{"answer": str(answer)} for answer in check.answers]
    for entry in ways:
        rest = onward.get(folded(entry["answer"]))
        if rest is None:
            # No cause of the table shows this: nobody can say what it means.
            entry["to"] = DESK
        else:
            given = (*way.given, (name, entry["answer"] if not check.bands else _reading(entry, check)))
            parts = _parts(work, way.parts, order["check"], entry["answer"])
            entry["to"] = _order(work, rest, _Way(frozenset(state), given, parts))
    keys["bands" if check.bands else "answers"] = ways
    return first or name


def _parts(work: _Draft, parts: Mapping[str, Fraction], check: str, answer: str) -> dict[str, Fraction]:
    """Return which part of each cause's visits is left after an answer."""
    cells = {cause: work.shown.cells[cause, check] for cause in parts}
    return {cause: part / len(cells[cause]) for cause, part in parts.items() if folded(answer) in cells[cause]}


def _share(work: _Draft, cause: str, parts: Mapping[str, Fraction]) -> float | None:
    """Return the share of a cause's visits that come this way, to four digits; None where it has none.

    Where no cause has a share all are equal, and nothing need be written unless visits part.
    """
    share = work.table.causes[cause].share  # type: ignore[index]
    if share is None:
        known = any(row.share is not None for row in work.table.causes.values())
        return None if known or all(len(cell) == 1 for cell in work.shown.cells.values()) else float(parts[cause])
    return float(f"{float(share) * float(parts[cause]):.4g}")


def _reading(entry: dict[str, Any], check: TableCheck) -> str:
    """Return a reading that falls into a band."""
    low, high = entry.get("from"), entry.get("below")
    if low is not None:
        value = low
    else:
        value = min(high - 1, high / 2) if high is not None else 0.0
        if check.plausible:
            value = max(value, float(check.plausible[0]))
    return f"{value:g} {check.unit}" if check.unit and str(check.unit) != "1" else f"{value:g}"


def _check_keys(check: TableCheck) -> dict[str, Any]:
    keys: dict[str, Any] = {}
    if check.measure:
        keys |= {"measure": str(check.measure), "unit": str(check.unit) if check.unit else None}
        keys["plausible"] = [float(edge) for edge in check.plausible] if check.plausible else None
        keys["source"] = str(check.source) if check.source else None
    else:
        keys["check"] = str(check.check)
    for name in ("say", "how", "who", "live_because", "controls"):
        value = getattr(check, name)
        keys[name] = str(value) if value else None
    keys["takes"] = str(check.takes.word) if check.takes else None
    for name in ("tools", "looks_at", "exposes", "needs", "works_live"):
        keys[name] = [str(one) for one in getattr(check, name)]
    return keys


def _make_ready(
    work: _Draft, exposes: set[str], needs: set[str], isolated: frozenset[str]
) -> tuple[str | None, set[str], dict[str, Any] | None]:
    """Add the steps that isolate and put back what the next step asks for.

    Returns:
        The first of them or None, what is isolated after them, and the keys of the last one, whose
        `then` is still to be set.

    """
    state = set(isolated)
    first: str | None = None
    last: dict[str, Any] | None = None
    for hazard in [*sorted(needs & state), *sorted(exposes - state)]:
        known = work.library.hazards[hazard]  # type: ignore[index]
        keys: dict[str, Any]
        if hazard in needs and hazard in state:
            keys = {"do": str(known.put_back), "restores": [hazard], "then": None}
            keys["takes"] = str(known.restore_takes.word) if known.restore_takes else None
            name = work.add(f"put-back-{hazard}", keys)
            state.discard(hazard)
        else:
            keys = {"do": str(known.how_isolated), "isolates": [hazard], "confirms": [hazard] if known.confirm else []}
            keys["then"] = None
            keys["takes"] = str(known.isolate_takes.word) if known.isolate_takes else None
            keys["cannot"] = DESK
            name = work.add(f"isolate-{hazard}", keys)
            state.add(hazard)
        if last is not None:
            last["then"] = name
        first, last = first or name, keys
    return first, state, last


def _group(work: _Draft, causes: list[str], way: _Way) -> str:
    """Add the fixes of a group, likeliest for its minutes first, each going on to the next when it does not cure."""
    if causes == [NO_FAULT]:
        _case(work, NO_FAULT, way.given, NOTHING)
        share = _share(work, NO_FAULT, way.parts)
        work.nothing = work.nothing if share is None else (work.nothing or 0.0) + share
        return NOTHING
    first: str | None = None
    before: dict[str, Any] | None = None
    state, given = set(way.isolated), way.given
    for cause in (cause for cause in causes if cause != NO_FAULT):
        entry, keys, name, state = _fix(work, cause, state, _share(work, cause, way.parts))
        if before is not None:
            before["not_cured"] = entry
        _case(work, cause, given, name)
        given = (*given, (name, "not cured"))
        first, before = first or entry, keys
    if before is not None:
        before["not_cured"] = DESK
    return first or DESK


def _case(work: _Draft, cause: str, given: tuple[tuple[str, str], ...], end: str) -> None:
    work.cases.append({"case": work.called(cause), "given": dict(given), "ends_at": end})


def _fix(work: _Draft, cause: str, state: set[str], share: float | None) -> tuple[str, dict[str, Any], str, set[str]]:
    """Add the fix of a cause with what makes it safe; return its beginning, keys, id, and the state after it."""
    row = work.table.causes[cause]  # type: ignore[index]
    source, shared = _named_fix(work, str(row.fix) if row.fix else None)
    exposes = {str(one) for one in source.exposes} if source else set()
    proof = work.library.proofs.get(source.proof) if source and source.proof else None
    restores = {str(one) for one in source.restores} if source else set()
    needs = ({str(one) for one in proof.needs} if proof else set()) - restores
    if shared:
        # Its body cannot be told to put anything more back: what it does not is put back before.
        needs |= state - exposes - restores
    first, state, last = _make_ready(work, exposes, needs - exposes, frozenset(state))
    keys: dict[str, Any] = {
        "fix": {"use": shared} if shared else (str(source.text) if source else f"Mend: {work.called(cause)}")
    }
    comments: list[str] = []
    if share is not None:
        keys["share"] = share
    if not shared:
        keys |= _own_keys(source, sorted(state), work)
    if not source:
        comments.append(f"{TO_FINISH}: how it is mended, the hazards that the mending exposes, spares and tools.")
    if not (source and source.proof):
        comments.append(f"{TO_FINISH}: the proof that returns the chair to service.")
    keys["not_cured"] = DESK
    name = work.add(str(row.fix) if row.fix else f"mend-{cause}", keys, comments)
    if last is not None:
        last["then"] = name
    restored = restores if shared else set(keys.get("restores") or [])
    return first or name, keys, name, state - restored


def _named_fix(work: _Draft, name: str | None) -> tuple[Step | None, str | None]:
    """Return the step or shared body that mends a cause, and the id of the shared fix when it is one."""
    tree = work.library.trees.get(work.table.tree) if work.table.tree else None
    if name is None:
        return None, None
    if tree and name in tree.steps:
        step = tree.steps[name]  # type: ignore[index]
        return step, str(step.use) if step.use else None
    found = work.library.fixes.get(name)  # type: ignore[call-overload]
    return found, name if found else None


def _own_keys(source: Step | None, back: list[str], work: _Draft) -> dict[str, Any]:
    """Return the keys of a fix that is no shared one; `back` is put back after the mending, before the proof."""
    told = " ".join(str(work.library.hazards[one].put_back) for one in back)  # type: ignore[index]
    if source is None:
        return {"restores": back, "put_back": told or None}
    keys: dict[str, Any] = {}
    for name in ("say", "how", "who", "proof"):
        value = getattr(source, name)
        keys[name] = str(value) if value else None
    keys["takes"] = str(source.takes.word) if source.takes else None
    keys["cures"] = float(source.cures) if source.cures is not None else None
    for name in ("tools", "spares", "exposes", "works_live"):
        keys[name] = [str(one) for one in getattr(source, name)]
    for name in ("live_because", "controls"):
        value = getattr(source, name)
        keys[name] = str(value) if value else None
    if back:
        keys |= {"restores": back, "put_back": str(source.put_back or told)}
    return keys


def _common_ends(work: _Draft) -> None:
    """Add the ends that every draft needs, where something leads to them."""
    text = str([keys for keys, _ in work.steps.values()])
    if f"'{DESK}'" in text:
        keys = {
            "escalate": "Hand the case over: what was found fits none of the known causes, or could not be done",
            "bring": ["what was answered and read at each step"],
            "leave": "Leave the chair switched off and tagged, and whatever was parted as it is",
        }
        work.add(DESK, keys, [f"{TO_FINISH}: whom to hand it to."])
    if f"'{NOTHING}'" in text:
        leave = "Put back whatever was isolated before the chair is used"
        done: dict[str, Any] = {"done": "No fault found", "leave": leave, "share": work.nothing}
        work.add(NOTHING, done, [f"{TO_FINISH}: the proof, if the chair goes back into service."])
