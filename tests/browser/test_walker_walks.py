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


def covering(trees: Trees) -> list[tuple[str, Plan, str]]:
    """Return few ways to ends, each with its tree, that show whatever any such way of any tree shows.

    That is: a kind of step left by a kind of way, with or without cautions, something exposed or isolated, a wait,
    and a kind of end, with or without a proof.
    """
    left: set[object] = set()
    all_shown = {}
    for tree_id, tree in trees.by_id.items():
        for plan, end in trees.to_ends(tree_id, SHOWS):
            shown: set[object] = {(tree["steps"][end]["kind"], bool(tree["steps"][end].get("proof")))}
            for step, way in plan:
                about = tree["steps"][step]
                shown.add((about["kind"], way["via"]))
                shown |= {(about["kind"], key) for key in ("cautions", "exposes", "wait") if about[key]}
                shown |= {(way["via"], key) for key in ("isolates", "confirms", "restores", "stop_use") if way.get(key)}
            all_shown[tree_id, end] = (plan, shown)
            left |= shown
    chosen = []
    while left:
        (tree_id, end), (plan, shown) = max(all_shown.items(), key=lambda one: len(one[1][1] & left))
        chosen.append((tree_id, plan, end))
        left -= shown
    return chosen


@pytest.mark.parametrize("engine", ["firefox", "webkit"], indirect=True)
def test_every_kind_of_step_walks_to_an_end(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """From disk, through the real controls: as few walks as show each kind of step, of way and of end.

    All ends of all trees are walked to in Chromium, below; that the engine of the walk is right on every path is
    proven in step with its twin in Python.
    """
    walker = Walker(browser)
    walks = covering(trees)
    assert {trees.by_id[tree_id]["steps"][end]["kind"] for tree_id, _, end in walks} == set(SHOWS)
    for tree_id, plan, end in walks:
        walker.begin(page(demo_site, tree_id))
        assert walker.rush(plan) == end
        assert browser.count(f"[data-ft={SHOWS[trees.by_id[tree_id]['steps'][end]['kind']]}]"), f"{tree_id}/{end}"


@chromium_only
@pytest.mark.parametrize("tree_id", TREE_IDS)
def test_every_end_of_every_tree(browser: Browser, demo_site: Path, trees: Trees, tree_id: str) -> None:
    """Each end that a tree has is walked to from disk through the real controls, cautions and readings included.

    From one end to the next the step where their ways part is opened again and answered otherwise.
    """
    walker = Walker(browser)
    steps = trees.by_id[tree_id]["steps"]
    ends = trees.to_ends(tree_id, SHOWS)
    assert ends
    walker.begin(page(demo_site, tree_id))
    found = walker.branch(tree_id, [(plan, f"[data-ft={SHOWS[steps[end]['kind']]}]") for plan, end in ends])
    assert found == [(end, True) for _, end in ends]


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
