"""Pages of evidence tables and what pages of maps tell of testability: the figures of `kb order`, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from conftest import ROOT
from kb_tools.model.build import load
from kb_tools.model.graph import build_graph
from kb_tools.model.map_table import table_from_map
from kb_tools.numbers.best_order import best_order, groups
from kb_tools.numbers.evidence import problem_of
from kb_tools.numbers.odds import library_numbers
from kb_tools.numbers.testability import testability
from kb_tools.numbers.tree_on_table import tree_on_table
from kb_tools.pages import table_page as module
from kb_tools.pages.map_page import map_page
from kb_tools.pages.render import render
from kb_tools.pages.table_page import TablePage, table_page
from kb_tools.pages.words import words_in

if TYPE_CHECKING:
    from pathlib import Path

LIBRARY = load(ROOT)
GRAPH = build_graph(LIBRARY)
NUMBERS = library_numbers(GRAPH, LIBRARY)


def page_of(table: str) -> TablePage:
    """Return the page of a demo table."""
    return table_page(LIBRARY, GRAPH, NUMBERS, table)


@pytest.mark.parametrize("table", sorted(LIBRARY.tables))
def test_a_table_page_tells_the_figures_of_the_search(table: str) -> None:
    """Optimum, bound, the tree's minutes, groups and testability are those that were computed; each cause is there."""
    page = page_of(table)
    html = render("table", words_in("en"), page=page)
    problem = problem_of(LIBRARY.tables[table], LIBRARY)
    best = best_order(problem)
    played = tree_on_table(LIBRARY.tables[table], problem, LIBRARY, GRAPH, NUMBERS)
    assert best.exact
    figures = [figure for _, figure, _ in page.bars]
    assert f"{best.expected_minutes:.1f} min" in figures
    if played:
        assert figures[0] == f"{played.minutes:.1f} min"
        assert page.tree
        assert page.tree[1] in html
    sight = testability(problem)
    assert f"{words_in('en').percent(sight.detected)} detected" in " ".join(page.sight)
    assert (
        f"{words_in('en').percent(sight.isolated[1])} isolated to one" in " ".join(page.sight) or not sight.isolated[1]
    )
    assert sum(line.startswith("No check can tell apart") for line in page.sight) == len(best.groups)
    assert len(page.causes) == len(problem.causes)
    assert all(len(cause.shows) == len(problem.checks) for cause in page.causes)
    numbers = [step.number for step in page.order]
    assert numbers == list(range(1, len(numbers) + 1))
    ends = {end for step in page.order for _, number, end in step.ways if not number}
    assert ends
    assert all(number in {0, *numbers} for step in page.order for _, number, _ in step.ways)


def test_a_table_too_large_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """Beyond the size that a page computes it names the command; the tree's figures do not appear half."""
    monkeypatch.setattr(module, "ALWAYS_EXACT", 3)
    page = page_of("chair-dead")
    assert "Not computed here" in page.order_words[0]
    assert "kb order chair-dead" in page.order_words[0]
    assert (page.order, page.bars) == ([], [])


def test_a_search_cut_short_is_the_same_each_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """A page's search ends after so many situations, with a bound, and twice with the same page."""
    monkeypatch.setattr(module, "MOST_STATES", 3)
    one, other = page_of("chair-dead"), page_of("chair-dead")
    assert one == other
    assert any(text.startswith("No order takes less") for text, _, _ in one.bars)


def test_a_cause_that_ends_elsewhere_is_told_with_the_way(tmp_path: Path) -> None:
    """A tree that sends a cause astray: the page says where it ends, how often, and over which steps."""
    tree = (ROOT / "trees/chair/chair-dead.yml").read_text("utf-8")
    for name in ("trees/shared", "trees/chair", "trees/tables", "trees/guard", "trees/both", "trees/maps"):
        target = tmp_path / name
        target.mkdir(parents=True)
        for path in (ROOT / name).glob("*.yml"):
            (target / path.name).write_text(path.read_text("utf-8"), "utf-8")
    astray = tree.replace("answer: Popped out, to: push-breaker", "answer: Popped out, to: desk")
    assert astray != tree, "the demo tree has changed: mend this test"
    (tmp_path / "trees/chair/chair-dead.yml").write_text(astray, "utf-8")
    library = load(tmp_path)
    graph = build_graph(library)
    page = table_page(library, graph, library_numbers(graph, library), "chair-dead")
    assert page.strays
    popped = next(cause for cause in page.causes if cause.name == "Breaker popped")
    assert popped.elsewhere
    assert "over steps 1" in popped.elsewhere[0]


@pytest.mark.parametrize("map_id", sorted(LIBRARY.maps))
def test_each_point_of_a_map_tells_what_the_others_can_tell(map_id: str) -> None:
    """The page of a map gives for each point the testability of the table derived from it, and names its groups."""
    page = map_page(LIBRARY, map_id, list(LIBRARY.trees.values()))
    for point, view in zip(LIBRARY.maps[map_id].points, page.points, strict=True):
        problem = problem_of(table_from_map(LIBRARY, map_id, str(point.id)), LIBRARY)
        told = " ".join(view.sight)
        if len(problem.causes) == 1:
            assert told.startswith("Only ")
            continue
        sight = testability(problem)
        assert f"{words_in('en').percent(sight.detected)} detected" in told
        assert told.count("No check can tell apart") == len(groups(problem))
    assert "Blind spots" in render("map", words_in("en"), page=page)
