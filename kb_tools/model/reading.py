"""Readings as the walk takes them: a number in the step's unit, or a text such as `25.1 V` or `25,1`.

The twin of the browser's `reading.js`: it knows the units that a compiled step offers and
nothing of pint. What an author writes in a case is read by `units.read_reading`.
"""

from __future__ import annotations

import math
import re
from decimal import ROUND_HALF_UP, Context, Decimal
from typing import TYPE_CHECKING, NamedTuple

from kb_tools.model.code import WalkProblem

if TYPE_CHECKING:
    from kb_tools.model.compiled import CompiledStep

SPACE = "\\t\\n\\v\\f\\r \u00a0\u1680\u2000-\u200a\u2028\u2029\u202f\u205f\u3000\ufeff"
"""What counts as white space in JavaScript's regular expressions, for a set of characters."""
_READING = re.compile(
    rf"([+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]{{1,3}})?)[{SPACE}]*"
    rf"((?![0-9.,_{SPACE}])[^\n\r\u2028\u2029]*|)"
)
_GROUPED = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_LONGEST = 60
_ROUNDED = Context(prec=12, rounding=ROUND_HALF_UP)


class Reading(NamedTuple):
    """A reading and where it falls."""

    value: float
    """In the step's unit."""
    pick: int
    """Which of the step's bands, from 0."""
    answer: str
    """The band's name."""


def reading(step: CompiledStep, given: str | float) -> Reading:
    """Return what a reading means at a step.

    Raises:
        WalkProblem: `not-a-number`, `unit-unknown`, or `out-of-range` where the reading is doubted.

    """
    value = _quantity(step, given) if isinstance(given, str) else float(given)
    if not math.isfinite(value):
        raise WalkProblem("not-a-number", "This is no number.")
    least, most = step.get("plausible") or (-math.inf, math.inf)
    for pick, way in enumerate(step["ways"]):
        if least <= value <= most and way.get("from", -math.inf) <= value < way.get("below", math.inf):
            return Reading(value, pick, way["label"])
    unit = "" if step.get("unit") == "1" else f" {step.get('unit')}"
    text = f"{value}{unit} cannot be right: between {least} and {most}{unit} is possible. Measure again."
    raise WalkProblem("out-of-range", text)


def _quantity(step: CompiledStep, text: str) -> float:
    """Return the value of a text in the step's unit."""
    found = _READING.fullmatch(trimmed(text).replace("\u2212", "-", 1))
    if not found or len(text) > _LONGEST:
        raise WalkProblem("not-a-number", "This is no number.")
    if _GROUPED.fullmatch(found[1]):
        raise WalkProblem("not-a-number", f"{found[1]} can be read in two ways.")
    number = float(found[1].replace(",", "."))
    named = re.sub("[\u03a9\u2126]", "ohm", found[2])
    named = re.sub("[\u00b5\u03bc]", "u", named).replace("\u00b0", "deg", 1)
    named = trimmed(re.sub(f"[{SPACE}\u00b7]+", " ", named))
    units = step.get("units") or []
    if named:
        unit = next((one for one in units if one[0] == named), None)
        if unit is None or named == "1":
            raise WalkProblem("unit-unknown", f"{named} is no unit of this reading.")
    else:
        unit = units[0] if units else None
    if unit is None or (unit[1], unit[2]) == (1, 0) or not math.isfinite(number):
        return number
    return float(_ROUNDED.create_decimal(Decimal(number * unit[1] + unit[2])))


def trimmed(text: str) -> str:
    """Return `text` without the white space around it, as JavaScript's `trim`."""
    return re.sub(f"^[{SPACE}]+|[{SPACE}]+\\Z", "", text)


def number_text(number: float) -> str:
    """Return a number as JavaScript writes it: the shortest digits that read back alike.

    ECMA-262, Number::toString: plain up to 21 digits before the point and 6 noughts behind it.
    """
    sign, digits, exponent = Decimal(repr(float(number))).normalize().as_tuple()
    if not isinstance(exponent, int) or digits == (0,):
        return "0"
    figures = "".join(map(str, digits))
    point = len(figures) + exponent
    if 0 < point <= 21:  # noqa: PLR2004 - of the standard
        whole = figures[:point].ljust(point, "0")
        text = whole + (f".{figures[point:]}" if point < len(figures) else "")
    elif -6 < point <= 0:  # noqa: PLR2004 - of the standard
        text = "0." + "0" * -point + figures
    else:
        fraction = f".{figures[1:]}" if len(figures) > 1 else ""
        text = f"{figures[0]}{fraction}e{point - 1:+d}"
    return "-" * sign + text
