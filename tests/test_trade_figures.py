"""The tables of figures of the demo library: recomputed from their formulas, and held against what is published.

Each check names its source. "From memory" and "common practice" are said where there is none.
"""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

import pytest

from conftest import ROOT
from kb_tools.model.build import load
from kb_tools.model.figures import figure_of, references_in
from kb_tools.model.units import UnitProblem, read_reading, unit_of

if TYPE_CHECKING:
    from kb_tools.model.entities import Step

LIBRARY = load(ROOT)
FIGURES = LIBRARY.figures
METRIC = {4: 0.7, 5: 0.8, 6: 1.0, 8: 1.25, 10: 1.5}
"""Diameter and pitch of coarse metric threads in mm: ISO 261."""


def number(table: str, row: str, column: str) -> float:
    """Return a single figure."""
    low, high = span(table, row, column)
    assert low == high
    return low


def span(table: str, row: str, column: str) -> tuple[float, float]:
    """Return least and most of a figure."""
    words = {str(name): str(cell) for name, cell in FIGURES[table].rows[row].values.items()}  # type: ignore[index]
    figure = figure_of(words[column])
    assert figure, (table, row, column)
    return figure.numbers()


def half_a_digit(table: str, row: str, column: str) -> float:
    """Return half of what the last digit of a printed figure counts."""
    cell = str(FIGURES[table].rows[row].values[column])  # type: ignore[index]
    return 0.5000001 * 10.0 ** -len(cell.partition(" to ")[0].partition(".")[2])


def rows(table: str) -> list[str]:
    """Return the ids of a table's rows."""
    return [str(name) for name in FIGURES[table].rows]


SCREWS = rows("proof-load-torque")


def screw(row: str) -> tuple[int, str]:
    """Return diameter in mm and class of a row such as `m6-10-9`."""
    size, *parts = row.split("-")
    return int(size[1:]), ".".join(parts)


@pytest.mark.parametrize("row", SCREWS)
def test_torque_follows_from_proof_load(row: str) -> None:
    """T = K d F with K = 0.20 (dry, plain) and F = 75 % of the proof load.

    The short form of the torque equation, as in machinery handbooks; K from a published table of
    nut factors (0.20 plain dry, 0.17 zinc dry, 0.15 lubricated).
    """
    diameter, _ = screw(row)
    torque = 0.20 * diameter / 1000 * 0.75 * number("proof-load-torque", row, "proof-load")
    assert abs(torque - number("proof-load-torque", row, "torque")) <= half_a_digit("proof-load-torque", row, "torque")


@pytest.mark.parametrize("row", SCREWS)
def test_stress_area_is_that_of_the_thread(row: str) -> None:
    """As = pi/4 (d - 0.9382 P)^2, ISO 898-1."""
    diameter, _ = screw(row)
    area = math.pi / 4 * (diameter - 0.938194 * METRIC[diameter]) ** 2
    assert area == pytest.approx(number("proof-load-torque", row, "stress-area"), rel=0.003)


@pytest.mark.parametrize("row", SCREWS)
def test_proof_load_is_proof_stress_times_area(row: str) -> None:
    """Proof stress of each class (ISO 898-1: 580, 830, 970 MPa) times the stress area, rounded as the standard does."""
    _, class_ = screw(row)
    stress = number("strength", f"c{class_.replace('.', '-')}", "proof")
    force = stress * number("proof-load-torque", row, "stress-area")
    assert force == pytest.approx(number("proof-load-torque", row, "proof-load"), rel=0.01)


@pytest.mark.parametrize(
    ("class_", "torques"),
    [("8-8", (3.1, 6.1, 10.4, 25, 50)), ("10-9", (4.5, 8.9, 15.3, 37, 73)), ("12-9", (5.3, 10.4, 17.9, 44, 86))],
)
def test_torques_agree_with_a_published_table(class_: str, torques: tuple[float, ...]) -> None:
    """A machine maker's table for M4 to M10, its manual's page of tightening torques; within 5 %."""
    for diameter, torque in zip(METRIC, torques, strict=True):
        assert number("proof-load-torque", f"m{diameter}-{class_}", "torque") == pytest.approx(torque, rel=0.05)


def test_stated_factors_of_other_surfaces_follow() -> None:
    """K = 0.17 gives 85 % and K = 0.15 gives 75 % of the dry torque, as the table's note says."""
    formula = str(FIGURES["proof-load-torque"].formula)
    for factor in (0.17, 0.15):
        assert re.search(rf"K = {factor:.2f} .*? {factor / 0.20 * 100:.0f} %", formula)


def test_stainless_stays_below_class_8_8() -> None:
    """A2-70 yields at 450 MPa, below the proof stress of 8.8: its torque is the lower one at every size."""
    for diameter in METRIC:
        most = span("stainless-torque", f"m{diameter}", "torque")[1]
        assert most < number("proof-load-torque", f"m{diameter}-8-8", "torque")


def test_the_key_tells_the_screw() -> None:
    """What the note says of the 5 mm key follows from the table (ISO 4762, ISO 7380)."""
    fits = {
        (str(row.title), str(column))
        for row in FIGURES["keys"].rows.values()
        for column, cell in row.values.items()
        if cell == "5"
    }
    assert fits == {("M6", "cap"), ("M8", "button")}


AWG = [int(row.removeprefix("awg-")) for row in rows("wire-awg")]


@pytest.mark.parametrize("gauge", AWG)
def test_wire_sections_and_resistances(gauge: int) -> None:
    """ASTM B258: d = 0.127 mm x 92^((36 - n)/39). IEC 60028: 0.017241 ohm mm2/m for annealed copper at 20 degC."""
    row = f"awg-{gauge}"
    area = math.pi / 4 * (0.127 * 92 ** ((36 - gauge) / 39)) ** 2
    assert area == pytest.approx(number("wire-awg", row, "area"), rel=0.005)
    assert 17.241 / area == pytest.approx(number("wire-awg", row, "resistance"), rel=0.01)


@pytest.mark.parametrize(("gauge", "at_75"), [(14, 3.07), (12, 1.93), (10, 1.21)])
def test_wire_agrees_with_a_second_table(gauge: int, at_75: float) -> None:
    """NEC chapter 9 table 8, stranded copper, ohm per 1000 ft at 75 degC, brought to 20 degC (0.00393 a kelvin)."""
    at_20 = at_75 / 0.3048 / (1 + 0.00393 * 55)
    assert number("wire-awg", f"awg-{gauge}", "resistance") == pytest.approx(at_20, rel=0.02)


@pytest.mark.parametrize(
    ("table", "row", "column"),
    [("wire-awg", row, "resistance") for row in rows("wire-awg")]
    + [("wire-metric", row, "plain") for row in rows("wire-metric")],
)
def test_longest_runs_follow(table: str, row: str, column: str) -> None:
    """V = 2 L I R: the length that loses 3 % of 24 V (a usual design figure) at 10 A and at 2 A."""
    for current in (10, 2):
        run = 0.03 * 24 / (2 * current * number(table, row, column) / 1000)
        printed = f"run-{current}a"
        assert abs(run - number(table, row, printed)) <= half_a_digit(table, row, printed)


def test_three_sizes_halve_and_ten_make_ten() -> None:
    """What the note says: three sizes up double the resistance, ten make ten times."""
    assert number("wire-awg", "awg-20", "resistance") / number("wire-awg", "awg-10", "resistance") == pytest.approx(
        10, rel=0.02
    )
    for gauge in (22, 20, 18, 16):
        if gauge - 4 in AWG and gauge in AWG:
            ratio = number("wire-awg", f"awg-{gauge}", "resistance") / number(
                "wire-awg", f"awg-{gauge - 4}", "resistance"
            )
            assert ratio == pytest.approx(2 ** (4 / 3), rel=0.02)


def test_share_of_supply_becomes_volts() -> None:
    """3 % and 5 % of 24 V, the usual design limits."""
    assert number("drop-limits", "branch", "volts") == pytest.approx(0.03 * 24)
    assert number("drop-limits", "total", "volts") == pytest.approx(0.05 * 24)


@pytest.mark.parametrize("kind", ["agm", "gel"])
def test_a_set_is_two_batteries(kind: str) -> None:
    """24 V are two 12 V batteries in series."""
    for row in rows("battery-at-rest"):
        one, two = span("battery-at-rest", row, kind), span("battery-at-rest", row, f"{kind}-set")
        assert two == pytest.approx((2 * one[0], 2 * one[1]))


def test_batteries_agree_with_a_second_table() -> None:
    """AGM: a vehicle maker's manual has 12.8 to 13.2 V full, then 12.6, 12.3 and 12.0 V.

    Flooded: the battery trade's table at 26.7 degC has 12.65, 12.45, 12.24, 12.06 and 11.89 V.
    """
    order = ("full", "three-quarters", "half", "quarter", "empty")
    assert [number("battery-at-rest", row, "agm") for row in order[1:4]] == [12.6, 12.3, 12.0]
    assert 12.8 <= span("battery-at-rest", "full", "agm")[0] <= 13.2
    for row, volts in zip(order, (12.65, 12.45, 12.24, 12.06, 11.89), strict=True):
        low, high = span("battery-at-rest", row, "flooded")
        assert low - 0.1 <= volts <= high + 0.1


def test_lithium_set_is_twice_the_battery() -> None:
    """8 cells are twice 4."""
    for row in rows("lithium-at-rest"):
        assert number("lithium-at-rest", row, "set") == pytest.approx(2 * number("lithium-at-rest", row, "battery"))


@pytest.mark.parametrize("row", rows("charge-voltage"))
def test_cell_voltage_makes_set_voltage(row: str) -> None:
    """Six lead-acid cells a battery, twelve a set; four and eight of LiFePO4."""
    cells = 4 if row == "lithium-limit" else 6
    for end, volts in enumerate(span("charge-voltage", row, "cell")):
        for column, count in (("battery", cells), ("set", 2 * cells)):
            assert abs(volts * count - span("charge-voltage", row, column)[end]) <= 0.0500001


def test_published_charge_voltages() -> None:
    """A battery maker's page: AGM 14.4 to 14.7 V and 13.5 to 13.9 V for 12 V; LiFePO4 14.6 V and 29.2 V."""
    assert span("charge-voltage", "agm-absorption", "battery") == (14.4, 14.7)
    assert span("charge-voltage", "agm-float", "battery") == (13.5, 13.9)
    assert number("charge-voltage", "lithium-limit", "set") == 29.2


@pytest.mark.parametrize(("row", "ends"), [("one", 1), ("two", 2), ("three", 3), ("four", 4)])
def test_end_resistors_in_parallel(row: str, ends: int) -> None:
    """So many resistors of 120 ohm in parallel; ISO 11898-2 has two of them."""
    assert number("data-pair", row, "ohms") == 120 / ends


@pytest.mark.parametrize("watts", [8, 10, 15])
def test_coil_resistance(watts: int) -> None:
    """R = V^2 / P for a 24 V coil; the span that counts as whole holds them all."""
    ohms = number("brake-coils", f"w{watts}", "ohms")
    assert abs(24**2 / watts - ohms) <= 0.05
    low, high = span("brake-coils", "whole", "ohms")
    assert low < ohms < high


@pytest.mark.parametrize(("row", "milliamperes"), [("ma5", 5), ("ma20", 20), ("ma100", 100)])
def test_standing_draw(row: str, milliamperes: float) -> None:
    """Current times 24 h; half of a 50 A h set divided by that."""
    a_day = milliamperes / 1000 * 24
    assert number("standing-drain", row, "a-day") == pytest.approx(a_day)
    assert abs(25 / a_day - number("standing-drain", row, "half")) <= 0.5


@pytest.mark.parametrize(("row", "degrees"), [("cm10", -10), ("c0", 0), ("c20", 20), ("c40", 40)])
def test_speed_of_sound(row: str, degrees: float) -> None:
    """Speed = 331.3 + 0.606 T m/s; within 0.5 % of the ideal-gas law, sqrt(1.4 x 287.05 x (T + 273.15))."""
    speed = 331.3 + 0.606 * degrees
    assert abs(speed - number("echo-temperature", row, "speed")) <= 0.0500001
    assert speed == pytest.approx(math.sqrt(1.4 * 287.05 * (degrees + 273.15)), rel=0.005)
    shift = ((331.3 + 0.606 * 20) / speed - 1) * 100
    assert abs(shift - number("echo-temperature", row, "shift")) <= 0.0500001


def test_crimp_forces_are_whole_pounds() -> None:
    """The terminal trade states 8, 13, 20, 30, 50, 70 and 80 lbf from 22 to 10 AWG (UL 486A, from memory)."""
    pounds = dict(zip((22, 20, 18, 16, 14, 12, 10), (8, 13, 20, 30, 50, 70, 80), strict=True))
    for gauge, force in pounds.items():
        assert number("crimp-pull", f"awg-{gauge}", "force") == pytest.approx(force * 4.4482216, rel=0.002)


@pytest.mark.parametrize("row", rows("bend-radius"))
def test_bend_radius_is_a_multiple(row: str) -> None:
    """3, 5 and 10 times the cable's thickness (a cable maker's table)."""
    for thickness in (6, 8):
        assert number("bend-radius", row, f"at-{thickness}") == thickness * number("bend-radius", row, "times")


def test_degrees_in_titles_agree() -> None:
    """Where a row names a temperature in both scales, they are one (NIST SP 811: t/degF = 1.8 t/degC + 32)."""
    pattern = re.compile("([\N{MINUS SIGN}0-9]+) °C \\(([\N{MINUS SIGN}0-9]+) °F\\)")
    found = [
        [float(part.replace("\N{MINUS SIGN}", "-")) for part in match]
        for table in FIGURES.values()
        for row in table.rows.values()
        for match in pattern.findall(row.title)
    ]
    assert len(found) >= 10
    for celsius, fahrenheit in found:
        assert abs(1.8 * celsius + 32 - fahrenheit) <= 0.5


@pytest.mark.parametrize(
    ("row", "share"),
    [("bracket", 0.2), ("box", 0.2), ("sensor", 0.2)],
)
def test_what_counts_as_tight(row: str, share: float) -> None:
    """A fifth either way (common practice), to a tenth of a newton metre."""
    torque = number("guard-kit-tightening", row, "torque")
    low, high = span("guard-kit-tightening", row, "accepted")
    assert abs(torque * (1 - share) - low) <= 0.0500001
    assert abs(torque * (1 + share) - high) <= 0.0500001


def test_accepted_spans_of_the_kit() -> None:
    """Tags give or take 5 %, the stop a quarter, the reach a sixth: figures of the demo maker and common practice."""
    tags = [row for row in rows("guard-kit-resistance") if row.startswith("tag-")]
    for tag in tags:
        marked = number("guard-kit-resistance", tag, "nominal")
        assert span("guard-kit-resistance", tag, "accepted") == pytest.approx((0.95 * marked, 1.05 * marked))
    assert span("guard-kit-distances", "stop", "accepted") == pytest.approx((0.4 * 0.75, 0.4 * 1.25))
    assert span("guard-kit-distances", "reach", "accepted") == pytest.approx((1.2 * 5 / 6, 1.2 * 7 / 6))


@pytest.mark.parametrize(
    ("page", "says", "value"),
    [
        ("electrical.md", r"at 60 °C about ([\d.]+) times", 1 / 0.862),  # IEC 60228 annex: correction factors
        ("electrical.md", r"at 5 °C about ([\d.]+) times", 1 / 1.064),
        # the battery trade's table: 0.024 V for 10 degF
        ("electrical.md", r"about (\d+) mV for each degree", 24 / 10 * 1.8),
        ("electrical.md", r"1 % off is ([\d.]+) V off", 0.01 * 12),
    ],
)
def test_figures_in_running_text(page: str, says: str, value: float) -> None:
    """A figure that a sentence of a page bears follows from its source."""
    text = (ROOT / "content/reference" / page).read_text("utf-8")
    found = re.findall(says, text)
    assert len(found) == 1
    assert float(found[0]) == pytest.approx(value, rel=0.1)


def figures_behind(step: Step) -> list[tuple[float, str]]:
    """Return every number, with its unit, of the rows that a step's source refers to."""
    found = []
    for name in references_in(step.source or ""):
        table_id, _, row_id = name.partition("/")
        table = FIGURES[table_id]
        columns = {str(column_id): column for column_id, column in table.columns.items()}
        for column_id, cell in table.rows[row_id].values.items():  # type: ignore[index]
            figure = figure_of(cell)
            unit = columns[str(column_id)].unit
            if figure and unit:
                found += [(one, str(unit)) for one in figure.numbers()]
    return found


def in_unit(value: float, unit: str, wanted: str) -> float | None:
    """Return a number in another unit, or None where the two do not measure the same."""
    try:
        return read_reading(f"{value:g}" if unit == "1" else f"{value:g} {unit}", unit_of(wanted))
    except UnitProblem:
        return None


MEASURED = {
    f"{tree.id}/{name}": step
    for tree in LIBRARY.trees.values()
    for name, step in tree.steps.items()
    if step.kind == "measure" and step.bands
}
REFERRING = {name: step for name, step in MEASURED.items() if references_in(step.source or "")}
OWN = {"after-software-change/software-number"}
"""Measurements whose limits are no figures of the trade."""


def test_limits_come_from_the_tables() -> None:
    """Every measurement of the demo refers to rows, but for those that have nothing to do with the trade."""
    assert set(MEASURED) - set(REFERRING) == OWN


@pytest.mark.parametrize("name", REFERRING)
def test_every_limit_is_the_figure_of_its_row(name: str) -> None:
    """Each edge of a band is a figure of a row that the step's source refers to, unit conversion allowed."""
    step = REFERRING[name]
    known = [in_unit(value, unit, str(step.unit)) for value, unit in figures_behind(step)]
    for band in step.bands or ():
        for edge in (band.start, band.below):
            if edge is not None:
                assert any(one is not None and math.isclose(one, edge) for one in known), (edge, known)


TIGHTENED = {
    f"{tree.id}/{name}": step
    for tree in LIBRARY.trees.values()
    for name, step in tree.steps.items()
    if step.kind != "measure"
    and any(one.startswith("guard-kit-tightening/") for one in references_in(step.source or ""))
}


@pytest.mark.parametrize("name", TIGHTENED)
def test_torques_in_words_are_those_of_the_row(name: str) -> None:
    """A torque that somebody is told to tighten to is the one of a row that the step's source refers to."""
    step = TIGHTENED[name]
    told = {float(one) for one in re.findall(r"([\d.]+) N m", f"{step.text} {step.how or ''} {step.confirm or ''}")}
    known = {value for value, unit in figures_behind(step) if unit == "N m"}
    assert told <= known


def test_torques_are_told_at_all() -> None:
    """The check above has something to look at."""
    assert len(TIGHTENED) >= 8
    assert sum("N m" in f"{step.text} {step.how or ''}" for step in TIGHTENED.values()) >= 3
