"""Every case ends where it says.

A case is a run with a known end: a fault that was found, or one thought out. It is replayed by
what it says under `given`. At a check that is the answer, at a measurement the reading (`25.1 V`,
or a number in the step's unit) or the name of a band. A `do` counts as done unless the case says
`cannot`. A fix is the end, unless the case says `not cured` there and so goes on. Links are
followed by themselves; a step of another tree is written `tree/step`.

This rule reports a case that ends elsewhere (with the path it takes, and the step after whose answer
the end was out of reach), that lacks an answer for a
step which it passes, that gives an answer which the step does not have, and one that answers a
step which it never passes.

To mend it, look at the path: either the tree sends a known fault the wrong way, or the case is
out of date.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity
from kb_tools.model.cases import replay

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.rules.contract import Subject

ID = "case-ends"
SEVERITY = Severity.ERROR
SUMMARY = "Every case, replayed, ends where it says."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each case that does not run to the end it names."""
    library = subject.library
    for tree in library.trees.values():
        for case in tree.cases:
            for trouble in replay(library, subject.graph, tree, case).troubles:
                if trouble.follows:
                    continue
                yield Finding(trouble.place, ID, SEVERITY, trouble.message, trouble.remedy, trouble.path, trouble.notes)
