"""What was written but could not be read: nothing may follow from its seeming absence.

A finding that only follows from another is noise: whoever misspells `answers` is told so, and not
besides that the step has no answers. Rules that look for what is missing ask here first.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from kb_tools.findings import Place


@dataclass(slots=True)
class Doubts:
    """The keys, ids and shelves of a library of which something could not be read."""

    keys: set[tuple[Place, str]] = field(default_factory=set)
    """(place of an entity, name of its key): something under this key brought a finding."""
    ids: set[str] = field(default_factory=set)
    """Ids that are declared somewhere with a body that could not be read."""
    shelves: set[str] = field(default_factory=set)
    """Kinds of shared item (`hazards`, `tools`, ...) whose file, or whose group of keys in it,
    could not be read at all: any id may be among them."""

    def key(self, place: Place, name: str) -> bool:
        """Tell whether something under the key `name` of the entity at `place` could not be read."""
        return (place, name) in self.keys

    def spread(self, shared: Place, step: Place) -> None:
        """Doubt of a step's keys what is in doubt of the shared body that it uses."""
        self.keys.update({(step, name) for place, name in self.keys if place == shared})

    def item(self, shelf: str, name: str) -> bool:
        """Tell whether `shelf` may hold an item `name` all the same."""
        return shelf in self.shelves or name in self.ids
