"""Every fix has a proof, and a way on for when the proof fails.

A chair goes back to its user only after the check that shows that it stops where it should. So
each fix names the `proof` that is made after it, and says in `not_cured` where to go when the
fault is still there: there is always a next step, if only the maker's service desk.

To mend it, add `proof` with the id of a proof in `trees/shared/proofs.yml`, and `not_cured` with
the id of the next step. For a shared fix, the proof belongs in `fixes.yml`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.rules.contract import Subject

ID = "fix-proven"
SEVERITY = Severity.ERROR
SUMMARY = "Every fix has a proof and a way on for when it did not cure."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each fix without proof, and for each without `not_cured`."""
    library, doubts = subject.library, subject.library.doubts
    for name, step in library.fixes.items():
        if step.kind == "fix" and not step.proof and not doubts.key(step.place, "proof"):
            yield Finding(
                step.place,
                ID,
                SEVERITY,
                f"The shared fix `{name}` has no proof",
                "Add `proof`: the check that returns the chair to service",
            )
    for tree in library.trees.values():
        for name, step in tree.steps.items():
            if step.kind != "fix":
                continue
            own = step.use is None and not step.in_doubt
            if own and not step.proof and not doubts.key(step.place, "proof"):
                yield Finding(
                    step.place,
                    ID,
                    SEVERITY,
                    f"The fix `{name}` has no proof",
                    "Add `proof`: the check that returns the chair to service",
                )
            if step.not_cured or step.in_doubt:
                continue
            if not doubts.key(step.place, "not_cured"):
                yield Finding(
                    step.place,
                    ID,
                    SEVERITY,
                    f"The fix `{name}` does not say where to go when the fault is still there",
                    "Add `not_cured`: the next step",
                )
