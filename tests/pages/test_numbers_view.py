"""The numbers section in words: what is taken along, what becomes of visits, what is left out and what is summed up."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from kb_tools.model.build import load
from kb_tools.model.graph import build_graph
from kb_tools.numbers.odds import library_numbers, tree_numbers_with_links
from kb_tools.numbers.visit import Visits
from kb_tools.pages.numbers_view import MOST_ROWS, NumbersView, numbers_view
from kb_tools.pages.table_page import table_page
from random_trees import read_library

if TYPE_CHECKING:
    from kb_tools.model.entities import Library

DEMO = Path(__file__).parents[2]


def view_of(library: Library, tree: str) -> NumbersView:
    """Return what the section of a tree shows."""
    graph = build_graph(library)
    return numbers_view(
        library, graph, library.trees[tree], Visits(graph, tree_numbers_with_links(graph, library, tree))
    )


@pytest.fixture(scope="module")
def demo() -> Library:
    """Return the demo library."""
    return load(DEMO)


@pytest.mark.parametrize("tree", ["chair-dead", "yearly-check", "lamp-off"])
def test_what_is_left_over_is_told(demo: Library, tree: str) -> None:
    """Cured, handed over and neither make 100 % together, and so do the causes with those beyond the rows."""
    view = view_of(demo, tree)
    outcome = next(line for line in view.summary if "end cured" in line)
    told = [int(figure) for figure in re.findall(r"(\d+)\W%", outcome)]
    assert len(told) == 3
    assert sum(told) == pytest.approx(100, abs=1.5)
    assert len(view.causes) == MOST_ROWS + 1
    assert view.causes[-1].text == "Anything else"
    assert sum(row.percent for row in view.causes) == pytest.approx(100, abs=5)


def test_tools_and_spares_stand_apart(demo: Library) -> None:
    """What to take along is two lists, and then how far that reaches."""
    view = view_of(demo, "chair-dead")
    assert view.pack[0].startswith("Tools: Multimeter")
    assert view.pack[1].startswith("Spares: ")
    assert view.pack[2].startswith("With these, ")


def test_what_is_not_counted_is_named_in_words(tmp_path: Path) -> None:
    """A cause that only those come to who cannot tell is told by its text, not by its id."""
    tree: dict[str, Any] = {
        "title": "First",
        "reviewed": "2026-10-14",
        "start": "look",
        "steps": {
            "look": {
                "check": "Lit?",
                "answers": [{"answer": "Yes", "to": "ok"}, {"answer": "Cannot tell", "to": "desk-x", "unsure": True}],
            },
            "ok": {"done": "All is well", "share": 1},
            "desk-x": {"escalate": "Ask the workshop", "share": 1},
        },
    }
    view = view_of(read_library(tmp_path, {"t0": tree}), "t0")
    dropped = next(line for line in view.summary if line.startswith("Not counted"))
    assert dropped.endswith("leads there: Ask the workshop.")


def test_a_table_s_difference_is_that_of_the_figures_beside_it(demo: Library) -> None:
    """Whoever subtracts the minutes of the best order from those of the tree gets the difference that is told."""
    graph = build_graph(demo)
    numbers = library_numbers(graph, demo)
    told = 0
    for name in demo.tables:
        page = table_page(demo, graph, numbers, name)
        tree, best = (float(str(minutes).split("\xa0")[0].split()[0]) for _, minutes, _ in page.bars[:2])
        more = re.search(r"That is ([\d.]+)\W", " ".join(page.judged))
        if more:
            told += 1
            assert float(more[1]) == pytest.approx(tree - best, abs=1e-9), name
    assert told
