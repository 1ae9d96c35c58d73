"""`kb order` in a terminal: what is proven and what is not, groups, and a search that is stopped."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING

from click.testing import CliRunner, Result

from kb_tools.cli import figures
from kb_tools.cli._main import main
from kb_tools.numbers.best_order import best_order

if TYPE_CHECKING:
    from pathlib import Path

    import pytest

TABLE = """\
title: 'Dark: causes and checks'
causes: {a: {share: 3}, b: {share: 1}, c: {share: 1}}
checks: {look: {check: 'Lit?', answers: ['Yes', 'No']}}
shows: {a: {look: 'Yes'}, b: {look: 'No'}, c: {look: LAST}}
"""
GROUP = "In a group, causes stand by chance over minutes of mending"


def ordered(root: Path, last: str, *options: str) -> Result:
    """Run `kb order` on a table whose last cause shows this answer."""
    (root / "trees/tables").mkdir(parents=True)
    (root / "trees/tables/dark.yml").write_text(TABLE.replace("LAST", last), "utf-8")
    return CliRunner().invoke(main, ["order", "dark", "--library", str(root), *options])


def test_groups_and_how_they_are_ordered_are_told_where_there_are_any(tmp_path: Path) -> None:
    """How a group is ordered is told with a group; that all is an estimate, always."""
    told = ordered(tmp_path / "one", "'No'").stdout
    assert "no check tells apart: b, c" in told
    assert GROUP in told
    told = ordered(tmp_path / "two", "['Yes', 'No']").stdout
    assert "no check tells apart" in told
    (tmp_path / "three/trees/tables").mkdir(parents=True)
    text = TABLE.replace(", c: {share: 1}", "").replace(", c: {look: LAST}", "")
    (tmp_path / "three/trees/tables/dark.yml").write_text(text, "utf-8")
    told = CliRunner().invoke(main, ["order", "dark", "--library", str(tmp_path / "three")]).stdout
    assert GROUP not in told
    assert "estimate" in told


def test_what_is_not_proven_tells_its_gap(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Beside the bound stands how much could be saved at most."""

    def unproven(*given: object, **named: object) -> object:
        return replace(best_order(*given, **named), exact=False, lower_bound=0.75)  # type: ignore[arg-type]

    monkeypatch.setattr(figures, "best_order", unproven)
    told = ordered(tmp_path, "'No'").stdout
    assert (
        "1.00 minutes of checks expected, best found; no order needs less than 0.75 min, so at most 25% could be"
        in told
    )


def test_a_search_stopped_before_its_first_order_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C before anything was found is no silence, and no traceback."""

    def stopped(*_: object, **__: object) -> object:
        raise KeyboardInterrupt

    monkeypatch.setattr(figures, "best_order", stopped)
    told = ordered(tmp_path, "'No'", "--format", "json")
    assert told.exit_code == 1
    assert "Stopped before there was a first order" in told.stderr
    assert told.stdout == ""


def test_the_shape_of_the_contract(tmp_path: Path) -> None:
    """The JSON has the keys of the contract, in their order, and nothing else."""
    told = json.loads(ordered(tmp_path, "'No'", "--format", "json").stdout)
    assert list(told) == [
        "table", "expected_minutes", "lower_bound", "exact", "groups", "detected", "isolated", "order"
    ]  # fmt: skip
    assert told["order"] == {"check": "look", "answers": {"Yes": {"causes": ["a"]}, "No": {"causes": ["b", "c"]}}}
    assert list(told["isolated"]) == ["1", "2", "3"]
