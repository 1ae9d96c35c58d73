"""A step that exposes a hazard is reached only with the hazard isolated, on every path.

Somebody who works through a tree relies on it to have made the work safe before a hand goes in.
This rule proves it: over the graph of the whole library, links and `not_cured` ways included, a
step with `exposes` must be reached with that hazard isolated on **every** path, and not restored
since. Where the hazard asks for it (`confirm: true`), the isolation must have been confirmed too.
Every tree is entered with nothing isolated; a way of `cannot` isolates nothing; a fix puts back
what it `restores` before its `not_cured` way leads on.

The finding prints one shortest path on which nobody isolated the hazard, or on which it was put
back since.

To mend it, put a `do` step with `isolates` (and `confirms`) on that path, or lead the path
elsewhere.

"Proven" means proven as declared: a step that exposes a hazard and does not say so is invisible
to this rule. `hazard-undeclared` helps to find such steps.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity
from kb_tools.rules._places import seen_from

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.rules.contract import Subject

ID = "isolate-before-expose"
SEVERITY = Severity.ERROR
SUMMARY = "A step that exposes a hazard is reached only with it isolated, on every path."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each step and hazard that some path reaches unprotected."""
    isolation, hazards = subject.isolation, subject.library.hazards
    for key in isolation.before:
        node = subject.graph.nodes[key]
        for hazard in dict.fromkeys(node.step.exposes):
            if hazard not in isolation.bits:
                continue
            confirmed = hazards[hazard].confirm
            if isolation.surely_isolated(key, hazard, confirmed=confirmed):
                continue
            only_unconfirmed = isolation.surely_isolated(key, hazard, confirmed=False)
            missing = "isolated but not confirmed" if only_unconfirmed else "not isolated"
            path = isolation.path_exposed(key, hazard, confirmed=confirmed)
            remedy = f"Put a `do` step that isolates {'and confirms ' if confirmed else ''}`{hazard}`"
            if only_unconfirmed:
                remedy = f"Let the step that isolates `{hazard}` confirm it too (`confirms`)"
            place, notes = seen_from(node, hazard, f"`{hazard}` is exposed here")
            yield Finding(
                place,
                ID,
                SEVERITY,
                f"The step `{node.name}` exposes `{hazard}`, which is {missing} on this path to it",
                f"{remedy} on this path",
                path,
                notes,
            )
