"""Every check of an evidence table tells at least two causes apart.

A check that any two causes may answer alike costs minutes and teaches nothing: after it, every
cause is as possible as before.

To mend it, say under `shows` what the causes make it show, or delete the check.
"""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity
from kb_tools.model.tables import shown_by

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.model.tables import Shown
    from kb_tools.rules.contract import Subject

ID = "check-dead"
SEVERITY = Severity.WARNING
SUMMARY = "Every check of an evidence table tells at least two causes apart."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each check that tells no two causes apart."""
    for table in subject.library.tables.values():
        shown = shown_by(table, subject.library.doubts)
        if len(shown.causes) > 1:
            for name in shown.checks:
                if name in shown.outcomes and _is_dead(name, shown):
                    yield Finding(
                        name.place,
                        ID,
                        SEVERITY,
                        f"The check `{name}` tells no two causes apart",
                        "Say under `shows` what the causes make it show, or delete it",
                    )


def _is_dead(name: str, shown: Shown) -> bool:
    """Tell whether every two causes may answer a check alike; no when that cannot be judged."""
    cells = [shown.cells.get((cause, name)) for cause in shown.causes]
    known = {cell for cell in cells if cell is not None}
    if len(known) < len(set(cells)):
        return False
    return not any(one.isdisjoint(other) for one, other in combinations(known, 2))
