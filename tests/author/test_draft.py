"""Drafts: a tree made from a table passes every rule but those that ask for what the table cannot know."""

from __future__ import annotations

import random
import re
from datetime import date
from itertools import pairwise
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from kb_tools.author.draft import draft
from kb_tools.author.start import start
from kb_tools.cli._main import main
from kb_tools.model.build import load
from kb_tools.model.map_table import table_from_map
from kb_tools.numbers.best_order import best_order
from kb_tools.numbers.evidence import problem_of
from kb_tools.rules import contract
from making import listed

if TYPE_CHECKING:
    from pathlib import Path

    from kb_tools.findings import Finding
    from kb_tools.numbers.order_problem import Order

DAY = date(2026, 11, 20)
MAP = """\
title: A chain of eight parts
parts:
{parts}
flows:
{flows}
points:
{points}
"""


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """Return the starter library: two hazards, a proof, tools."""
    start(tmp_path / "library")
    return tmp_path / "library"


def drafted(root: Path, table_id: str) -> list[Finding]:
    """Draft a tree from a table of the library, put it in, and return what the rules say of it."""
    library = load(root)
    table = library.tables[table_id]
    text = draft(table, best_order(problem_of(table, library)).order, library, DAY)
    (root / "trees/first/drafted.yml").write_text(text, "utf-8")
    findings = contract.run(contract.subject_of(load(root), DAY))
    return [finding for finding in findings if finding.place.file == "trees/first/drafted.yml"]


def table_text(chance: random.Random) -> str:
    """Return a random table: checks that expose power, work on it live, or neither; some fixes known."""
    causes = [f"cause-{number}" for number in range(chance.randint(2, 7))]
    lines = ["title: 'Random: causes and checks'", "tree: chair-does-not-switch-on", "causes:"]
    for number, cause in enumerate(causes):
        fix = ", fix: new-fuse" if number == 0 else ", fix: push-home" if number == 1 else ""
        lines.append(f"  {cause}: {{share: {chance.randint(1, 9)}{fix}}}")
    lines.append("checks:")
    checks = [f"look-{number}" for number in range(chance.randint(1, 6))]
    for name in checks:
        lines += [f"  {name}:", f"    check: What does {name} show?", f"    takes: {chance.randint(1, 5)} min"]
        lines.append("    answers: [One, Two, Three]")
        lines += chance.choice(
            [[], ["    exposes: [power]"], ["    works_live: [power]", "    live_because: so", "    controls: such"]]
        )
    lines.append("shows:")
    for cause in causes:
        cells = [f"{name}: {chance.choice(['One', 'Two', 'Three', '[One, Two]'])}" for name in checks]
        lines.append(f"  {cause}: {{{', '.join(cells)}}}")
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("seed", range(60))
def test_a_draft_passes_every_rule_but_the_proofs_to_fill_in(root: Path, seed: int) -> None:
    """Isolation, restoring, ends and cases of a random table's draft hold; only missing proofs are told."""
    (root / "trees/tables").mkdir()
    (root / "trees/tables/random.yml").write_text(table_text(random.Random(seed)), "utf-8")
    assert {finding.rule for finding in drafted(root, "random")} <= {"fix-proven"}


@pytest.mark.parametrize("seed", range(30))
def test_a_draft_agrees_with_its_table(root: Path, seed: int) -> None:
    """Where the table then judges the drafted tree, every cause comes to its fix and none to another's."""
    (root / "trees/tables").mkdir()
    path = root / "trees/tables/random.yml"
    text = re.sub(r"\[One, Two\]", "One", table_text(random.Random(seed)))
    path.write_text(text, "utf-8")
    drafted(root, "random")
    text = re.sub(r"(cause-(\d): \{share: \d)\}", r"\1, fix: mend-cause-\2}", text)
    path.write_text(text.replace("tree: chair-does-not-switch-on", "tree: drafted"), "utf-8")
    findings = contract.run(contract.subject_of(load(root), DAY))
    assert not [one for one in findings if one.rule in ("table-tree-agrees", "reference-resolves")], listed(findings)


@pytest.mark.parametrize("seed", range(20))
def test_a_cause_that_a_draft_meets_at_several_places_keeps_its_share(root: Path, seed: int) -> None:
    """The shares of a cause's mendings add up to its own, each place with the part of the visits that come there."""
    (root / "trees/tables").mkdir()
    (root / "trees/tables/random.yml").write_text(table_text(random.Random(seed)), "utf-8")
    drafted(root, "random")
    library = load(root)
    table, tree = library.tables["random"], library.trees["drafted"]
    total = sum(float(step.share or 0) for step in tree.steps.values())
    assert total == pytest.approx(sum(float(row.share or 0) for row in table.causes.values()), rel=1e-3)
    for name, row in table.causes.items():
        own = str(row.fix) if row.fix else f"mend-{name}"
        shares = [float(step.share or 0) for step_id, step in tree.steps.items() if _is_numbered(step_id, own)]
        assert sum(shares) == pytest.approx(float(row.share or 0), rel=1e-3), name


def _is_numbered(step: str, wanted: str) -> bool:
    """Tell whether a step bears the wanted id, or that id with a number."""
    return step == wanted or (step.startswith(f"{wanted}-") and step.removeprefix(f"{wanted}-").isdigit())


def test_an_answer_of_two_parts_the_visits_by_hand(root: Path) -> None:
    """A cause of 8 that shows either answer to the first check is met at two places, at each with 4."""
    (root / "trees/tables").mkdir()
    text = (
        "title: Two\ncauses: {a: {share: 8}, b: {share: 2}, no-fault: {share: 6}}\n"
        "checks: {look: {check: 'Which?', answers: [A, B]}, feel: {check: 'Warm?', takes: 9 min, answers: [C, D]}}\n"
        "shows: {a: {look: [A, B], feel: C}, b: {look: A, feel: D}, no-fault: {look: B, feel: D}}\n"
    )
    (root / "trees/tables/two.yml").write_text(text, "utf-8")
    library = load(root)
    order: Order = {
        "check": "look",
        "answers": {
            "A": {"check": "feel", "answers": {"C": {"causes": ["a"]}, "D": {"causes": ["b"]}}},
            "B": {"check": "feel", "answers": {"C": {"causes": ["a"]}, "D": {"causes": ["no-fault"]}}},
        },
    }
    text = draft(library.tables["two"], order, library, DAY)
    (root / "trees/first/drafted.yml").write_text(text, "utf-8")
    steps = load(root).trees["drafted"].steps
    shares = {str(name): float(step.share) for name, step in steps.items() if step.share is not None}
    assert shares == {"mend-a": 4, "mend-b": 2, "mend-a-2": 4, "nothing-found": 6}


def test_a_draft_from_a_map_names_the_map(root: Path) -> None:
    """What a tree was drafted from stands first in its file, and is something that its author knows."""
    (root / "trees/maps").mkdir()
    (root / "trees/maps/chain.yml").write_text(
        "title: Two parts\nparts: {a: {name: A}, b: {name: B}}\nflows: [{from: a, to: b, carries: power}]\n"
        "points: [{id: at-b, at: b, carries: power, check: 'There?'}]\n",
        "utf-8",
    )
    told = CliRunner().invoke(main, ["draft", "chain", "--symptom", "at-b fails", "--library", str(root)])
    assert told.exit_code == 0
    assert "# Drafted from the equipment map chain: at-b fails." in told.stdout
    told = CliRunner().invoke(main, ["draft", "chain", "--symptom", "at-c fails", "--library", str(root)])
    assert told.exit_code == 2
    assert "its points: at-b" in told.stderr


def test_a_missing_proof_is_a_finding_and_no_silent_blank(root: Path) -> None:
    """A cause without a fix leaves a mending without proof, which `kb check` reports."""
    (root / "trees/tables").mkdir()
    text = (
        "title: Two\ncauses: {a: {share: 1}, b: {share: 2}}\n"
        "checks: {look: {check: 'Which?', answers: [A, B]}}\nshows: {a: {look: A}, b: {look: B}}\n"
    )
    (root / "trees/tables/two.yml").write_text(text, "utf-8")
    assert [finding.rule for finding in drafted(root, "two")] == ["fix-proven", "fix-proven"]


def test_half_split_falls_out_of_a_chain(root: Path) -> None:
    """In a chain of eight equal parts with a point after each, the best order halves: three checks each (theorem)."""
    names = [f"part-{number}" for number in range(8)]
    (root / "trees/maps").mkdir()
    (root / "trees/maps/chain.yml").write_text(
        MAP.format(
            parts="\n".join(f"  {name}: {{name: Part}}" for name in names),
            flows="\n".join(f"  - {{from: {a}, to: {b}, carries: power}}" for a, b in pairwise(names)),
            points="\n".join(
                f"  - {{id: at-{name}, at: {name}, carries: power, check: 'There?', takes: 1 min}}" for name in names
            ),
        ),
        "utf-8",
    )
    library = load(root)
    table = table_from_map(library, "chain", "at-part-7 fails")
    result = best_order(problem_of(table, library))
    assert result.exact
    assert result.expected_minutes == pytest.approx(3)
    assert "check" in result.order
    assert result.order["check"] == "at-part-3"
