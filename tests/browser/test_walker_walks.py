"""Walks from begin to end, by clicks, by keys, in every engine."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from browser.browsing import PHONE
from browser.walking import CURRENT, Plan, Trees, Walker, page

if TYPE_CHECKING:
    from browser.browsing import Browser
    from browser.conftest import OpenBrowser

chromium_only = pytest.mark.parametrize("engine", ["chromium"], indirect=True)
TREE_IDS = sorted(
    path.stem
    for path in (Path(__file__).parent.parent.parent / "trees").glob("*/*.yml")
    if path.parent.name not in {"shared", "tables", "maps"}
)
SHOWS = {"fix": "cured", "escalate": "left", "done": "left", "link": "go"}
"""A control that the screen of each kind of end has."""
FOCUSED = "document.activeElement.closest('.fw-walker') !== null"
"""The focus has gone to what was drawn: it does so just after the drawing."""


@pytest.fixture(scope="module")
def trees(demo_site: Path) -> Trees:
    """Return the demo library's trees."""
    return Trees(demo_site)


def _walk_to(walker: Walker, trees: Trees, tree_id: str, plan: Plan, end: str) -> None:
    """Begin on the open page, take the planned ways by their controls, find the end's own control, and pause."""
    browser = walker.browser
    browser.eval("document.querySelector('[data-ft=begin]').click()")
    browser.await_js(CURRENT)
    assert walker.rush(plan) == end
    assert browser.count(f"[data-ft={SHOWS[trees.by_id[tree_id]['steps'][end]['kind']]}]"), f"{tree_id}/{end}"
    browser.eval("document.querySelector('[data-ft=pause]').click()")


@pytest.mark.timeout(300)
@pytest.mark.parametrize("engine", ["firefox", "webkit"], indirect=True)
def test_every_tree_walks_to_an_end(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """Every tree is walked from disk through its real controls to the nearest of its ends."""
    walker = Walker(browser)
    for tree_id in trees.by_id:
        plan = trees.plan_where(tree_id, lambda step: step["kind"] in SHOWS)
        assert plan is not None
        browser.open(page(demo_site, tree_id))
        browser.await_js("document.querySelector('.fw-site') !== null")
        _walk_to(walker, trees, tree_id, plan, trees.ends_at(tree_id, plan))


@pytest.mark.timeout(300)
@chromium_only
@pytest.mark.parametrize("tree_id", TREE_IDS)
def test_every_end_of_every_tree(browser: Browser, demo_site: Path, trees: Trees, tree_id: str) -> None:
    """Each end that a tree has is walked to from disk through the real controls, cautions and readings included."""
    walker = Walker(browser)
    browser.open(page(demo_site, tree_id))
    browser.await_js("document.querySelector('.fw-site') !== null")
    steps = trees.by_id[tree_id]["steps"]
    ends = [name for name, step in steps.items() if step["kind"] in SHOWS]
    assert ends
    for end in ends:
        plan = trees.plan_where(tree_id, lambda step, end=end: step is steps[end])
        assert plan is not None, f"no way within {tree_id} to {end}"
        _walk_to(walker, trees, tree_id, plan, end)


def test_phone_from_begin_to_record(open_browser: OpenBrowser, demo_site: Path, trees: Trees) -> None:
    """A fix is walked to, proven and recorded by clicks on a phone; each stored answer bears its time."""
    browser = open_browser(PHONE)
    walker = Walker(browser)
    tree_id, plan = trees.find(lambda step: step["kind"] == "fix" and step["proof"] and step["exposes"])
    walker.begin(page(demo_site, tree_id))
    browser.fill("#fw_field_lamps", "armrest lamp dark")
    walker.walk(plan)
    assert browser.eval("document.querySelector('[data-ft=cured]').disabled"), "an open proof shuts `cured`"
    walker.pass_proof()
    browser.click("[data-ft=cured]")
    browser.await_js("document.querySelector('[data-ft=left]') !== null")
    browser.click('[data-ft=left][data-ft-value="in service"]')
    browser.click("[data-ft=finish]")
    browser.await_js("document.querySelector('[data-ft=record-delete]') !== null")
    text = browser.text(".fw-record")
    assert "armrest lamp dark" in text
    for step, _ in plan:
        assert trees.by_id[tree_id]["steps"][step]["text"] in text
    visit = walker.visit()
    assert visit["left"] == "in service"
    assert visit["outcome"] == "cured"
    assert [one["step"] for one in visit["steps"]] == [step for step, _ in plan] + [trees.ends_at(tree_id, plan)]
    assert all(one["at"].endswith("Z") for one in visit["steps"])
    assert {ack["kind"] for ack in visit["acks"]} == {"caution"}
    assert [item["result"] for fix in visit["fixes"] for item in fix["proof"]["items"]].count("passed")


def test_back_link_and_back_out(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """A link leads on into the other tree on the same page, and Back leads out again."""
    tree_id, plan = trees.find(lambda step: step["kind"] == "link")
    walker = Walker(browser)
    walker.begin(page(demo_site, tree_id))
    walker.rush(plan)
    at = trees.ends_at(tree_id, plan)
    target = trees.by_id[tree_id]["steps"][at]["link"]
    walker.acknowledge()
    browser.click("[data-ft=go]")
    browser.await_js(f"{CURRENT} === '{target['step']}'")
    assert page(demo_site, tree_id) in browser.url()
    assert trees.by_id[target["tree"]]["title"] in browser.text(".fw-bar")
    browser.click("[data-ft=back]")
    browser.await_js(f"{CURRENT} === '{at}'")
    assert trees.by_id[tree_id]["title"] in browser.text(".fw-bar")


def test_keyboard_only(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """Number keys answer, Backspace goes back, the keys are shown on request and can be switched off."""
    tree_id, plan = trees.find(lambda step: step["kind"] == "escalate")
    steps = trees.by_id[tree_id]["steps"]
    walker = Walker(browser)
    browser.open(page(demo_site, tree_id))
    browser.await_js("document.querySelector('.fw-site') !== null")
    browser.eval("document.querySelector('[data-ft=begin]').focus()")
    browser.press("Enter")
    browser.await_js(FOCUSED)
    browser.press("Tab")
    assert browser.eval("document.activeElement.dataset.ft") == "found-skip"
    browser.press("Enter")
    for step, way in plan:
        browser.await_js(f"{CURRENT} === '{step}' && {FOCUSED}")
        while browser.count("[data-ft=caution-ack]"):
            for _ in range(8):
                if browser.eval("document.activeElement.dataset.ft ?? ''") == "caution-ack":
                    break
                browser.press("Tab")
            browser.press("Enter")
        browser.press(str(steps[step]["ways"].index(way) + 1))
    browser.await_js(f"{CURRENT} === '{trees.ends_at(tree_id, plan)}'")
    browser.press("?")
    browser.await_js("document.querySelector('.fw-walker').classList.contains('fw-keys')")
    browser.press("Backspace")
    browser.await_js(f"{CURRENT} === '{plan[-1][0]}'")
    browser.click(".fw-walker div > [data-ft=keys-switch]")
    browser.eval("document.activeElement.blur()")
    browser.press("Backspace")
    assert walker.current == plan[-1][0], "switched off"


@chromium_only
def test_focus_goes_to_the_new_step(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """After an answer the focus is at the new step's heading, or at the cautions that stand before it."""
    tree_id, plan = trees.find(lambda step: step["kind"] == "fix")
    walker = Walker(browser)
    walker.begin(page(demo_site, tree_id))
    for step, way in plan:
        assert walker.current == step
        walker.take(way)
        browser.await_js("document.activeElement.matches('[data-ft-current] h1, [data-ft-current] .fw-cautions')")
