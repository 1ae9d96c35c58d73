"""What a tree costs on its table: a tree drafted from the best order costs the optimum, and a small one by hand."""

from __future__ import annotations

import random
from datetime import date
from typing import TYPE_CHECKING

import pytest

from kb_tools.author.draft import draft
from kb_tools.author.start import start
from kb_tools.model.build import load
from kb_tools.model.graph import build_graph
from kb_tools.numbers.best_order import best_order
from kb_tools.numbers.evidence import problem_of
from kb_tools.numbers.odds import library_numbers
from kb_tools.numbers.tree_on_table import TreeOnTable, tree_on_table

if TYPE_CHECKING:
    from pathlib import Path

DAY = date(2026, 11, 20)


def played(root: Path, table_id: str) -> TreeOnTable:
    """Play the causes of a table through its tree."""
    library = load(root)
    graph = build_graph(library)
    table = library.tables[table_id]
    found = tree_on_table(table, problem_of(table, library), library, graph, library_numbers(graph, library))
    assert found
    return found


def random_table(chance: random.Random) -> str:
    """Return a random table of one answer a cell; checks may expose power, or be done live."""
    causes = [f"cause-{number}" for number in range(chance.randint(2, 7))]
    checks = [f"look-{number}" for number in range(chance.randint(2, 6))]
    lines = ["title: Random", "tree: drafted", "causes:"]
    lines += [f"  {cause}: {{share: {chance.randint(1, 9)}}}" for cause in causes]
    lines.append("checks:")
    for name in checks:
        lines += [f"  {name}:", f"    check: What does {name} show?", f"    takes: {chance.randint(1, 5)} min"]
        lines.append("    answers: [One, Two, Three]")
        lines += chance.choice(
            [[], ["    exposes: [power]"], ["    works_live: [power]", "    live_because: so", "    controls: such"]]
        )
    lines.append("shows:")
    for cause in causes:
        cells = [f"{name}: {chance.choice(['One', 'Two', 'Three'])}" for name in checks]
        lines.append(f"  {cause}: {{{', '.join(cells)}}}")
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("seed", range(25))
def test_a_tree_drafted_from_the_best_order_costs_the_optimum(tmp_path: Path, seed: int) -> None:
    """The tree that `kb draft` makes of the best order needs the order's expected minutes: two ways to one figure."""
    start(tmp_path / "library")
    root = tmp_path / "library"
    (root / "trees/tables").mkdir()
    (root / "trees/tables/random.yml").write_text(random_table(random.Random(seed)), "utf-8")
    library = load(root)
    best = best_order(problem_of(library.tables["random"], library))
    text = draft(library.tables["random"], best.order, library, DAY)
    (root / "trees/first/drafted.yml").write_text(text, "utf-8")
    found = played(root, "random")
    assert found.minutes == pytest.approx(best.expected_minutes)
    assert found.beside == 0


TREE = """\
title: The lamp is dark
reviewed: 2026-10-14
start: story
steps:
  story:
    check: Was it dropped?
    takes: 2 min
    answers: [{answer: 'Yes', to: desk}, {answer: 'No', to: lamp}]
  lamp:
    check: Is the lamp lit?
    takes: 1 min
    answers: [{answer: 'Lit', to: lead}, {answer: 'Dark', to: fuse}]
  lead:
    fix: Mend the lead
    share: 1
    not_cured: desk
  fuse:
    fix: Replace the fuse
    share: 3
    not_cured: desk
  desk:
    escalate: Ask the maker
    share: 4
"""
TABLE = """\
title: Causes
tree: dark
causes:
  fuse-blown: {share: 3, fix: fuse}
  lead-broken: {share: 1, fix: lead}
checks:
  lamp: {check: Is the lamp lit?, takes: 1 min, answers: [Lit, Dark]}
shows:
  fuse-blown: {lamp: Dark}
  lead-broken: {lamp: [Lit, Dark]}
"""


def test_a_small_tree_by_hand(tmp_path: Path) -> None:
    """Both causes pay 2 + 1 minutes, 2 of them beside the table; the lead ends at the desk half of the time."""
    for name, text in (("both/dark.yml", TREE), ("tables/dark.yml", TABLE)):
        path = tmp_path / "trees" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8")
    found = played(tmp_path, "dark")
    assert found.minutes == pytest.approx(3)
    assert found.beside == pytest.approx(2)
    fuse, lead = found.causes
    assert fuse.home == pytest.approx(1)
    assert not fuse.elsewhere
    assert lead.home == pytest.approx(0.5)
    (stray,) = lead.elsewhere
    assert stray.end == "dark/desk"
    assert stray.chance == pytest.approx(0.5)
    assert stray.path[-1] == "dark/desk"
