"""What a table of figures says: its cells as numbers, and which rows the texts of a library refer to.

A figure of the trade stands once, in a table below content/figures/, beside its source. Texts refer
to its row by a Markdown link: `[M6 class 8.8](figure:proof-load-torque/m6-8-8)`.
"""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, NamedTuple

from kb_tools.findings import Finding, Severity
from kb_tools.model.records import nearest
from kb_tools.model.units import UnitProblem, accepted, unit_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.findings import Place
    from kb_tools.model.entities import FigureColumn, FigureTable
    from kb_tools.model.values import Context, Word

SCHEME = "figure"
"""The scheme of an address that names a row."""
NONE = "none"
"""What a cell says that has no figure."""
_NUMBER = r"[+-]?[0-9]+(?:\.[0-9]+)?"
_CELL = re.compile(rf"({_NUMBER})(?: to ({_NUMBER}))?")
_MARK = re.compile(r"<!--\s*(figures|caution)(?:\s*:\s*([^\s<>]+))?\s*-->")
_CODE = re.compile(r"^(`{3,}|~{3,}).*?^\1|(`+)(?!`).*?(?<!`)\2(?!`)", re.MULTILINE | re.DOTALL)
_REFERENCE = re.compile(rf"\]\(\s*<?{SCHEME}:([^\s)>]*)")


class Figure(NamedTuple):
    """A number, or a range of numbers, as it is written."""

    low: str
    high: str
    """The same as `low` where the figure is a single number."""

    def numbers(self) -> tuple[float, float]:
        """Return least and most, in the unit of the column."""
        return float(self.low), float(self.high)


def figure_of(cell: str) -> Figure | None:
    """Return the figure in a cell, `10.4` or `25.6 to 25.8`, or None where it is no figure."""
    match = _CELL.fullmatch(cell.strip())
    return Figure(match[1], match[2] or match[1]) if match else None


def converted(figure: Figure, unit: str, other: str) -> Figure:
    """Return a figure in another unit, no finer than the written one: 10.4 N m is 92 lbf in.

    The last digit that counts stays, in the order of its size, the last digit that counts.

    Args:
        figure: The figure.
        unit: Its unit.
        other: A unit that measures the same.

    Raises:
        UnitProblem: when one of the units is none, or the two do not measure the same.

    """
    lines = accepted(unit_of(other))
    if unit not in lines:
        raise UnitProblem(f"{other} does not measure what {unit} does", f"Give a unit such as {' or '.join(lines)}")
    factor, offset = lines[unit]
    return Figure(*(_shown(float(end) * factor + offset, _places(end, factor)) for end in figure))


def _places(written: str, factor: float) -> int:
    """Return how many decimal places a written number has once it is multiplied.

    Its last place becomes at most about a fifth finer, or a half coarser: 0.1 N m is 1 lbf in, 0.1 m is 0.1 ft.
    """
    return max(0, len(written.partition(".")[2]) - round(math.log10(factor) - 0.2))


def _shown(number: float, places: int) -> str:
    rounded = round(number, places)
    return f"{rounded or 0.0:.{places}f}"


def references_in(text: str) -> list[str]:
    """Return what the links of a Markdown text to rows of figures name: `table/row` each."""
    return _REFERENCE.findall(text) if f"{SCHEME}:" in text else []


class Mark(NamedTuple):
    """What a content page asks for or refers to."""

    what: str
    """`figures` or `caution` for what is to stand there, `row` for a link to a row."""
    name: str
    """The table or caution, or `table/row`; empty for a list of all tables."""
    line: int
    column: int
    """Where it stands, from 1."""


def marks_of(markdown: str) -> list[Mark]:
    """Return what the Markdown of a content page asks for, in order; what stands in code asks for nothing."""
    text = _CODE.sub(lambda code: re.sub(r"[^\n]", " ", code[0]), markdown)
    found = [(mark.start(), mark[1], mark[2] or "") for mark in _MARK.finditer(text)]
    found += [(link.start(1), "row", link[1]) for link in _REFERENCE.finditer(text)]
    return [
        Mark(what, name, text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at)) for at, what, name in sorted(found)
    ]


def check_cells(table: FigureTable, context: Context) -> None:
    """Report cells that do not fit their columns, as findings of reading the file."""
    if context.doubts.key(table.place, "columns"):
        return
    for row in table.rows.values():
        if context.doubts.key(row.place, "values"):
            continue
        for name, cell in row.values.items():
            if name not in table.columns:
                close = nearest(name, table.columns)
                known = ", ".join(table.columns)
                remedy = f"Did you mean `{close}`?" if close else f"The columns are {known}"
                _report(context, name.place, "key-known", f"There is no column `{name}` in this table", remedy)
            elif problem := _problem(cell, table.columns[name]):
                _report(context, cell.place, "value-type", *problem)
        for name in table.columns:
            if name not in row.values and not any(word not in table.columns for word in row.values):
                message = f"The row has nothing for the column `{name}`"
                _report(context, row.place, "key-required", message, f"Add `{name}` to its values, or `{name}: {NONE}`")


def _problem(cell: Word, column: FigureColumn) -> tuple[str, str] | None:
    """Return what is wrong with a cell and how to mend it, or None."""
    if column.unit is None or cell == NONE:
        return None
    figure = figure_of(cell)
    if figure is None:
        shape = "A number or a range belongs here"
        return f"{shape}, but this is the text {str(cell)!r}", "Write 10.4, or 25.6 to 25.8, without the unit"
    low, high = figure.numbers()
    if low > high:
        return f"The range {cell} goes down", f"Write {figure.high} to {figure.low}"
    return None


def _report(context: Context, place: Place, rule: str, message: str, remedy: str) -> None:
    context.findings.append(Finding(place, rule, Severity.ERROR, message, remedy))


def units_of(table: FigureTable) -> Iterator[tuple[Word, UnitProblem]]:
    """Yield each unit of a table's columns that cannot be used, and why."""
    for column in table.columns.values():
        for unit in (column.unit, column.also):
            if unit is not None:
                try:
                    unit_of(unit)
                except UnitProblem as problem:
                    yield unit, problem
                    break
        else:
            if column.also is not None:
                try:
                    converted(Figure("1", "1"), str(column.unit or ""), column.also)
                except UnitProblem as problem:
                    yield column.also, problem
