"""A tree's page: whole without JavaScript, in the right order, with every way on as a link."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from conftest import DEMO_TREES
from kb_tools.model.build import load
from kb_tools.model.graph import build_graph
from kb_tools.numbers.odds import tree_numbers_with_links
from kb_tools.numbers.visit import Visits
from kb_tools.pages.diagram import laid_out
from kb_tools.pages.numbering import step_numbers
from kb_tools.pages.panels import panels_of
from kb_tools.pages.render import render, sentence
from kb_tools.pages.rich_text import inline
from kb_tools.pages.tree_page import TreePage, chart_of, tree_page
from kb_tools.pages.words import words_in, words_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from kb_tools.model.entities import Library

TESTS = Path(__file__).parent.parent
SMALL = TESTS / "data" / "small"
DEMO = TESTS.parent


def page_of(library: Library, tree_id: str) -> TreePage:
    """Return what the page of a tree shows."""
    graph = build_graph(library)
    drawn = laid_out(chart_of(library, graph, tree_id))
    return tree_page(library, graph, tree_id, drawn, Visits(graph, tree_numbers_with_links(graph, library, tree_id)))


def html_of(library: Library, tree_id: str) -> str:
    """Return the page of a tree, without its frame."""
    return render("tree", words_of(library), page=page_of(library, tree_id))


def section(page: str, step: str) -> str:
    """Return the part of a page that belongs to a step."""
    found = re.search(rf'<section [^>]*id="{step}">.*?</section>', page, re.DOTALL)
    assert found, f"there is no step {step}"
    return found[0]


def test_page_is_as_accepted(gold: Callable[[str, str], None]) -> None:
    """The page of a small tree, drawing left out, is the one that somebody has read."""
    page = re.sub(r"<svg class=\"ft-drawing\".*?</svg>", "(drawing)", html_of(load(SMALL), "seat-stuck"))
    gold("pages/seat-stuck.html", re.sub(r"\n{2,}", "\n", page).replace("><", ">\n<") + "\n")


@pytest.fixture(scope="module")
def demo() -> Library:
    """Read the demo library once; no test changes it."""
    return load(DEMO)


@pytest.mark.parametrize("tree_id", sorted(DEMO_TREES))
def test_every_demo_step_and_way_stands_on_its_page(tree_id: str, demo: Library) -> None:
    """Each step has a section in the order of the numbers; each way on is a link that names its number."""
    library = demo
    graph = build_graph(library)
    page = html_of(library, tree_id)
    numbers = step_numbers(library.trees[tree_id])
    assert re.findall(r'<section class="ft-step [^"]*" id="([^"]*)">', page) == list(numbers)
    for name in library.trees[tree_id].steps:
        part = section(page, name)
        for way in graph.nodes[f"{tree_id}/{name}"].ways:
            assert way.target
            tree, _, target = way.target.partition("/")
            address = f"{tree}.html#{target}" if tree != tree_id else f"#{target}"
            number = step_numbers(library.trees[tree])[target]
            link = re.search(rf'<a href="{re.escape(address)}">.*?</a>', part, re.DOTALL)
            assert link
            assert re.search(rf"go to step {number}\b", part)


def test_cautions_come_first(demo: Library) -> None:
    """Before the drawing stand the tree's cautions, before a step's instructions those of its hazards."""
    library = demo
    page = html_of(library, "does-not-stop")
    assert page.index('class="ft-panel') < page.index('class="ft-drawing"') < page.index('id="ft_steps"')
    for name, step in library.trees["does-not-stop"].steps.items():
        for hazard in (*step.exposes, *step.works_live):
            part = section(page, name)
            for caution in panels_of(library.cautions_for(hazard), library, "../"):
                panel = re.search(rf'class="ft-panel (ft-reminder )?ft-{caution.signal.lower()}"', part)
                assert panel
                assert f"{caution.signal}</p>" in part
                assert str(caution.text) in part
                assert str(caution.avoid) in part
                assert panel.start() < part.index('class="ft-plain ft-ways"')
                how = re.search('class="ft-(how|takes|put-back)"', part)
                assert how is None or panel.start() < how.start()


def test_exposing_step_says_where_it_was_isolated() -> None:
    """A step that lays a hazard open names the steps that isolate it, as links."""
    library = load(SMALL)
    page = page_of(library, "seat-stuck")
    exposing = [step for step in page.steps if step.exposes]
    assert exposing
    for step in exposing:
        for hazard, by in step.exposes:
            assert by, f"{step.id} does not say by which step {hazard} is isolated"
            assert all(number < step.number for _, number in by)


def test_no_triangle_without_danger_to_people() -> None:
    """NOTICE bears no safety alert symbol, the other signal words do (ANSI Z535.6)."""
    library = load(SMALL)
    caution = next(iter(library.cautions.values()))
    for signal, wanted in (("DANGER", 1), ("WARNING", 1), ("CAUTION", 1), ("NOTICE", 0)):
        caution.signal = type(caution.text)(signal)
        (panel,) = panels_of(list(library.cautions)[:1], library, "")
        shown = render("cautions", words_in("en"), page={"cautions": [{"panel": panel, "users": []}]})
        assert shown.count('class="ft-alert"') == wanted
        assert f"{signal}</p>" in shown


def test_a_proof_is_listed_once_and_then_named(demo: Library) -> None:
    """The first step that needs a proof lists its items; later ones say where the list stands."""
    page = page_of(demo, "does-not-stop")
    first: dict[str, int] = {}
    for step in page.steps:
        if step.proof:
            assert step.proof_at == first.get(step.proof.id)
            first.setdefault(step.proof.id, step.number)
    assert first


def test_assumed_minutes_are_said_to_be_assumed() -> None:
    """What `takes` does not say is shown as assumed, what it says is not."""
    library = load(SMALL)
    for tree_id, tree in library.trees.items():
        page = html_of(library, tree_id)
        for name, step in tree.steps.items():
            if step.minutes:
                assert ("(assumed)" in section(page, name)) == (step.takes is None)


def test_sentences_end_once() -> None:
    """A full stop is added only where a sentence has no end of its own, markup or not."""
    assert sentence("Stop") == "Stop."
    assert sentence("Stop!") == "Stop!"
    assert sentence(inline("Keep it **off**")) == "Keep it <strong>off</strong>."
    assert sentence(inline("Keep it **off.**")) == "Keep it <strong>off.</strong>"
    assert sentence("") == ""
