"""An end that may be reached with something isolated says how to leave it.

Whoever finds the chair next must know that it is unplugged, and why. An `escalate`, a `done` or a
fix that some path reaches with a hazard isolated, and that does not put it back itself
(`restores`), says in `leave` how the chair is left: unplugged and tagged, out of use.

The finding prints one shortest path on which the hazard is still isolated at the end.

To mend it, add `leave`; or let the fix or `done` restore the hazard.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity
from kb_tools.model.entities import ENDS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.rules.contract import Subject

ID = "end-stated"
SEVERITY = Severity.ERROR
SUMMARY = "An end that may be reached with something isolated says how to leave it."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each end that leaves something isolated without a word."""
    isolation, doubts = subject.isolation, subject.library.doubts
    for key, state in isolation.before.items():
        node = subject.graph.nodes[key]
        step = node.step
        if step.kind not in ENDS or step.in_doubt or (step.leave or "").strip():
            continue
        if not state.maybe and not step.isolates:
            continue
        if doubts.key(step.place, "leave") or doubts.key(step.place, "restores"):
            continue
        left = isolation.names(isolation.maybe_after(key))
        if not left:
            continue
        named = ", ".join(f"`{hazard}`" for hazard in left)
        yield Finding(
            step.place,
            ID,
            SEVERITY,
            f"The end `{node.name}` may be reached with {named} isolated and does not say how to leave it",
            "Add `leave`: how the chair is left, and what is tagged",
            isolation.path_left(key, left[0]),
        )
