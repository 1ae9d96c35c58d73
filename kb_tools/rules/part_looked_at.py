"""Every part of an equipment map is looked at by some step.

A part that no step ever looks at is a blind spot: when it breaks, no tree leads there. The parts
that a step looks at stand in its `looks_at`; they belong to the map that its tree names in `map`.

To mend it, add the part to the `looks_at` of the step that looks at it, write a step that does, or
take the part off the map when it cannot fail.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Place, Severity
from kb_tools.model.records import nearest

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.model.entities import EquipmentMap, Library
    from kb_tools.rules.contract import Subject

ID = "part-looked-at"
SEVERITY = Severity.WARNING
SUMMARY = "Every part of an equipment map is looked at by some step."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each part that no step looks at, or one for a map that no tree names."""
    library = subject.library
    unread = {key for _, key in library.doubts.keys}
    in_doubt = unread & {"looks_at", "map", "parts"} or not all(tree.steps for tree in library.trees.values())
    if library.broken or library.doubts.ids or in_doubt:
        return  # what could not be read may look at anything
    looked_at = _looked_at(library)
    if "" in looked_at:
        return  # the same, of the id of a map
    for name, equipment_map in library.maps.items():
        if name in looked_at:
            yield from _blind_spots(equipment_map, looked_at[name])
        else:
            yield Finding(
                Place(equipment_map.file),
                ID,
                SEVERITY,
                f"No tree names the map `{name}`, so no step looks at its parts",
                f"Add `map: {name}` to the trees about this equipment",
            )


def _looked_at(library: Library) -> dict[str, set[str]]:
    """Return, for each map that a tree names, the parts that steps of such trees look at."""
    looked_at: dict[str, set[str]] = defaultdict(set)
    for tree in library.trees.values():
        if tree.map is not None:
            # A misspelt id is a finding of its own, and means the map nearest to it.
            known = tree.map in library.maps
            parts = looked_at[tree.map if known else nearest(tree.map, library.maps)]
            for step in tree.steps.values():
                parts.update(step.looks_at)
    return looked_at


def _blind_spots(equipment_map: EquipmentMap, looked_at: set[str]) -> Iterator[Finding]:
    parts = equipment_map.parts
    meant = looked_at | {nearest(part, parts) for part in looked_at if part not in parts}
    if "" in meant:
        return  # an id that is not there, and like none of the parts, may mean any of them
    for part in parts:
        if part not in meant:
            yield Finding(
                part.place,
                ID,
                SEVERITY,
                f"No step of any tree looks at the part `{part}`",
                "Add it to the `looks_at` of the step that looks at it, or write one",
            )
