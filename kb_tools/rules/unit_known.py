"""The unit of a measurement is one that can be reckoned with.

A walk offers the units that a meter may show instead (mV for V, lbf in for N m) and converts what
is read, so it must know the unit. Units are written as pint, the units library, knows them: `V`,
`mV`, `A`, `ohm` or `Ω`, `A h`, `Hz`, `mm`, `in`, `N m`, `lbf in`, `degC`, `bar`, `%`, `rpm`. A
product has a space between its units: `N m`, for `Nm` means something else there. Capital and small
letters differ: mV is a thousandth of a volt, MV a million volts.

`unit: 1` is a plain number: a count of blinks, say.

The same goes for the columns of a table of figures; there `also` names a second unit, in which each
figure is shown too, and which must measure the same.

To mend it, write the unit as the message says.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity
from kb_tools.model.figures import units_of
from kb_tools.model.units import UnitProblem, unit_of
from kb_tools.rules._measures import measures

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.rules.contract import Subject

ID = "unit-known"
SEVERITY = Severity.ERROR
SUMMARY = "The unit of a measurement is one that can be reckoned with."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each unit that is none."""
    for table in subject.library.figures.values():
        for unit, problem in units_of(table):
            yield Finding(unit.place, ID, SEVERITY, problem.message, problem.hint)
    for measure in measures(subject.library):
        if measure.unit is None:
            continue
        try:
            unit_of(str(measure.unit))
        except UnitProblem as problem:
            yield Finding(measure.unit.place, ID, SEVERITY, problem.message, problem.hint)
