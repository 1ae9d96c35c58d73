"""Fractions detected and isolated: formulas of MIL-STD-2165 (1985) and IEEE Std 1522-2004, from memory."""

from __future__ import annotations

import pytest

from kb_tools.numbers.testability import Testability, testability
from order_tables import FIVE_TESTS, FIVE_TESTS_WEIGHTS, from_text


def of_tests(places: str) -> Testability:
    """The testability of the five tests' table with some of its tests only; s0 is no fault."""
    rows = {cause: "".join(row[int(place) - 1] for place in places) for cause, row in FIVE_TESTS.items()}
    rows["no-fault"] = rows.pop("s0")
    weights = {**FIVE_TESTS_WEIGHTS, "no-fault": 0.7}
    return testability(from_text(rows, weights))


def test_all_tests() -> None:
    """All five tests detect every fault and isolate it to itself (our own values)."""
    found = of_tests("12345")
    assert found.detected == pytest.approx(1)
    assert found.isolated == pytest.approx({1: 1, 2: 1, 3: 1})


def test_two_tests() -> None:
    """Tests 1 and 2 alone: .933333 detected; isolated to 1 .392857, to 2 all (our own values)."""
    found = of_tests("12")
    assert found.detected == pytest.approx(0.933333, abs=5e-7)
    assert found.isolated == pytest.approx({1: 0.392857, 2: 1, 3: 1}, abs=5e-7)


def test_open_answers_are_not_counted_on() -> None:
    """A fault that may show what no fault shows is not detected, and not told from what it may look like."""
    found = testability(
        from_text({"no-fault": "00", "a": "U0", "b": "10", "c": "1U"}, {"no-fault": 5, "a": 1, "b": 2, "c": 1})
    )
    assert found.detected == pytest.approx(3 / 4)
    assert found.isolated == pytest.approx({1: 0, 2: 0, 3: 1})


def test_without_no_fault_the_complaint_is_known() -> None:
    """Without a row for no fault only a cause that may show anything everywhere goes undetected."""
    found = testability(from_text({"a": "00", "b": "01", "c": "UU"}, {"a": 1, "b": 1, "c": 2}))
    assert found.detected == pytest.approx(1 / 2)
    assert found.isolated == pytest.approx({1: 0, 2: 1, 3: 1})
