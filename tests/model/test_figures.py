"""Tables of figures: cells as numbers, conversions, and what is wrong with a cell told at its place."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from kb_tools.model.build import load
from kb_tools.model.figures import Figure, converted, figure_of, references_in
from kb_tools.model.units import UnitProblem
from kb_tools.model.values import Word
from kb_tools.rules.example_files import BASE
from making import findings_of

if TYPE_CHECKING:
    from pathlib import Path

TABLE = """\
title: Supply
head: State
columns:
  volts: {title: Voltage, unit: V}
  means: {title: What it means}
rows:
  awake:
    title: Awake
    values: {volts: 24 to 26, means: '12'}
    source: A sheet
"""


@pytest.mark.parametrize(
    ("cell", "figure"),
    [
        ("10.4", ("10.4", "10.4")),
        ("25.60 to 25.80", ("25.60", "25.80")),
        ("-18", ("-18", "-18")),
        ("-20 to 60", ("-20", "60")),
        ("about 3", None),
        ("3 N m", None),
        ("3,1", None),
        ("1e3", None),
        ("3-5", None),
    ],
)
def test_a_cell_is_a_number_or_a_range(cell: str, figure: tuple[str, str] | None) -> None:
    """What is neither is no figure; digits stay as they were written."""
    assert figure_of(cell) == (Figure(*figure) if figure else None)


@pytest.mark.parametrize(
    ("cell", "unit", "other", "shown"),
    [
        # 1 N m = 8.851 lbf in and 0.7376 lbf ft: a fastener maker's page of torques; 3, 6, 10 and 25 N m
        # are 27, 53, 89 and 221 lbf in in the facts sheet of the trade, worked out from it.
        ("3", "N m", "lbf in", "27"),
        ("6", "N m", "lbf in", "53"),
        ("25", "N m", "lbf in", "221"),
        ("10.4", "N m", "lbf in", "92"),
        ("51", "N m", "lbf ft", "38"),
        # NIST SP 811: t/degF = 1.8 t/degC + 32
        ("0 to 45", "degC", "degF", "32 to 113"),
        ("-18", "degC", "degF", "0"),
        ("25", "mm", "in", "0.98"),
        ("0.4", "m", "ft", "1.3"),
        ("0", "V", "mV", "0"),
    ],
)
def test_a_converted_figure_is_no_finer_than_the_written_one(cell: str, unit: str, other: str, shown: str) -> None:
    """Conversions agree with published ones and keep about the digits that count."""
    figure = figure_of(cell)
    assert figure
    assert " to ".join(dict.fromkeys(converted(figure, unit, other))) == shown


def test_what_does_not_measure_the_same_is_not_converted() -> None:
    """A voltage has no amperes."""
    with pytest.raises(UnitProblem):
        converted(Figure("1", "1"), "V", "A")


def test_references_are_found_in_links() -> None:
    """A link names table and row; words that only look alike are none."""
    text = "See [M6](figure:torque/m6), [M8]( <figure:torque/m8> ) and figure: torque/m5"
    assert references_in(text) == ["torque/m6", "torque/m8"]


def test_a_table_is_read_with_its_cells() -> None:
    """The base library of the rules' examples has a table; its rows and columns keep their order."""
    table = load(BASE).figures["tightening"]
    assert list(table.rows) == ["bracket", "sensor"]
    assert table.rows[Word("sensor")].values == {"torque": "0.8 to 1.2"}
    assert table.of_maker
    assert table.file == "content/figures/tightening.yml"


@pytest.mark.parametrize(
    ("was", "becomes", "place", "rule"),
    [
        ("volts: 24 to 26", "volts: 26 to 24", (9, 21), "value-type"),
        ("volts: 24 to 26", "volts: plenty", (9, 21), "value-type"),
        ("volts: 24 to 26", "volt: 24", (9, 14), "key-known"),
        ("volts: 24 to 26, ", "", (8, 5), "key-required"),
        ("    source: A sheet\n", "", (8, 5), "key-required"),
        ("unit: V", "unit: volts per cell", (4, 33), "unit-known"),
        ("unit: V", "unit: V, also: A", (4, 42), "unit-known"),
        ("title: Supply", "titel: Supply", (1, 1), "key-known"),
        ("  awake:", "  Awake:", (7, 3), "value-type"),
        ("source: A sheet", "source: '[x](figure:supply/awakee)'", (10, 13), "reference-resolves"),
    ],
)
def test_a_mistake_is_told_at_its_place(
    was: str, becomes: str, place: tuple[int, int], rule: str, tmp_path: Path
) -> None:
    """Each mistake brings one finding, of the right rule, at line and column of what is wrong."""
    assert TABLE.count(was) == 1
    found = findings_of(tmp_path, {"content/figures/supply.yml": TABLE.replace(was, becomes)})
    told = [(one.place.file, one.place.line, one.place.column, one.rule) for one in found]
    assert told == [("content/figures/supply.yml", *place, rule)]


def test_a_sound_table_brings_nothing(tmp_path: Path) -> None:
    """The table that the mistakes are made in has none; a column of words holds any words."""
    assert not findings_of(tmp_path, {"content/figures/supply.yml": TABLE})


def test_a_broken_table_hides_no_reference_behind_it(tmp_path: Path) -> None:
    """Of a file that cannot be read nothing is known: texts that refer to it are no mistakes."""
    files = {
        "content/figures/supply.yml": "title: [",
        "content/figures/other.yml": TABLE.replace("A sheet", "'[x](figure:supply/any)'"),
    }
    assert {one.rule for one in findings_of(tmp_path, files)} == {"yaml-syntax"}
