"""Live work is for technicians, and says why it must be live and what keeps the person safe.

Some readings can only be taken with the hazard present: a voltage under power, a wheel that
turns. A step with `works_live` is the exception to isolating first, so it has to earn it: it is
not for `anyone`, `live_because` says why there is no other way, and `controls` says what keeps
the person safe meanwhile (insulated probes, one hand, rings off).

To mend it, add what is missing, or isolate the hazard and do the work dead.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Place, Severity
from kb_tools.rules._places import bodies

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.model.doubts import Doubts
    from kb_tools.model.entities import Step, TableCheck
    from kb_tools.rules.contract import Subject

ID = "live-controlled"
SEVERITY = Severity.ERROR
SUMMARY = "Live work is for technicians and says why and how."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each thing that a step, shared body or table's check leaves unsaid."""
    library = subject.library
    for step in bodies(library):
        if step.works_live:
            yield from _judge(step, library.doubts)
    for table in library.tables.values():
        for row in table.checks.values():
            if row.works_live:
                yield from _judge(row, library.doubts)


def _judge(step: Step | TableCheck, doubts: Doubts) -> Iterator[Finding]:
    place = step.works_live[0].place
    hazards = ", ".join(f"`{hazard}`" for hazard in step.works_live)
    if step.who == "anyone":
        yield _finding(
            step.who.place,
            f"Work with {hazards} present is for technicians, not for anyone",
            "Delete `who: anyone`, or isolate the hazard first",
        )
    if not (step.live_because or "").strip() and not doubts.key(step.place, "live_because"):
        yield _finding(
            place,
            f"Nothing says why this is done with {hazards} present",
            "Add `live_because`: why it cannot be done with the hazard isolated",
        )
    if not (step.controls or "").strip() and not doubts.key(step.place, "controls"):
        yield _finding(
            place,
            f"Nothing says what keeps a person safe while {hazards} is present",
            "Add `controls`: what keeps the person safe meanwhile",
        )


def _finding(place: Place, message: str, remedy: str) -> Finding:
    return Finding(place, ID, SEVERITY, message, remedy)
