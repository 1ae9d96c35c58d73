"""From an evidence table of a library to the best order of its checks, and that as JSON.

Minutes are those of checks, with isolation and putting back as `order_problem` counts them; times
that are left out are the format's assumed ones, 0 for `isolate_takes` and `restore_takes`. Shares
are weights over all causes, `no-fault` with them; a missing one is 0, all missing means all equal.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

from kb_tools.findings import LibraryError, UsageError
from kb_tools.model.entities import ASSUMED_MINUTES
from kb_tools.model.tables import shown_by
from kb_tools.model.values import folded
from kb_tools.numbers.order_problem import Check, Hazard, Problem
from kb_tools.numbers.order_walk import dumps
from kb_tools.numbers.testability import NO_FAULT

if TYPE_CHECKING:
    from kb_tools.model.entities import Library, Step, Table, TableCheck
    from kb_tools.numbers.order_problem import Result
    from kb_tools.numbers.testability import Testability


def table_named(library: Library, name: str) -> Table:
    """The table with this id, or at this path (absolute, from here, or from the library's root).

    Raises UsageError when there is none.
    """
    if name in library.tables:
        return library.tables[name]
    paths = {Path(name).resolve(), (library.root / name).resolve()}
    for table in library.tables.values():
        if (library.root / table.file).resolve() in paths:
            return table
    known = ", ".join(sorted(library.tables)) or "none"
    raise UsageError(f"{name} is no evidence table that can be read; the library's tables: {known}")


def problem_of(table: Table, library: Library) -> Problem:
    """Causes, checks, and what each cause makes each check show, for `best_order` and `testability`.

    Raises LibraryError when the table does not say these things; `kb check` tells more then.
    """
    if not table.causes:
        raise LibraryError(f"{table.place}: the table `{table.id}` has no causes, so there is nothing to order")
    shown = shown_by(table, library.doubts)
    checks = tuple(_check(str(name), row) for name, row in table.checks.items())
    rows = []
    for cause in table.causes:
        if not shown.is_sure(cause):
            raise LibraryError(
                f"{cause.place}: what the cause `{cause}` shows cannot be told; run `kb check` and mend the table first"
            )
        rows.append(tuple(_mask(check, shown.cells[str(cause), check.id]) for check in checks))
    for (name, row), check in zip(table.checks.items(), checks, strict=True):
        if both := sorted(check.exposes & check.needs):
            raise LibraryError(
                f"{name.place}: the check `{name}` exposes `{both[0]}` and needs its power; it can only do one of them"
            )
        if unknown := next((hazard for hazard in row.exposes if hazard not in library.hazards), None):
            raise LibraryError(f"{unknown.place}: there is no hazard `{unknown}`; add it to trees/shared/hazards.yml")
    return Problem(
        causes=tuple(map(str, table.causes)),
        weights=tuple(float(row.share or 0) for row in table.causes.values()),
        checks=checks,
        shows=tuple(rows),
        hazards=_hazards(checks, library),
        fix_minutes=tuple(fix_minutes(table, cause, library) for cause in table.causes),
    )


def fix_minutes(table: Table, cause: str, library: Library) -> float:
    """Minutes to try the fix of a cause and prove it; 0 for `no-fault`; assumed where no fix is named."""
    if cause == NO_FAULT:
        return 0.0
    fix = _fix(table, cause, library)
    if fix is None:
        return ASSUMED_MINUTES["fix"]
    proof = library.proofs.get(fix.proof) if fix.proof else None
    return fix.minutes + (proof.minutes if proof else 0.0)


def _fix(table: Table, cause: str, library: Library) -> Step | None:
    """The step that mends a cause: one of the table's tree, else a shared fix."""
    named = next(row.fix for name, row in table.causes.items() if name == cause)
    if named is None:
        return None
    tree = library.trees.get(table.tree) if table.tree else None
    return tree.steps[named] if tree and named in tree.steps else library.fixes.get(named)


def _check(name: str, row: TableCheck) -> Check:
    answers = {folded(answer): str(answer) for answer in reversed(row.outcomes)}
    named = tuple(reversed(answers.values()))
    needs = frozenset(map(str, (*row.needs, *row.works_live)))
    return Check(name, row.minutes, named, frozenset(map(str, row.exposes)), needs)


def _mask(check: Check, shown: frozenset[str]) -> int:
    return sum(1 << a for a, answer in enumerate(check.answers) if folded(answer) in shown)


def _hazards(checks: tuple[Check, ...], library: Library) -> tuple[Hazard, ...]:
    """The hazards that the checks expose, with the minutes of one stay."""
    exposed = frozenset[str]().union(*(check.exposes for check in checks))
    stays = []
    for name, hazard in library.hazards.items():
        if name in exposed:
            times = (hazard.isolate_takes, hazard.restore_takes)
            stays.append(Hazard(str(name), sum(time.minutes for time in times if time)))
    return tuple(stays)


def order_json(table: str, result: Result, sight: Testability) -> str:
    """The best order as one JSON object on one line, with the bound and the testability figures.

    Keys: table, expected_minutes, lower_bound, exact, groups, detected, isolated, order. Written by
    hand around the order, because an order may be deeper than the json module can go.
    """
    figures = json.dumps(
        {
            "table": table,
            "expected_minutes": result.expected_minutes,
            "lower_bound": result.lower_bound,
            "exact": result.exact,
            "groups": [list(group) for group in result.groups],
            "detected": sight.detected,
            "isolated": {str(most): share for most, share in sight.isolated.items()},
        },
        ensure_ascii=False,
    )
    return f'{figures[:-1]}, "order": {dumps(result.order)}}}'
