"""Units and readings against published conversion factors, and against what people write."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb_tools.model.units import PLAIN, UnitProblem, accepted, read_reading, unit_of

PUBLISHED = [
    # NIST Special Publication 811 (2008), appendix B.8; factors in bold there are exact. From memory
    # where no other source stands beside a figure.
    ("in", "mm", 25.4, 0.0, 15),  # exact: 1 in = 25.4 mm
    ("ft", "m", 0.3048, 0.0, 15),  # exact: 1 ft = 0.3048 m
    ("lb", "kg", 0.453_592_37, 0.0, 15),  # exact, international avoirdupois pound
    ("lbf", "N", 4.448_222, 0.0, 7),
    ("lbf in", "N m", 0.112_984_8, 0.0, 7),
    ("lbf ft", "N m", 1.355_818, 0.0, 7),
    ("psi", "kPa", 6.894_757, 0.0, 7),
    ("bar", "kPa", 100.0, 0.0, 15),  # exact
    ("mph", "km/h", 1.609_344, 0.0, 15),  # exact
    ("mph", "m/s", 0.447_04, 0.0, 15),  # exact
    ("degF", "degC", 1 / 1.8, -32 / 1.8, 15),  # t/degC = (t/degF - 32)/1.8, exact
    # SI brochure, 9th edition, 2.3.1: t/degC = T/K - 273.15, exact; with the line above, t/degF = 1.8 T/K - 459.67.
    ("K", "degC", 1.0, -273.15, 15),
    ("K", "degF", 1.8, -459.67, 15),
    # A fastener maker's table of tightening torques: 1 N m = 8.851 lbf in = 0.7376 lbf ft.
    ("N m", "lbf in", 8.851, 0.0, 4),
    ("N m", "lbf ft", 0.7376, 0.0, 4),
    # The International System of Units (SI brochure, 9th edition), table 7 and table 8: exact.
    ("mV", "V", 1e-3, 0.0, 15),
    ("kV", "V", 1e3, 0.0, 15),
    ("mA", "A", 1e-3, 0.0, 15),
    ("uA", "A", 1e-6, 0.0, 15),
    ("mohm", "ohm", 1e-3, 0.0, 15),
    ("kohm", "ohm", 1e3, 0.0, 15),
    ("Mohm", "ohm", 1e6, 0.0, 15),
    ("mA h", "A h", 1e-3, 0.0, 15),
    ("cm", "mm", 10.0, 0.0, 15),
    ("h", "min", 60.0, 0.0, 15),
    ("s", "min", 1 / 60, 0.0, 15),
    ("km/h", "m/s", 1 / 3.6, 0.0, 15),
]


@pytest.mark.parametrize(("reading", "step", "factor", "offset", "digits"), PUBLISHED)
def test_factors_are_those_that_are_published(
    reading: str, step: str, factor: float, offset: float, digits: int
) -> None:
    """A unit offered beside a step's own is converted by the published factor, to its last digit."""
    found = accepted(unit_of(step))[reading]
    assert found[0] == pytest.approx(factor, rel=0.51 * 10 ** (1 - digits))
    assert found[1] == pytest.approx(offset, rel=1e-15)


# Fixed points: the triple point of water is 273.16 K and 0.01 degC (SI brochure), 0 degC is 273.15 K and 32 degF.
@pytest.mark.parametrize(
    ("kelvin", "celsius", "fahrenheit"), [(273.16, 0.01, 32.018), (273.15, 0, 32), (313.15, 40, 104)]
)
def test_a_temperature_may_be_given_in_kelvin(kelvin: float, celsius: float, fahrenheit: float) -> None:
    """Kelvins are read where a temperature is asked; a rise in K is not read from a temperature."""
    assert read_reading(f"{kelvin} K", unit_of("degC")) == celsius
    assert read_reading(f"{kelvin} K", unit_of("degF")) == fahrenheit
    with pytest.raises(UnitProblem):
        read_reading("40 degC", unit_of("K"))


# A fastener maker's table: 3 N m = 27, 6 = 53, 10 = 89, 25 = 221 lbf in, printed to the pound.
@pytest.mark.parametrize(("newton_metres", "pound_inches"), [(3, 27), (6, 53), (10, 89), (25, 221)])
def test_torques_agree_with_a_printed_table(newton_metres: int, pound_inches: int) -> None:
    """Tightening torques come out as a table prints them."""
    assert round(read_reading(f"{newton_metres} N m", unit_of("lbf in"))) == pound_inches


# Fixed points of the two scales, exact: ITS-90 and the definition of the Fahrenheit scale.
@pytest.mark.parametrize(("celsius", "fahrenheit"), [(0, 32), (100, 212), (-40, -40), (37, 98.6), (40, 104)])
def test_temperatures_are_converted_with_their_offset_and_land_on_the_edge(celsius: float, fahrenheit: float) -> None:
    """104 degF is 40 degC and not 39.99999999999999, which another band would hold."""
    assert read_reading(f"{fahrenheit} degF", unit_of("degC")) == celsius
    assert read_reading(f"{celsius} degC", unit_of("degF")) == fahrenheit


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("25.1 V", "V", 25.1),
        ("25,1 V", "V", 25.1),
        ("25.1", "V", 25.1),
        ("25300 mV", "V", 25.3),
        ("  0.4V ", "V", 0.4),
        (".5 V", "V", 0.5),
        ("0,500 V", "V", 0.5),
        ("-3 V", "V", -3.0),
        ("\N{MINUS SIGN}3 V", "V", -3.0),
        ("1e3 mV", "V", 1.0),
        ("7", PLAIN, 7.0),
        ("2 Ah", "A h", 2.0),
        ("2 A h", "Ah", 2.0),
        ("47 \N{OHM SIGN}", "ohm", 47.0),
        ("47 \N{GREEK CAPITAL LETTER OMEGA}", "ohm", 47.0),
        ("5 %", "%", 5.0),
        ("3 in lbf", "lbf in", 3.0),
        ("20 \N{DEGREE SIGN}C", "degC", 20.0),
    ],
)
def test_readings_are_read_as_people_write_them(text: str, unit: str, value: float) -> None:
    """Point or comma, with or without the unit, in any unit that the walk offers."""
    assert read_reading(text, unit_of(unit)) == value


@pytest.mark.parametrize(
    ("text", "unit", "hint"),
    [
        ("25 300 mV", "V", "without the space"),
        ("25,300 mV", "V", "25300 or 25.300"),
        ("25300 mv", "V", "`mV`"),
        ("25 MV", "V", "V or mV or kV"),
        ("3 A", "V", "V or mV or kV"),
        ("3 Nm", "N m", "`N m`"),
        ("3 J", "N m", "N m or lbf in or lbf ft"),
        ("60 rpm", "Hz", "Hz"),
        ("7 V", PLAIN, "number alone"),
        ("high", "V", "7 V"),
        ("", "V", "7 V"),
        ("nan", "V", "7 V"),
        ("1e999", "V", "7 V"),
        ("1.2.3 V", "V", "7 V"),
        ("1_000 V", "V", "7 V"),
        ("\N{ARABIC-INDIC DIGIT ONE} V", "V", "7 V"),
        ("5 V V", "V", "V"),
    ],
)
def test_what_is_no_reading_is_refused_with_a_hint(text: str, unit: str, hint: str) -> None:
    """What cannot be told for sure is not guessed, and the hint says how to write it."""
    with pytest.raises(UnitProblem) as problem:
        read_reading(text, unit_of(unit))
    assert hint in problem.value.hint


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("Nm", "`N m`"),
        ("N-m", "`N m`"),
        ("N.m", "`N m`"),
        ("in-lb", "`lbf in`"),
        ("lb ft", "`lbf ft`"),
        ("ftlb", "`lbf ft`"),
        ("v", "`V`"),
        ("mv", "`mV`"),
        ("Volt", "`volt`"),
        ("C", "`degC`"),
        ("F", "`degF`"),
        ("kmh", "`km/h`"),
        ("5 V", "without a number"),
        ("", "1 for a plain number"),
        ("brightness", "1 for a plain number"),
        ("9**9**9", "without a number"),
        ("__import__('os')", "1 for a plain number"),
        ("V" * 5000, "1 for a plain number"),
    ],
)
def test_what_is_no_unit_is_refused_with_a_hint(text: str, hint: str) -> None:
    """A unit that is not known, or that means something else to the units library, is refused."""
    with pytest.raises(UnitProblem) as problem:
        unit_of(text)
    assert hint in problem.value.hint


@pytest.mark.parametrize("text", ["V", "N m", "A h", "ohm", "%", "degC", "rpm", "mm^2", "dB", "V/m", PLAIN])
def test_a_steps_own_unit_is_offered_first_and_unchanged(text: str) -> None:
    """A reading in the step's own unit is taken as it is."""
    unit = unit_of(text)
    first, line = next(iter(accepted(unit).items()))
    assert (first, line) == (text, (1.0, 0.0))
    assert unit.is_plain == (text == PLAIN)


def test_what_only_shares_its_dimension_is_not_offered() -> None:
    """Nobody is offered joules for a torque, or hertz for turns a minute."""
    assert list(accepted(unit_of("N m"))) == ["N m", "lbf in", "lbf ft"]
    assert list(accepted(unit_of("rpm"))) == ["rpm"]
    assert list(accepted(unit_of("J"))) == ["J"]


NUMBERS = st.floats(-1e6, 1e6).filter(lambda number: number == 0 or abs(number) > 1e-6)


@given(NUMBERS, st.sampled_from(["V", "N m", "degC", "mm", "kPa", "A h", "min", "m/s"]), st.data())
def test_there_and_back_again(number: float, step: str, data: st.DataObject) -> None:
    """A value given in another unit that is offered is the same value, to the digits that are kept."""
    unit = unit_of(step)
    other = data.draw(st.sampled_from(sorted(set(accepted(unit)) - {"K"})))
    there = read_reading(f"{number!r} {step}", unit_of(other))
    back = read_reading(f"{there!r} {other}", unit)
    # Beside an offset (32 degF) the digits of a small number are spent on the offset.
    assert math.isclose(back, number, rel_tol=1e-10, abs_tol=1e-9)
