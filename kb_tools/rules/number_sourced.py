"""A measurement that draws a limit says where the limit comes from.

A technician who reads 18.1 V against a limit of 18 needs to know how far to trust the 18: the
maker's manual of this very chair, a published standard, or what is common practice. So a `measure`
whose bands have an edge needs a `source`.

To mend it, add `source:` with the published source and where in it the figure stands, or
`source: common practice` where there is none. The maker's own figure comes first.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity
from kb_tools.rules._measures import measures

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.rules.contract import Subject

ID = "number-sourced"
SEVERITY = Severity.ERROR
SUMMARY = "A measurement that draws a limit says where the limit comes from."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each measurement with a limit and no source."""
    for measure in measures(subject.library):
        edge = next(measure.edges(), None)
        if edge is None or measure.source is not None:
            continue
        if not subject.library.doubts.key(measure.place, "source"):
            yield Finding(
                measure.place,
                ID,
                SEVERITY,
                f"Nothing says where the limit of {edge.word} comes from",
                "Add `source:`, for instance `source: common practice`",
                notes=((edge.place, "the limit"),),
            )
