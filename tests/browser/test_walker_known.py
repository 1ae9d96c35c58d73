"""Starting from what is already known: facts in any order, odds that follow, and no step passed that must not be."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from browser.walking import CURRENT, Trees
from kb_tools.model.walk import Walk

if TYPE_CHECKING:
    from pathlib import Path

    from browser.browsing import Browser

TREE = "nothing-lights-after-lead-change"
FACTS = {
    "supply-volts": "25.1",
    "guard-lamp": "Dark",
    "display": "Lit",
    "story": "Nothing known",
    "smell": "No",
    "set-volts": "25.1",
}
"""Stated in this order, which is not the walk's."""
READ = "[data-ft='caution-ack']"
GO = "[data-ft='known-go']"


@pytest.fixture(scope="module")
def trees(demo_site: Path) -> Trees:
    """The compiled trees of the demo site."""
    return Trees(demo_site)


def state_facts(browser: Browser, facts: dict[str, str]) -> None:
    """Fill in facts as a person does."""
    for step, value in facts.items():
        browser.eval(
            f"(() => {{ const one = document.querySelector(\"[data-ft='fact'][data-ft-value='{step}']\");"
            f"one.value = {json.dumps(value)}; one.dispatchEvent(new Event('change')); return one.value }})()"
        )


def deepest(trees: Trees, facts: dict[str, str]) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """Return the state that the engine's twin in Python comes to with these facts, and the causes left before."""
    walk = Walk(trees.by_id, TREE)  # type: ignore[arg-type]
    causes = walk.known(facts)
    for caution in walk.cautions_due():
        walk.acknowledge(caution)
    walk.jump(facts)
    return dict(walk.state()), causes


def test_facts_in_any_order_lead_to_the_deepest_step(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """From the finder to the step that the facts decide: cautions first, odds that follow, all in the record."""
    browser.open((demo_site / "index.html").as_uri())
    browser.fill("[data-ft='find-box']", "nothing lights up after the lead was changed")
    browser.click("[data-ft='find-known']")
    browser.await_js("document.querySelector('.fw-known') !== null")
    state_facts(browser, FACTS)
    state, causes = deepest(trees, FACTS)
    end = state["step"]
    assert end != trees.by_id[TREE]["start"]
    assert browser.eval("document.querySelectorAll('.fw-sum li').length") == len(causes) - 1
    assert trees.by_id[TREE]["steps"][causes[0]["id"]]["text"] in browser.text(".fw-sum summary")
    assert browser.eval(f'document.querySelector("{GO}").disabled')
    browser.click(READ)
    browser.click(GO)
    browser.await_js(f"{CURRENT} !== null")
    assert browser.eval(CURRENT) == end
    browser.click("[data-ft='record']")
    browser.await_js("document.querySelector('.fw-record') !== null")
    assert browser.text(".fw-record").count("stated beforehand") == len(state["trail"])


def test_no_stated_fact_passes_what_the_walk_must_ask(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """With every question answered beforehand the walk stops before the first live, exposing or isolating step."""
    steps = trees.by_id[TREE]["steps"]
    plan = trees.plan_where(TREE, lambda step: step["kind"] == "fix" and step["exposes"])
    assert plan
    facts = {step: way["label"] for step, way in plan if steps[step]["kind"] in ("check", "measure")}
    assert any(steps[step]["exposes"] + steps[step]["works_live"] for step in facts)
    browser.open((demo_site / "trees" / f"{TREE}.html").as_uri() + "#known")
    browser.await_js("document.querySelector('.fw-known') !== null")
    state_facts(browser, facts)
    browser.click(READ)
    browser.click(GO)
    browser.await_js(f"{CURRENT} !== null")
    trail = browser.eval("[...document.querySelectorAll('[data-ft=trail]')].map(one => one.dataset.ftValue)")
    assert trail
    for key in trail:
        step = steps[key.partition("/")[2]]
        assert step["kind"] in ("check", "measure")
        assert not step["exposes"] + step["works_live"]
        assert not any(way["isolates"] + way["confirms"] + way["restores"] for way in step["ways"])


def test_a_stated_answer_taken_back_is_asked(browser: Browser, demo_site: Path) -> None:
    """A stated answer can be changed like any other; what is then answered is no longer told as stated."""
    browser.open((demo_site / "trees" / f"{TREE}.html").as_uri())
    browser.click("[data-ft='known']")
    browser.await_js("document.querySelector('.fw-known') !== null")
    browser.click(READ)
    state_facts(browser, {"story": "Nothing known", "smell": "No"})
    browser.click(GO)
    browser.await_js(f"{CURRENT} === 'display'")
    browser.click("[data-ft='trail']")
    browser.await_js(f"{CURRENT} === 'story'")
    browser.eval("document.querySelectorAll('[data-ft=caution-ack]').forEach(one => one.click())")
    browser.click("[data-ft='answer'][data-ft-value='Nothing known']")
    browser.await_js(f"{CURRENT} === 'display'")
    browser.click("[data-ft='record']")
    browser.await_js("document.querySelector('.fw-record') !== null")
    text = browser.text(".fw-record")
    assert "stated beforehand: No" in text
    assert "stated beforehand: Nothing known" not in text.partition("Answers taken back")[0]


@pytest.mark.parametrize("engine", ["chromium"], indirect=True)
def test_a_stated_reading_is_doubted_as_in_the_walk(browser: Browser, demo_site: Path) -> None:
    """A reading that cannot be is told in the words of the walk, and the way on is shut until it is mended."""
    browser.open((demo_site / "trees" / "hot-or-smells.html").as_uri() + "#known")
    browser.await_js("document.querySelector('.fw-known') !== null")
    browser.click(READ)
    shut = f"document.querySelector({json.dumps(GO)}).disabled"
    for reading, told in (("9999", "9999 °C cannot be right"), ("12 bar", "°C, °F, K"), ("1,500", "in two ways")):
        state_facts(browser, {"warmest": reading})
        assert told in browser.text(".fw-sum .fw-bad")
        assert browser.eval(shut)
    state_facts(browser, {"warmest": "95 °F"})
    assert browser.count(".fw-sum .fw-bad") == 0
    assert not browser.eval(shut)
