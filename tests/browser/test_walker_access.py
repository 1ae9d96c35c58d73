"""Every kind of screen: axe-core, target sizes, narrow windows, large text, names for screen readers."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from browser.browsing import PHONE, Look
from browser.checkers import axe_violations, contrast_violations
from browser.walking import CURRENT, Data, Trees, Walker, page

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from browser.browsing import Browser
    from browser.conftest import OpenBrowser
    from browser.serving import Served

    Screens = Callable[[Browser, str, Trees], Iterator[str]]

chromium_only = pytest.mark.parametrize("engine", ["chromium"], indirect=True)
LEAST, ANSWER = 44, 56
"""Pixels that a glove hits: any control, and an answer."""
_SMALL = """[...document.querySelectorAll('.fw-walker, .fw-site')].flatMap(part =>
  [...part.querySelectorAll('button, a, input, select, textarea, summary')]
    .filter(one => one.checkVisibility()).map(one => {
    const box = (one.closest('label') ?? one).getBoundingClientRect();
    return {what: one.outerHTML.slice(0, 90), width: box.width, height: box.height,
            least: one.matches('[data-ft=answer], [data-ft=done], [data-ft=reading-ok]') ? %d : %d};
  })).filter(one => one.height < one.least || one.width < %d)"""
_WIDE = """[...document.querySelectorAll('.fw-walker *, .fw-site *')].filter(one => one.checkVisibility()
  && one.getBoundingClientRect().right > innerWidth + 1).map(one => one.outerHTML.slice(0, 90))"""
_NAMELESS = """[...document.querySelectorAll('.fw-walker :is(button, input, select, textarea)')]
  .filter(one => one.checkVisibility() && !one.textContent.trim() && !one.labels?.length)
  .filter(one => !one.getAttribute('aria-label'))
  .map(one => one.outerHTML.slice(0, 90))"""

_LEAKED = """[...document.querySelectorAll('.fw-walker, .fw-site')].flatMap(part => part.innerText.split('\\n')
  .filter(line => /^(false|true)$|undefined|null|NaN|\\[object|\\{\\w+\\}/.test(line.trim())))"""
"""Lines that no person was meant to read: values of the script, gaps of a text that were not filled."""
PAGE = "tree page with lists"
"""The one screen with the theme around it, which is judged elsewhere."""


@pytest.fixture(scope="module")
def trees(demo_site: Path) -> Trees:
    """Return the demo library's trees."""
    return Trees(demo_site)


def exposing(step: Data) -> bool:
    """Whether a step is a check that lays a hazard open."""
    return step["kind"] == "check" and bool(step["exposes"])


def checks(browser: Browser, site: str, trees: Trees) -> Iterator[str]:
    """Show the first screen, cautions, checks, isolations that are asked again."""
    walker = Walker(browser)
    tree_id, plan = trees.find(exposing)
    at = trees.ends_at(tree_id, plan)
    walker.begin(f"{site}trees/{tree_id}.html")
    yield "first step, chair as found"
    browser.click("[data-ft=found-skip]")
    yield "cautions"
    walker.rush(plan)
    yield "caution before an exposing step"
    walker.acknowledge()
    if browser.count("[data-ft=how]"):
        browser.click("[data-ft=how]")
    yield "check with how-to"
    browser.click("[data-ft=keys]")
    browser.click("[data-ft=hand-over]")
    yield "keys and hand-over"
    browser.click("[data-ft=keys]")
    walker.take(trees.by_id[tree_id]["steps"][at]["ways"][0])
    browser.click(f"[data-ft=trail][data-ft-value='{tree_id}/{at}']")
    browser.await_js(f"{CURRENT} === '{at}'")
    yield "isolation asked again"


def readings_and_actions(browser: Browser, site: str, trees: Trees) -> Iterator[str]:
    """Show measurements and what is to be done."""
    walker = Walker(browser)
    tree_id, plan = trees.find(lambda step: step["kind"] == "measure")
    walker.begin(f"{site}trees/{tree_id}.html")
    walker.rush(plan)
    walker.acknowledge()
    browser.fill("[data-ft=reading]", "99999")
    yield "doubted reading"
    browser.fill("[data-ft=reading]", "1")
    browser.click("[data-ft=unsure]")
    yield "reading and what is possible"
    tree_id, plan = trees.find(lambda step: step["kind"] == "do" and bool(step["ways"][0]["isolates"]))
    walker.begin(f"{site}trees/{tree_id}.html")
    walker.rush(plan)
    walker.acknowledge()
    yield "action"


def fixes_and_records(browser: Browser, site: str, trees: Trees) -> Iterator[str]:
    """Show a fix with its proof, its end, its record, and the list on the page."""
    walker = Walker(browser)
    tree_id, plan = trees.find(lambda step: step["kind"] == "fix" and bool(step["exposes"]))
    walker.begin(f"{site}trees/{tree_id}.html")
    walker.rush(plan)
    yield "fix"
    walker.pass_proof()
    browser.click("[data-ft=proof-failed]")
    yield "failed proof"
    walker.pass_proof()
    browser.click("[data-ft=cured]")
    browser.await_js("document.querySelector('[data-ft=finish]') !== null")
    yield "cured"
    browser.click('[data-ft=left][data-ft-value="in service"]')
    browser.click("[data-ft=finish]")
    browser.await_js("document.querySelector('.fw-record') !== null")
    yield "record"
    browser.click("[data-ft=close]")
    yield PAGE


def ends_and_calls(browser: Browser, site: str, trees: Trees) -> Iterator[str]:
    """Show the other ends, and the support desk's screens."""
    walker = Walker(browser)
    for kind in ("escalate", "done", "link"):
        tree_id, plan = trees.find(lambda step, kind=kind: step["kind"] == kind)
        walker.begin(f"{site}trees/{tree_id}.html")
        walker.rush(plan)
        yield kind
    tree_id, plan = trees.find(lambda step: step["who"] == "technician" and step["kind"] == "fix")
    walker.begin(f"{site}trees/{tree_id}.html", desk=True)
    yield "safety questions"
    browser.eval("document.querySelectorAll('.fw-found input[value=Yes]').forEach(one => one.click())")
    browser.eval("document.querySelector('input[name=fw-caller]').click()")
    yield "bad answers"
    browser.click("[data-ft=found-skip]")
    walker.rush(plan)
    yield "untrained caller stops"


def calls_with_open_questions(browser: Browser, site: str, trees: Trees) -> Iterator[str]:
    """Show what comes up on a call when safety questions were not asked, and an end that a caller cannot prove."""
    walker = Walker(browser)
    tree_id, plan = trees.find(lambda step: step["kind"] == "done" and bool(step.get("proof")))
    walker.begin(f"{site}trees/{tree_id}.html", desk=True)
    browser.click("[data-ft=found-skip]")
    yield "questions not asked, on the first screen"
    walker.begin(f"{site}trees/{tree_id}.html", desk=True)
    walker.take(plan[0][1])
    yield "questions not asked, before a step"
    browser.click("[data-ft=desk-skip]")
    yield "questions not asked, told"
    walker.rush(plan[1:])
    yield "an end that a caller cannot prove"


def what_is_kept(browser: Browser, site: str, trees: Trees) -> Iterator[str]:
    """Show what is known beforehand, an isolation that was taken back, and the record of a proof that was begun."""
    walker = Walker(browser)
    tree_id, plan = trees.find(lambda step: bool(step["exposes"]))
    browser.open(f"{site}trees/{tree_id}.html#known")
    browser.await_js("document.querySelector('.fw-known') !== null")
    yield "what is known"
    walker.begin(f"{site}trees/{tree_id}.html")
    walker.rush(plan[: next(n for n, (_, way) in enumerate(plan) if way["isolates"]) + 1])
    browser.click("[data-ft=back]")
    browser.await_js("document.querySelector('[data-ft=is-back]') !== null")
    yield "isolation taken back"
    tree_id, plan = trees.find(lambda step: step["kind"] == "done" and bool(step.get("proof")))
    walker.begin(f"{site}trees/{tree_id}.html")
    walker.rush(plan)
    walker.acknowledge()
    browser.click("[data-ft=proof-failed]")
    yield "failed proof at an end"
    browser.click("[data-ft=record]")
    yield "record of a proof that was begun"


@chromium_only
@pytest.mark.parametrize(
    "shown",
    [checks, readings_and_actions, fixes_and_records, ends_and_calls, calls_with_open_questions, what_is_kept],
)
def test_every_screen_serves_everybody(
    open_browser: OpenBrowser, served: Served, trees: Trees, tmp_path: Path, shown: Screens
) -> None:
    """No screen breaks WCAG 2.2 A or AA, has a target below 44 pixels, a control without a name or words for nobody.

    In dark colours its contrast is judged again. At 320 pixels, and there with text twice as large, nothing lies
    outside of the window. A picture is kept of what fails.
    """
    browser = open_browser(PHONE)
    seen = 0
    found: dict[str, object] = {}
    for name in shown(browser, served.url, trees):
        seen += 1
        broken: dict[str, object] = {
            "axe": [one for one in axe_violations(browser) if name != PAGE or "fw-" in str(one)],
            "small": browser.eval(_SMALL % (ANSWER, LEAST, LEAST)),
            "nameless": browser.eval(_NAMELESS),
            "leaked": browser.eval(_LEAKED),
        }
        if name != PAGE:
            browser.emulate(color_scheme="dark")
            broken["dark"] = contrast_violations(browser)
            browser.emulate(color_scheme="light")
        broken |= _too_wide(browser)
        if any(broken.values()):
            browser.screenshot(tmp_path / f"{seen:02} {name}.png")
            found[name] = {what: how for what, how in broken.items() if how}
    assert seen >= 3
    assert not found, json.dumps(found, indent=1, default=str)


def _too_wide(browser: Browser) -> dict[str, object]:
    """Return what lies outside of a window of 320 pixels, with text as it is and twice as large."""
    browser.set_size(320, 640)
    narrow = browser.eval(_WIDE)
    browser.eval("(document.documentElement.style.setProperty('font-size', '250%'), 0)")
    large = browser.eval(_WIDE)
    size = browser.eval("parseFloat(getComputedStyle(document.querySelector('.fw-walker, .fw-site')).fontSize)")
    browser.eval("(document.documentElement.style.removeProperty('font-size'), 0)")
    browser.set_size(PHONE.width, PHONE.height)
    assert size >= 36, "twice the 18 pixels"
    return {"narrow": narrow, "large": large}


def test_names_for_screen_readers(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """The live step is a region named by its question; answers are buttons named by their words; news is announced."""
    walker = Walker(browser)
    tree_id, plan = trees.find(lambda step: step["kind"] == "measure")
    walker.begin(page(demo_site, tree_id))
    step, way = plan[0]
    question = trees.by_id[tree_id]["steps"][step]["text"]
    assert browser.role("[data-ft-current]") == ("region", question)
    assert browser.role("[data-ft-current] h1") == ("heading", question)
    assert browser.role(f"[data-ft=answer][data-ft-value={json.dumps(way['label'])}]") == ("button", way["label"])
    assert browser.attribute(".fw-status", "role") == "status"
    walker.rush(plan)
    walker.acknowledge()
    assert browser.role("[data-ft=reading]") == ("textbox", "Reading")
    assert browser.attribute("#fw_band", "role") == "status"


@chromium_only
def test_reduced_motion_and_forced_colours(open_browser: OpenBrowser, demo_site: Path, trees: Trees) -> None:
    """Nothing moves where motion is reduced, and buttons keep an edge where colours are forced."""
    browser = open_browser(Look(reduced_motion=True))
    walker = Walker(browser)
    walker.begin(page(demo_site, next(iter(trees.by_id))))
    walker.acknowledge()
    style = "getComputedStyle(document.querySelector('[data-ft=answer]'))"
    assert float(browser.eval(f"{style}.transitionDuration").rstrip("s")) == 0
    browser.emulate(forced_colors=True)
    assert browser.eval(f"{style}.borderTopStyle") in {"solid", "dashed"}
    assert float(browser.eval(f"{style}.borderTopWidth").removesuffix("px")) >= 1
