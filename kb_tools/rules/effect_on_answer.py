"""An effect stands on the way on that it holds for, not on a step with several ways on.

`isolates`, `confirms` and `restores` say what is different afterwards. Where a check or a
measurement leads on in several ways, the effect belongs to the answer or band that it holds for:
"is the connector unplugged?" isolates the battery when the answer is Yes, not when it is No. On a
whole step an effect is right only where there is one way on: the `then` of a `do` (its `cannot`
never has the effect), the `not_cured` way of a fix, a link.

To mend it, move the key to each answer or band after which it really holds.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity
from kb_tools.rules._places import bodies

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.rules.contract import Subject

ID = "effect-on-answer"
SEVERITY = Severity.ERROR
SUMMARY = "An effect stands on the answer that it holds for, not on a step with several ways on."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each effect on a whole step that leads on in several ways."""
    for step in bodies(subject.library):
        if not (step.isolates or step.confirms or step.restores):
            continue
        if len(step.answers or step.bands or step.shared_answers) <= 1:
            continue
        ways = "band" if step.kind == "measure" else "answer"
        for key in ("isolates", "confirms", "restores"):
            for hazard in getattr(step, key)[:1]:
                yield Finding(
                    hazard.place,
                    ID,
                    SEVERITY,
                    f"`{key}` stands on a whole step that leads on in several ways",
                    f"Move it to each {ways} after which it holds",
                )
