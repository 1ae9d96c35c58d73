"""What the walk asks of the device: a screen that stays awake, the clipboard, a finger."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from browser.browsing import Look
from browser.walking import CURRENT, Trees, Walker, page

if TYPE_CHECKING:
    from pathlib import Path

    from browser.browsing import Browser
    from browser.conftest import OpenBrowser

chromium_only = pytest.mark.parametrize("engine", ["chromium"], indirect=True)
_WAKE_LOCK = """(() => {
  const told = window.told = [];
  const request = async kind => {
    told.push('asked ' + kind);
    return {release: async () => { told.push('released'); }};
  };
  Object.defineProperty(navigator, 'wakeLock', {configurable: true, value: {request}});
  return 0;
})()"""
_SHOWN_AGAIN = "(document.dispatchEvent(new Event('visibilitychange')), 0)"
_CLIPBOARD = """(() => {
  window.copied = [];
  const writeText = async text => { %s };
  Object.defineProperty(navigator, 'clipboard', {configurable: true, value: {writeText}});
  return 0;
})()"""


@pytest.fixture(scope="module")
def trees(demo_site: Path) -> Trees:
    """Return the demo library's trees."""
    return Trees(demo_site)


def test_screen_stays_awake_while_a_walk_is_open(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """The screen is asked to stay awake from the first step on, again when shown again, and let go after."""
    browser.open(page(demo_site, next(iter(trees.by_id))))
    browser.await_js("document.querySelector('[data-ft=begin]:not([hidden])') !== null")
    browser.eval(_WAKE_LOCK)
    browser.click("[data-ft=begin]")
    browser.await_js(f"{CURRENT} !== null")
    browser.await_js("told.includes('asked screen')")
    asked = browser.eval("told.length")
    browser.eval(_SHOWN_AGAIN)
    browser.await_js(f"told.length > {asked} && told.at(-1) === 'asked screen'")
    browser.click("[data-ft=pause]")
    browser.await_js("told.at(-1) === 'released'")
    browser.eval(_SHOWN_AGAIN)
    assert browser.eval("told.at(-1)") == "released"


@pytest.mark.parametrize("works", [True, False], ids=["allowed", "refused"])
def test_code_to_the_clipboard(browser: Browser, demo_site: Path, trees: Trees, *, works: bool) -> None:
    """The code is copied where the browser allows it; where it refuses, it lies selected, to be copied by hand."""
    tree_id, plan = trees.find(lambda step: step["kind"] == "fix")
    walker = Walker(browser)
    walker.begin(page(demo_site, tree_id))
    walker.rush(plan)
    browser.eval(_CLIPBOARD % ("window.copied.push(text);" if works else "throw new Error('refused');"))
    browser.click("[data-ft=hand-over]")
    browser.await_js("document.querySelector('[data-ft=code]').checkVisibility()")
    code = browser.text("[data-ft=code]")
    browser.click("[data-ft=copy]")
    if works:
        assert browser.await_js("window.copied[0]").split() == code.split()
    else:
        box = "document.querySelector('textarea.fw-copy')"
        browser.await_js(f"{box} !== null")
        assert browser.eval(f"{box}.value.slice({box}.selectionStart, {box}.selectionEnd)").split() == code.split()


@chromium_only
def test_touch_from_begin_to_a_fix(open_browser: OpenBrowser, demo_site: Path, trees: Trees) -> None:
    """On a touch screen a fix is reached by taps alone: cautions, answers, what was done."""
    browser = open_browser(Look(360, 640, touch=True))
    tree_id, plan = trees.find(lambda step: step["kind"] == "fix")
    assert all(way["via"] in {"answer", "unsure", "then"} for _, way in plan), "the shortest way needs no keyboard"
    browser.open(page(demo_site, tree_id))
    browser.await_js("document.querySelector('[data-ft=begin]:not([hidden])') !== null")

    def tap(selector: str) -> None:
        # A second tap within half a second counts as a double tap, which acknowledges nothing on purpose.
        browser.eval("new Promise(done => setTimeout(done, 700))")
        browser.tap(selector)

    tap("[data-ft=begin]")
    for step, way in plan:
        browser.await_js(f"{CURRENT} === '{step}'")
        while browser.count("[data-ft=caution-ack], [data-ft=isolation-ack]"):
            left = browser.count("[data-ft=caution-ack], [data-ft=isolation-ack]")
            tap("[data-ft=caution-ack], [data-ft=isolation-ack]")
            browser.await_js(
                f"document.querySelectorAll('[data-ft=caution-ack], [data-ft=isolation-ack]').length < {left}"
            )
        tap("[data-ft=done]" if way["via"] == "then" else f"[data-ft=answer][data-ft-value='{way['label']}']")
    browser.await_js(f"{CURRENT} === '{trees.ends_at(tree_id, plan)}'")
