"""Every hazard that is exposed or worked live has a caution.

The site shows a hazard's caution by itself before each step that exposes the hazard or works live
on it, and asks for it to be acknowledged. Without one, the step would come up without a word.

To mend it, add a caution to `trees/shared/cautions.yml` with `hazard:` and the hazard's id, a
signal word, what the danger is, what it can do and how to avoid it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity
from kb_tools.model.records import nearest
from kb_tools.rules._places import bodies

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.model.entities import Library
    from kb_tools.model.values import Word
    from kb_tools.rules.contract import Subject

ID = "caution-shown"
SEVERITY = Severity.ERROR
SUMMARY = "Every hazard that is exposed or worked live has a caution."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each hazard that something meets and no caution warns of."""
    library = subject.library
    doubts = library.doubts
    if "cautions" in doubts.shelves:
        return
    if any(doubts.key(caution.place, "hazard") for caution in library.cautions.values()):
        return
    warned = {caution.hazard for caution in library.cautions.values() if caution.hazard}
    # A misspelt id may mean this hazard: it is a finding of its own.
    misspelt = {nearest(name, library.hazards) for name in warned if name not in library.hazards}
    met = _met(library)
    for hazard in library.hazards:
        if hazard in doubts.ids or hazard not in met:
            continue
        if hazard not in warned and not misspelt & {hazard, ""}:
            yield Finding(
                hazard.place,
                ID,
                SEVERITY,
                f"Work comes near the hazard `{hazard}`, and no caution warns of it",
                f"Add a caution with `hazard: {hazard}` to cautions.yml",
                notes=((met[hazard].place, f"`{hazard}` is met here, for one"),),
            )


def _met(library: Library) -> dict[Word, Word]:
    """Return each hazard that something exposes or works live, with the first place."""
    met: dict[Word, Word] = {}
    for step in bodies(library):
        for hazard in step.exposes + step.works_live:
            met.setdefault(hazard, hazard)
    for table in library.tables.values():
        for row in table.checks.values():
            for hazard in row.exposes + row.works_live:
                met.setdefault(hazard, hazard)
    return met
