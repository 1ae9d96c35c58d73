"""Counts in messages to who keeps a library: those are English, as the findings are."""

from __future__ import annotations


def counted(number: int, one: str, many: str = "") -> str:
    """Return a number with its noun, as in `1 step` or `1,200 steps`."""
    return f"{number:,} {one if number == 1 else many or f'{one}s'}"
