"""The range of believable readings holds every limit of the measurement.

`plausible: [least, most]` says which readings are believed: outside of it the walk doubts the
reading itself (wrong range on the meter, wrong socket) and asks to measure again. A limit outside
of that range would draw a line through readings that nobody believes, so one of the two is wrong.

To mend it, correct the limit or widen the range. The lesser number comes first.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity
from kb_tools.rules._measures import measures

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.rules.contract import Subject

ID = "plausible-range"
SEVERITY = Severity.ERROR
SUMMARY = "The range of believable readings holds every limit of the measurement."

_TWO = 2


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each range that is none, and each limit outside of its range."""
    for measure in measures(subject.library):
        if measure.plausible is None or len(measure.plausible) != _TWO:
            continue
        least, most = measure.plausible
        if least >= most:
            yield Finding(
                least.place,
                ID,
                SEVERITY,
                f"No reading is between {least.word} and {most.word}",
                "Write the lesser number first",
            )
            continue
        for edge in measure.edges():
            if not least <= edge <= most:
                yield Finding(
                    edge.place,
                    ID,
                    SEVERITY,
                    f"The limit {edge.word} lies outside the believable readings, {least.word} to {most.word}",
                    "Correct the limit, or widen `plausible`",
                    notes=((least.place, "the believable readings"),),
                )
