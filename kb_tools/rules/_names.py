"""What to say of a name that names nothing: which known name was meant."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.model.records import nearest

if TYPE_CHECKING:
    from collections.abc import Iterable

_MANY = 12
"""A list of more names than this helps nobody."""


def meant(name: str, known: Iterable[str], plural: str) -> str:
    """Return the remedy for an unknown `name`: the nearest of the `known` names, or all of them.

    Args:
        name: The name that names nothing.
        known: The names that there are.
        plural: What they are, in the plural: `steps`.

    """
    names = list(known)
    close = nearest(name, names)
    if close:
        return f"Did you mean `{close}`?"
    if not names:
        return f"There are no {plural} to name: add `{name}`, or delete this"
    listed = ", ".join(f"`{known_name}`" for known_name in names[:_MANY])
    return f"Add `{name}`, or name one of the {plural}: {listed}{', ...' if len(names) > _MANY else ''}"
