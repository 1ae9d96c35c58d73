"""Every answer, band, `then`, `cannot` and `not_cured` leads to a step of the same tree.

A way that leads to a step which is not there would leave a technician standing at the chair. The
finding names the nearest step that there is.

To mend it, correct the id, or write the step. To go on in another tree, lead the way to a step with
`link`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity
from kb_tools.rules._names import meant

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from kb_tools.model.graph import Way
    from kb_tools.rules.contract import Subject

ID = "target-exists"
SEVERITY = Severity.ERROR
SUMMARY = "Every way on leads to a step that is there."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each way within a tree whose target is not there."""
    for node in subject.graph.nodes.values():
        for way in node.ways:
            if way.target is None and way.named and way.kind != "link":
                yield _finding(way, node.tree.steps.keys(), subject)


def _finding(way: Way, steps: Iterable[str], subject: Subject) -> Finding:
    if way.named in subject.library.trees:
        remedy = f"`{way.named}` is a tree: lead to a step that has `link: {way.named}`"
    else:
        remedy = meant(way.named, steps, "steps")
    return Finding(way.place, ID, SEVERITY, f"There is no step `{way.named}` in this tree", remedy)
