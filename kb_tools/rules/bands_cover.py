"""The bands of a measurement hold every number, each in one band.

A band goes from `from`, which belongs to it, to `below`, which does not; the first band has no
`from` and the last no `below`. Together they cover the whole line of numbers: a reading that falls
into a gap would lead nowhere, and one that falls into two bands would lead wherever the program
happens to look first. Believable or not is another question, answered by `plausible`.

To mend it, let each band start where the one before it ends:

    bands:
      - {below: 18, answer: No supply, to: unplug}
      - {from: 18, below: 30, answer: Supplied, to: swap-box}
      - {from: 30, answer: Too much, to: desk}
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from kb_tools.findings import Finding, Severity
from kb_tools.rules._measures import measures

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from kb_tools.findings import Place
    from kb_tools.model.entities import Band, TableBand
    from kb_tools.rules.contract import Subject

ID = "bands-cover"
SEVERITY = Severity.ERROR
SUMMARY = "The bands of a measurement hold every number, each in one band."

_REMEDY = "Let each band start where the one before it ends"


class _Span(NamedTuple):
    """A band as an interval: `low` belongs to it, `high` does not."""

    low: float
    high: float
    band: Band | TableBand

    @property
    def name(self) -> str:
        return f"`{self.band.answer}`"


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each gap, each overlap, and each band that holds no number."""
    for measure in measures(subject.library):
        if measure.bands:
            yield from _problems(measure.bands)


def _problems(bands: Iterable[Band | TableBand]) -> Iterator[Finding]:
    spans = []
    for band in bands:
        low = -math.inf if band.start is None else float(band.start)
        high = math.inf if band.below is None else float(band.below)
        if low < high:
            spans.append(_Span(low, high, band))
        else:
            yield _finding(
                band.start.place if band.start is not None else band.place,
                f"The band `{band.answer}` holds no number: from {_shown(low)} to below {_shown(high)}",
                "Write the lesser number under `from`",
            )
    spans.sort(key=lambda span: span[:2])
    if not spans:
        return
    last = spans[0]
    if last.low > -math.inf:
        yield _gap(last, f"below {_shown(last.low)}")
    for span in spans[1:]:
        if span.low > last.high:
            between = f"from {_shown(last.high)} to below {_shown(span.low)}"
            yield _gap(span, f"{between}, between {last.name} and {span.name}")
        elif span.low < last.high:
            yield _overlap(last, span)
        if span.high > last.high:
            last = span
    if last.high < math.inf:
        yield _gap(last, f"of {_shown(last.high)} or more")


def _gap(span: _Span, readings: str) -> Finding:
    return _finding(_place(span), f"No band holds readings {readings}", _REMEDY)


def _overlap(first: _Span, second: _Span) -> Finding:
    high = min(first.high, second.high)
    readings = _range(second.low, high)
    return _finding(
        _place(second),
        f"{readings} belong to two bands, {first.name} and {second.name}",
        _REMEDY,
        ((first.band.place, f"the band {first.name}"),),
    )


def _range(low: float, high: float) -> str:
    if low == -math.inf and high == math.inf:
        return "All readings"
    if low == -math.inf:
        return f"Readings below {_shown(high)}"
    if high == math.inf:
        return f"Readings of {_shown(low)} or more"
    return f"Readings from {_shown(low)} to below {_shown(high)}"


def _place(span: _Span) -> Place:
    """Return the edge that is to be moved, or the band where it has none."""
    band = span.band
    edge = band.start if band.start is not None else band.below
    return band.place if edge is None else edge.place


def _shown(number: float) -> str:
    return repr(number).removesuffix(".0")


def _finding(place: Place, message: str, remedy: str, notes: tuple[tuple[Place, str], ...] = ()) -> Finding:
    return Finding(place, ID, SEVERITY, message, remedy, notes=notes)
