"""Units of readings: which there are, which others a walk offers, and how a reading is read.

Units are pint's, with exact fractions, so that a factor is rounded once and 1 in is 25.4 mm. A
product is written with a space (`N m`): without one, pint takes `Nm` for a measure of yarn.
Capital and small letters differ, as in mV and MV.

pint and its registry cost about half a second; both wait until the first unit is looked up.
"""

from __future__ import annotations

import importlib
import math
import re
import unicodedata
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Context, Decimal
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING, Any, Final

from kb_tools.model.records import nearest

if TYPE_CHECKING:
    from types import ModuleType

    import pint

PLAIN: Final = "1"
"""The unit of a plain number."""

_FAMILIES = (
    "V mV kV".split(),
    "A mA uA".split(),
    "ohm mohm kohm Mohm".split(),
    "W kW".split(),
    ["A h", "mA h"],
    ["W h", "kW h"],
    "uF nF pF".split(),
    "Hz kHz MHz".split(),
    "mm cm m in ft".split(),
    "kg g lb".split(),
    "N lbf".split(),
    ["N m", "lbf in", "lbf ft"],
    "degC degF".split(),
    "s ms min h".split(),
    "kPa bar psi".split(),
    "m/s km/h mph".split(),
)
"""Units that measure the same thing in this trade. Dimensions alone would not do: they would offer
joules for a torque, and take turns a minute for a frequency."""

_ALSO = {"degC": "K", "degF": "K"}
"""Unit -> another in which its readings may be given, but not the other way: `K` is written for a rise
too, and a rise of 40 K must not be read from a temperature of 40 degC."""

_ALONE = ("%", "deg", "rpm", "dB", "lux")
_KNOWN = (*(unit for family in _FAMILIES for unit in family), *_ALONE)

_RESPELT = {
    "Nm": "N m",
    "Nmm": "N mm",
    "Ncm": "N cm",
    "inlb": "lbf in",
    "inlbs": "lbf in",
    "inlbf": "lbf in",
    "lbin": "lbf in",
    "lbfin": "lbf in",
    "ftlb": "lbf ft",
    "ftlbs": "lbf ft",
    "ftlbf": "lbf ft",
    "lbft": "lbf ft",
    "lbfft": "lbf ft",
    "C": "degC",
    "F": "degF",
    "°": "deg",
}
"""Spellings that mean something else to pint, or nothing -> how the unit is written here. To pint
`Nm` measures yarn, `lb ft` is a mass times a length, C a charge and F a capacitance."""
_HOURS = re.compile(r"\b(m?A|k?W)h\b")
"""pint has Ah and Wh as units of their own, equal to A h and W h and yet not the same."""

_SHOWN = {"degC": "°C", "degF": "°F", "ohm": "Ω", "mohm": "mΩ", "kohm": "kΩ", "Mohm": "MΩ", PLAIN: ""}
"""Units whose sign people know, and pint's name for them only programmers."""
_RAISED = str.maketrans("0123456789-", "⁰¹²³⁴⁵⁶⁷⁸⁹⁻")

_SYMBOL = r"(?:[^\W\d_]+|[%°])(?:_?[^\W\d_]+)*"
_FACTOR = rf"{_SYMBOL}(?:(?:\^|\*\*)-?[1-9])?"
_UNIT = re.compile(rf"{_FACTOR}(?:[ */·]{_FACTOR}){{0,5}}")
_READING = re.compile(
    r"(?P<number>[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d{1,3})?)\s*+(?P<unit>(?![\d.,_]).*)",
    re.ASCII,
)
_GROUPED = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}", re.ASCII)
_ROUNDED = Context(prec=12, rounding=ROUND_HALF_UP)
"""How a converted reading is rounded: 104 degF is 40 degC, not 39.99999999999999, and falls into the
band that starts at 40. The browser rounds the same way (ECMAScript's toPrecision)."""


class UnitProblem(ValueError):  # noqa: N818 - a person's mistake, told as a finding
    """A unit or a reading that cannot be used; `hint` says how to write it."""

    def __init__(self, message: str, hint: str) -> None:
        """Keep what is wrong and how to mend it, both without a full stop."""
        super().__init__(message)
        self.message = message
        self.hint = hint


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit as an author wrote it, known to be one."""

    text: str
    """As written, with single spaces; `1` for a plain number."""

    @property
    def is_plain(self) -> bool:
        """Whether readings are numbers without a unit."""
        return self.text == PLAIN


@cache
def unit_of(text: str) -> Unit:
    """Return the unit that `text` names.

    Raises:
        UnitProblem: when it names none.

    """
    text = " ".join(str(text).split())
    if text != PLAIN:
        _parse(text)
    return Unit(text)


@cache
def accepted(unit: Unit) -> dict[str, tuple[float, float]]:
    """Return the units in which a reading may be given, the step's own unit first.

    Returns:
        Unit -> (factor, offset): reading * factor + offset is the value in `unit`.

    """
    found = {unit.text: (1.0, 0.0)}
    for family in _FAMILIES:
        if any(_same(unit.text, other) for other in family):
            found |= {other: _line(other, unit) for other in family if not _same(unit.text, other)}
    return found | {also: _line(also, unit) for own, also in _ALSO.items() if _same(unit.text, own)}


def shown_unit(unit: str) -> str:
    """Return a unit as people write it: `mm²` for `mm^2`, `°C` for `degC`; nothing for a plain number."""
    known = _SHOWN.get(unit)
    if known is not None:
        return known
    parts = [_SHOWN.get(part, part) for part in re.split(r"([ /*])", unit)]
    raised = re.sub(r"(?:\^|\*\*)(-?\d)", lambda power: power[1].translate(_RAISED), "".join(parts))
    return raised.replace(" ", "\N{NO-BREAK SPACE}")


def read_reading(text: str, unit: Unit) -> float:
    """Return the value in `unit` of a reading as a person gives it.

    A number alone is in `unit`; otherwise its unit follows, one of `accepted`. The decimal mark is
    a point or a comma. Digits are not grouped: `25 300` and `25,300` are refused, since what is
    meant cannot be told. A converted value is rounded to 12 significant digits.

    Args:
        text: `25.1 V`, `25,1`, `25300 mV`, `7`.
        unit: The step's unit.

    Raises:
        UnitProblem: when the text is no reading, or its unit does not measure what `unit` does.

    """
    match = _READING.fullmatch(str(text).strip().replace("\N{MINUS SIGN}", "-"))
    if match is None:
        raise _no_reading(text, unit)
    written = match["number"]
    if _GROUPED.fullmatch(written):
        raise UnitProblem(
            f"{written} can be read in two ways",
            f"Write {written.replace(',', '')} or {written.replace(',', '.')}",
        )
    number = float(written.replace(",", "."))
    if math.isinf(number):
        raise _no_reading(text, unit)
    factor, offset = _line_of(" ".join(match["unit"].split()), unit)
    if (factor, offset) == (1.0, 0.0):
        return number
    return float(_ROUNDED.create_decimal(Decimal(number * factor + offset)))


def _no_reading(text: str, unit: Unit) -> UnitProblem:
    if re.match(r"[+-]?\d+\s+\d", text.strip()):
        return UnitProblem(f"The number in {text!r} has a space in it", "Write it without the space")
    example = "7" if unit.is_plain else f"7 {unit.text}"
    return UnitProblem(f"{text!r} is no reading", f"Write a number, for instance {example}")


def _line_of(written: str, unit: Unit) -> tuple[float, float]:
    """Return factor and offset of the unit that follows a number; none means the step's own."""
    offered = accepted(unit)
    if not written:
        return 1.0, 0.0
    if written in offered:
        return offered[written]
    if unit.is_plain:
        raise UnitProblem(f"A plain number is read here, not {written}", "Write the number alone")
    _parse(written)
    for other, line in offered.items():
        if _same(written, other):
            return line
    raise UnitProblem(
        f"A reading in {unit.text} cannot be given in {written}",
        f"Give it in {' or '.join(offered)}",
    )


@cache
def _pint() -> ModuleType:
    return importlib.import_module("pint")


@cache
def _registry() -> pint.UnitRegistry[Fraction]:
    registry: pint.UnitRegistry[Fraction] = _pint().UnitRegistry(non_int_type=Fraction)
    return registry


@cache
def _parse(text: str) -> Any:  # noqa: ANN401 - pint's unit, whose type depends on the registry
    """Return pint's unit for `text`.

    Raises:
        UnitProblem: when there is none, with the likeliest spelling as the hint.

    """
    problem = f"{text!r} is no unit known here"
    meant = _respelt(text)
    if meant != text:
        raise UnitProblem(problem, f"Write `{meant}`{_why(meant)}")
    if re.match(r"[+-]?[\d.,]", text):
        raise UnitProblem(problem, "Write the unit alone, without a number; 1 for a plain number")
    if not _UNIT.fullmatch(text):
        joined = re.sub(r"[-.]", " ", text)
        hint = f"Write `{joined}`" + _why(" ") if _UNIT.fullmatch(joined) else _likeliest(text)
        raise UnitProblem(problem, hint)
    unit = _pint_unit(text)
    if unit is None:
        raise UnitProblem(problem, _likeliest(text))
    return unit


def _pint_unit(text: str) -> Any | None:  # noqa: ANN401 - see _parse
    try:
        plain = unicodedata.normalize("NFKC", text)  # the ohm sign is the letter omega
        return _registry().parse_units(_HOURS.sub(r"\1 h", plain).replace("·", " "))
    except (_pint().PintError, ValueError, AttributeError, AssertionError):
        return None


def _respelt(text: str) -> str:
    """Return `text` in the spelling of this format, which leaves most texts as they are."""
    whole = _RESPELT.get(re.sub(r"[ .*·_-]", "", text))
    if whole and set(whole.split()) != set(re.split(r"[ *·]", text)):
        return whole
    return re.sub(_SYMBOL, lambda symbol: _RESPELT.get(symbol[0], symbol[0]), text)


def _why(meant: str) -> str:
    return ": a product of units is written with a space" if " " in meant else ""


def _likeliest(text: str) -> str:
    """Return a hint at the unit that was meant."""
    for unit in _KNOWN:
        if unit.casefold() == text.casefold():
            return f"Did you mean `{unit}`? Capital and small letters differ"
    close = nearest(text, _KNOWN)
    if close:
        return f"Did you mean `{close}`?"
    if _UNIT.fullmatch(text) and _pint_unit(text.casefold()) is not None:
        return f"Did you mean `{text.casefold()}`? Capital and small letters differ"
    return "Write a unit such as V, ohm, mm or N m, or 1 for a plain number"


@cache
def _same(one: str, other: str) -> bool:
    """Tell whether two units are one, however they are written: `ohm` and `Ω`, `A h` and `Ah`."""
    return one == other or (PLAIN not in (one, other) and bool(_parse(one) == _parse(other)))


@cache
def _exact(one: str, other: str) -> tuple[Fraction, Fraction]:
    """Return factor and offset from `one` to `other`."""
    quantity = _registry().Quantity
    source, target = _parse(one), _parse(other)
    zero = quantity(Fraction(0), source).to(target).magnitude
    return quantity(Fraction(1), source).to(target).magnitude - zero, zero


def _line(other: str, unit: Unit) -> tuple[float, float]:
    factor, offset = _exact(other, unit.text)
    return float(factor), float(offset)
