"""Figures and dates in words, alike on every page."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import date

MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


def minutes(value: float) -> str:
    """Return a span of time, given in minutes, as in `30 s`, `5 min` or `1 h 20 min`."""
    seconds = round(value * 60)
    if seconds < 60:  # noqa: PLR2004 - seconds of a minute
        return f"{seconds} s"
    whole = round(value)
    if whole < 60:  # noqa: PLR2004 - minutes of an hour
        return f"{whole} min"
    hours, rest = divmod(whole, 60)
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def day(value: date) -> str:
    """Return a date as in `14 October 2026`."""
    return f"{value.day} {MONTHS[value.month - 1]} {value.year}"


def counted(number: int, one: str, many: str = "") -> str:
    """Return a number with its noun, as in `1 step` or `1,200 steps`."""
    return f"{number:,} {one if number == 1 else many or f'{one}s'}"


def listed(items: list[str], last: str = "and") -> str:
    """Return a list in words, as in `a, b and c`."""
    if len(items) < 2:  # noqa: PLR2004 - a list of two has a last one
        return "".join(items)
    return f"{', '.join(items[:-1])} {last} {items[-1]}"
