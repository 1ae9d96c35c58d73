"""Any two causes of an evidence table can be told apart by some check.

Two causes can be told apart when some check has no answer that both may show. The finding names
each group of causes of which no check tells any two apart: whatever order the checks are made in,
a technician is left with the whole group, and can only try one mending after the other.

That may be as good as it gets. Otherwise, to mend it, add a check that they answer differently, or
make one cause of them if they are mended in the same way.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity
from kb_tools.model.tables import shown_by

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.rules.contract import Subject

ID = "cause-separable"
SEVERITY = Severity.WARNING
SUMMARY = "Any two causes of an evidence table can be told apart by some check."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each group of causes that no check can tell apart."""
    for table in subject.library.tables.values():
        if not table.checks:
            continue
        for group in shown_by(table, subject.library.doubts).groups():
            first, *rest = group
            named = ", ".join(f"`{cause}`" for cause in group)
            yield Finding(
                first.place,
                ID,
                SEVERITY,
                f"No check can tell these causes apart: {named}",
                "Add a check that they answer differently, or make one cause of them",
                notes=tuple((cause.place, f"`{cause}` stands here") for cause in rest),
            )
