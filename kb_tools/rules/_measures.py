"""Everything that is measured in a library: steps of trees, shared bodies, checks of tables."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.findings import Place
    from kb_tools.model.entities import Band, Library, Step, TableBand, TableCheck
    from kb_tools.model.values import Number, Word


@dataclass(slots=True)
class Measure:
    """A measurement, wherever it is kept."""

    place: Place
    unit: Word | None
    source: Word | None
    plausible: tuple[Number, ...] | None
    bands: tuple[Band | TableBand, ...]
    """Empty when one of them could not be read: nothing can be said of the rest."""

    def edges(self) -> Iterator[Number]:
        """Yield the limits of the bands, in the order in which they are written."""
        for band in self.bands:
            for edge in (band.start, band.below):
                if edge is not None:
                    yield edge


def measures(library: Library) -> Iterator[Measure]:
    """Yield every measurement of a library."""
    for tree in library.trees.values():
        for step in tree.steps.values():
            if step.kind == "measure":
                yield _measure(step, library)
    for step in library.checks.values():
        if step.kind == "measure":
            yield _measure(step, library)
    for table in library.tables.values():
        for check in table.checks.values():
            if check.measure is not None:
                yield _measure(check, library)


def _measure(item: Step | TableCheck, library: Library) -> Measure:
    unread = library.doubts.key(item.place, "bands")
    bands = () if unread else item.bands or ()
    return Measure(item.place, item.unit, item.source, item.plausible, bands)
