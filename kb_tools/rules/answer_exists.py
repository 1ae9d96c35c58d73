"""An evidence table shows only causes, checks and answers that it has.

Under `shows`, a table says of each cause what it makes each check show. Every cause there stands
under `causes`, every check under `checks`, and every answer among the answers, or the bands, of
that check; an empty list shows nothing. Each check says what it asks: `check` with `answers`, or
`measure` with `unit` and `bands`. A table without causes or without checks has nothing to show.

To mend it, correct the name, or add what it names. What a row leaves out means that any answer may
come up.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity
from kb_tools.model.values import folded
from kb_tools.rules._names import meant

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.findings import Place
    from kb_tools.model.doubts import Doubts
    from kb_tools.model.entities import Table, TableCheck
    from kb_tools.model.values import Word
    from kb_tools.rules.contract import Subject

ID = "answer-exists"
SEVERITY = Severity.ERROR
SUMMARY = "An evidence table shows only causes, checks and answers that it has."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each name under `shows` that is not declared, and each unasked check."""
    doubts = subject.library.doubts
    for table in subject.library.tables.values():
        yield from _empty(table, doubts)
        for name, row in table.checks.items():
            yield from _asked(name, row, doubts)
        yield from _shown(table, doubts)


def _empty(table: Table, doubts: Doubts) -> Iterator[Finding]:
    """Yield a finding for a table that has nothing to ask, or nothing to find."""
    for key, one in (("causes", "a cause"), ("checks", "a check")):
        if not getattr(table, key) and not doubts.key(table.place, key):
            yield _finding(table.place, f"The table has no {key}", f"Add {one} below `{key}`")


def _asked(name: Word, row: TableCheck, doubts: Doubts) -> Iterator[Finding]:
    """Yield what a check lacks to be asked at all."""
    if any(doubts.key(row.place, key) for key in ("check", "measure", "answers", "bands")):
        return
    if (row.check is None) == (row.measure is None):
        said = "neither `check` nor `measure`" if row.check is None else "`check` and `measure`"
        yield _finding(name.place, f"`{name}` has {said}", "Give it one of the two")
    elif row.check is not None and not row.answers:
        yield _finding(name.place, f"The check `{name}` has no answers", "Add `answers`: a list of what may be seen")
    elif row.measure is not None and not row.bands:
        remedy = "Add `bands`: ranges of readings, each with its answer"
        yield _finding(name.place, f"The measurement `{name}` has no bands", remedy)


def _shown(table: Table, doubts: Doubts) -> Iterator[Finding]:
    """Yield a finding for each name under `shows` that is not declared."""
    for cause, row in table.shows.items():
        if cause not in table.causes and not _lost("causes", cause, table, doubts):
            remedy = meant(cause, table.causes, "causes")
            yield _finding(cause.place, f"The table has no cause `{cause}`", remedy)
        for name, answers in row.items():
            asked = table.checks.get(name)
            if asked is None:
                if not _lost("checks", name, table, doubts):
                    remedy = meant(name, table.checks, "checks")
                    yield _finding(name.place, f"The table has no check `{name}`", remedy)
            elif asked.outcomes:
                yield from _answers(name, asked, answers, doubts)


def _answers(name: Word, asked: TableCheck, answers: tuple[Word, ...], doubts: Doubts) -> Iterator[Finding]:
    if doubts.key(asked.place, "answers") or doubts.key(asked.place, "bands"):
        return
    if not answers:
        message = f"This says that the check `{name}` shows no answer at all"
        yield _finding(name.place, message, f"Name an answer, or leave `{name}` out: then it may show any")
    known = {folded(answer) for answer in asked.outcomes}
    for answer in answers:
        if folded(answer) not in known:
            remedy = meant(answer, asked.outcomes, "answers")
            yield _finding(answer.place, f"The check `{name}` has no answer `{answer}`", remedy)


def _lost(key: str, name: Word, table: Table, doubts: Doubts) -> bool:
    """Tell whether a name may be declared in what could not be read."""
    return name in doubts.ids or (not getattr(table, key) and doubts.key(table.place, key))


def _finding(place: Place, message: str, remedy: str) -> Finding:
    return Finding(place, ID, SEVERITY, message, remedy)
