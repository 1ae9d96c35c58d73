"""From a table's YAML to the best order of its checks and its JSON. The figures are worked out by hand."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from kb_tools.findings import LibraryError, UsageError
from kb_tools.model.build import load
from kb_tools.numbers.best_order import best_order
from kb_tools.numbers.evidence import order_json, problem_of, table_named
from kb_tools.numbers.testability import testability

if TYPE_CHECKING:
    from pathlib import Path

    from kb_tools.model.entities import Library

HAZARDS = """
harness: {name: Power, how_isolated: Unplug, put_back: Plug in, isolate_takes: 2 min, restore_takes: 60 s}
wheels: {name: Wheels, how_isolated: Lift, put_back: Set down}
"""
FIXES = "new-fuse: {fix: Put in a new fuse, takes: 3 min, proof: whole}"
PROOFS = "whole: {title: Whole chair, takes: 6 min, items: [It drives]}"
TREE = """
title: Nothing lights
start: ask
steps:
  ask: {check: Lit?, answers: [{answer: 'Yes', to: mend}, {answer: 'No', to: mend}]}
  mend: {fix: Seat the plug, takes: 1 min, proof: whole, not_cured: ask}
"""
TABLE = """
title: Nothing lights, causes and checks
tree: dark
causes:
  fuse-blown: {share: 50, fix: new-fuse}
  plug-loose: {share: 30, fix: mend}
  box-dead: {share: 15}
  no-fault: {share: 5}
checks:
  lamp: {check: Lit?, answers: [Dark, Lit]}
  volts:
    measure: Voltage
    unit: V
    takes: 3 min
    works_live: [harness]
    bands: [{below: 18, answer: No supply}, {from: 18, answer: Supplied}]
  fuse: {check: Broken?, takes: 1 min, exposes: [harness], answers: [Broken, Whole]}
shows:
  fuse-blown: {lamp: Dark, volts: no  SUPPLY, fuse: Broken}
  plug-loose: {lamp: Dark, volts: No supply, fuse: Whole}
  box-dead: {lamp: [Dark, Lit], volts: Supplied, fuse: Whole}
  no-fault: {volts: Supplied, fuse: Whole}
"""


def library(folder: Path, table: str = TABLE) -> Library:
    """A library of one tree, one table and what they name."""
    texts = {
        "shared/hazards": HAZARDS,
        "shared/fixes": FIXES,
        "shared/proofs": PROOFS,
        "power/dark": TREE,
        "tables/dark-causes": table,
    }
    for name, text in texts.items():
        path = folder / "trees" / f"{name}.yml"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8")
    return load(folder)


def test_a_table_becomes_a_problem(tmp_path: Path) -> None:
    """Shares, minutes, answers whatever their case, open answers, stays, and fixes with their proof."""
    made = library(tmp_path)
    problem = problem_of(made.tables["dark-causes"], made)
    assert problem.causes == ("fuse-blown", "plug-loose", "box-dead", "no-fault")
    assert problem.weights == pytest.approx((0.5, 0.3, 0.15, 0.05))
    assert [(check.id, check.minutes, check.answers) for check in problem.checks] == [
        ("lamp", 1, ("Dark", "Lit")),
        ("volts", 3, ("No supply", "Supplied")),
        ("fuse", 1, ("Broken", "Whole")),
    ]
    assert problem.shows == ((1, 1, 1), (1, 1, 2), (3, 2, 2), (3, 2, 2))
    assert [(hazard.id, hazard.minutes) for hazard in problem.hazards] == [("harness", 3)]
    assert problem.checks[1].needs == problem.checks[2].exposes == {"harness"}
    assert problem.fix_minutes == (9, 7, 5, 0)


def test_the_best_order_of_a_table(tmp_path: Path) -> None:
    """The fuse first: 1 + 3, then with half the chance the volts, 3. The volts first: 3 + .8 (1 + 3).

    The lamp tells nothing between box-dead and no-fault, and costs a minute before the volts.
    """
    made = library(tmp_path)
    problem = problem_of(made.tables["dark-causes"], made)
    result = best_order(problem)
    found = json.loads(order_json("dark-causes", result, testability(problem)))
    assert found == {
        "table": "dark-causes",
        "expected_minutes": pytest.approx(4 + 0.5 * 3),
        "lower_bound": pytest.approx(4 + 0.5 * 3),
        "exact": True,
        "groups": [["no-fault", "box-dead"]],
        "detected": pytest.approx(0.8 / 0.95),
        "isolated": pytest.approx({"1": 1, "2": 1, "3": 1}),
        "order": {
            "check": "fuse",
            "answers": {
                "Broken": {"causes": ["fuse-blown"]},
                "Whole": {
                    "check": "volts",
                    "answers": {
                        "No supply": {"causes": ["plug-loose"]},
                        "Supplied": {"causes": ["no-fault", "box-dead"]},
                    },
                },
            },
        },
    }


def test_shares_left_out(tmp_path: Path) -> None:
    """A missing share is 0 beside others, and all are equal when all are missing."""
    one = library(tmp_path / "one", TABLE.replace("{share: 15}", "{}"))
    assert problem_of(one.tables["dark-causes"], one).weights == pytest.approx((50 / 85, 30 / 85, 0, 5 / 85))
    text = TABLE
    for share in ("share: 50, ", "share: 30, ", "share: 15", "share: 5"):
        text = text.replace(f"{{{share}", "{")
    none = library(tmp_path / "none", text)
    assert problem_of(none.tables["dark-causes"], none).weights == pytest.approx((0.25,) * 4)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("fuse: Broken}", "fuse: Burnt}", "dark-causes.yml:5:3: what the cause `fuse-blown` shows cannot be told"),
        ("exposes: [harness]", "exposes: [steam]", "no hazard `steam`"),
        ("exposes: [harness]", "exposes: [harness], needs: [harness]", "exposes `harness` and needs its power"),
    ],
)
def test_a_table_that_cannot_be_ordered(tmp_path: Path, old: str, new: str, message: str) -> None:
    """A mistake in the table is told with its place and not worked around."""
    assert old in TABLE
    made = library(tmp_path, TABLE.replace(old, new))
    with pytest.raises(LibraryError, match=message):
        problem_of(made.tables["dark-causes"], made)


def test_a_table_by_id_or_path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A table is named by its id, or by its path from here or from the library's root."""
    made = library(tmp_path)
    table = made.tables["dark-causes"]
    assert table_named(made, "dark-causes") is table
    assert table_named(made, "trees/tables/dark-causes.yml") is table
    monkeypatch.chdir(tmp_path / "trees")
    assert table_named(made, "tables/dark-causes.yml") is table
    with pytest.raises(UsageError, match="nothing is no evidence table"):
        table_named(made, "nothing")
