"""A step for anyone asks nothing dangerous and is worded for the phone.

The support desk asks a user or a carer only the steps with `who: anyone`. Such a step exposes no
hazard, isolates and restores none (not on its answers either), works live on nothing and needs no
tool; and it has `say`, the plain words in which the desk puts it.

To mend it, leave the step to a technician (delete `who: anyone`), or split off what anyone can
do: looking, listening, switching off at the chair's own button.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity
from kb_tools.rules._places import bodies

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.model.entities import Answer, Band, Step
    from kb_tools.rules.contract import Subject

ID = "anyone-step-safe"
SEVERITY = Severity.ERROR
SUMMARY = "A step for anyone is harmless, needs no tool, and has the words to say it."

_IN_STEP = {
    "exposes": "exposes a hazard",
    "works_live": "works live on a hazard",
    "tools": "needs a tool",
}
_ON_WAY = {"isolates": "isolates a hazard", "restores": "puts a hazard's power back"}


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each thing that a step for anyone must not ask, and for missing words."""
    for step in bodies(subject.library):
        if step.for_anyone:
            yield from _dangers(step)
    for tree in subject.library.trees.values():
        for step in tree.steps.values():
            if not step.for_anyone or step.in_doubt or (step.say or "").strip():
                continue
            if subject.library.doubts.key(step.place, "say"):
                continue
            place = step.who.place if step.who and step.who.file == tree.file else step.place
            yield Finding(
                place,
                ID,
                SEVERITY,
                "This step is for anyone, and nothing says how to put it on the phone",
                "Add `say`: the support desk's wording, in plain words",
            )


def _dangers(step: Step) -> Iterator[Finding]:
    """Yield a finding for each kind of danger, on the step and on each of its answers."""
    who = step.who
    if who is None:
        return
    found = [(word, what) for key, what in _IN_STEP.items() for word in getattr(step, key)[:1]]
    owners: tuple[Step | Answer | Band, ...] = (step, *(step.answers or ()), *(step.bands or ()))
    for owner in owners:
        if owner.isolates or owner.restores:
            found += [(word, what) for key, what in _ON_WAY.items() for word in getattr(owner, key)[:1]]
    for word, what in found:
        yield Finding(
            word.place if word.file == who.file else who.place,
            ID,
            SEVERITY,
            f"This is for anyone, yet it {what}: `{word}`",
            "Delete `who: anyone`, or split off what anyone can safely do",
        )
