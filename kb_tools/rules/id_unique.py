"""An id names one thing only.

The id of a tree, a table or a map is its file's name without the ending, so two trees of one name
in two areas would be one: links to it, cases and the address of its page could mean either. The
same goes for a shared file that is there twice (`hazards.yml` beside `hazards.yaml`), and for two
points of one map.

Steps, hazards, proofs and the like are keys of their file; one that stands there twice is found by
the rule `key-repeated`.

To mend it, rename one of the two, and whatever names it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity
from kb_tools.rules._relay import found_while_reading

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.model.values import Word
    from kb_tools.rules.contract import Subject

ID = "id-unique"
SEVERITY = Severity.ERROR
SUMMARY = "An id names one thing only."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each file, and each point of a map, whose id is taken."""
    yield from found_while_reading(subject, ID)
    for equipment_map in subject.library.maps.values():
        seen: dict[str, Word] = {}
        for point in equipment_map.points:
            if not point.id:  # missing: `key-required`
                continue
            if point.id in seen:
                yield Finding(
                    point.id.place,
                    ID,
                    SEVERITY,
                    f"The point `{point.id}` stands here a second time",
                    "Give one of the two points an id of its own",
                    notes=((seen[point.id].place, "the first stands here"),),
                )
            else:
                seen[point.id] = point.id
