"""Handing a walk over by voice and by link; codes and links that are mistyped, foreign or hostile."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from browser.walking import CURRENT, Trees, Walker, page

if TYPE_CHECKING:
    from pathlib import Path

    from browser.browsing import Browser
    from browser.conftest import OpenBrowser
    from browser.serving import Served
    from browser.walking import Plan

chromium_only = pytest.mark.parametrize("engine", ["chromium"], indirect=True)
HOSTILE = "<img src=x onerror=window.hit=1><script>window.hit=1</script>"


@pytest.fixture(scope="module")
def trees(demo_site: Path) -> Trees:
    """Return the demo library's trees."""
    return Trees(demo_site)


def ready(browser: Browser, url: str) -> None:
    """Open a page and wait for its code box."""
    browser.open(url)
    browser.await_js("document.querySelector('[data-ft=resume-box]') !== null")


def fresh_code(browser: Browser, demo_site: Path, tree_id: str) -> str:
    """Return the code of a walk that has just begun, and leave the site, so that its link is opened from outside."""
    ready(browser, page(demo_site, tree_id))
    code: str = browser.eval(f"faultTrees.load('{tree_id}').then(() => faultTrees.start('{tree_id}').code())")
    browser.open("about:blank")
    return code


def test_code_round_trip(open_browser: OpenBrowser, demo_site: Path, trees: Trees) -> None:
    """The code read out and typed elsewhere, in small letters, leads to the same step with the same answers."""
    tree_id, plan = trees.find(lambda step: bool(step["exposes"]))
    one = Walker(open_browser())
    one.begin(page(demo_site, tree_id))
    one.rush(plan)
    one.browser.click("[data-ft=hand-over]")
    code = one.browser.text("[data-ft=code]")
    trail = one.browser.texts("[data-ft=trail] strong")
    other = Walker(open_browser())
    ready(other.browser, (demo_site / "index.html").as_uri())
    other.browser.fill("[data-ft=resume-box]", code.lower().replace("-", " "))
    other.browser.click("[data-ft=resume]")
    other.browser.await_js(CURRENT)
    assert other.current == trees.ends_at(tree_id, plan)
    assert other.browser.texts("[data-ft=trail] strong") == trail
    assert other.browser.count("[data-ft=isolation-ack]") >= 1, "isolations are asked again after a hand-over"
    assert other.visit()["code"] == code
    other.acknowledge()
    read = {ack["id"] for ack in other.visit()["acks"] if ack["kind"] == "caution"}
    assert read >= set(trees.by_id[tree_id]["cautions"]), "who takes a walk over reads the tree's cautions too"


_FORGET = """new Promise(done => {
  const request = indexedDB.deleteDatabase('fault-trees ' + faultTrees.data.index.library.key);
  request.onsuccess = request.onerror = () => done(true);
})"""
"""Empties the device. A page that is left before it has made its database may leave WebKit's storage stuck."""


def handed_over(browser: Browser, served: Served, trees: Trees, kind: str) -> Plan:
    """Walk past the first step of a kind, and open the hand-over; return the ways taken."""
    tree_id, plan = trees.find(lambda step: step["kind"] == kind)
    at = trees.ends_at(tree_id, plan)
    taken = [*plan, (at, trees.by_id[tree_id]["steps"][at]["ways"][0])]
    walker = Walker(browser)
    walker.begin(f"{served.url}trees/{tree_id}.html")
    walker.rush(taken)
    browser.click("[data-ft=hand-over]")
    return taken


def forget(browser: Browser, served: Served) -> None:
    """Empty the device and stand on the first page, as another device does."""
    browser.eval(_FORGET)
    ready(browser, f"{served.url}index.html")


def test_link_carries_the_readings(browser: Browser, served: Served, trees: Trees) -> None:
    """From a site with an address the link leads another device to the same step, readings included."""
    walker = Walker(browser)
    taken = handed_over(browser, served, trees, "measure")
    reading = walker.visit()["steps"][-1]["reading"]
    link = browser.attribute(".fw-link a", "href")
    assert link
    assert link.startswith(served.url)
    forget(browser, served)
    browser.open(link)
    browser.await_js(CURRENT)
    visit = walker.visit()
    assert [one["answer"] for one in visit["steps"]] == [one["label"] for _, one in taken]
    assert visit["steps"][-1]["reading"] == reading
    assert not any(one["assumed"] for one in visit["steps"])


@chromium_only
def test_link_carries_which_answers_were_only_taken_as_if(browser: Browser, served: Served, trees: Trees) -> None:
    """What was not known stays so for who takes over by the link; that a code has no room for it is said."""
    walker = Walker(browser)
    last = len(handed_over(browser, served, trees, "check")) - 1
    code = walker.visit()["code"]
    link = f"{browser.attribute('.fw-link a', 'href')}&assumed={last}.99999"
    forget(browser, served)
    browser.open(link)
    browser.await_js(CURRENT)
    assert [one["assumed"] for one in walker.visit()["steps"]] == [False] * last + [True]
    assert browser.visible("[data-ft=come-back]")
    assert f"&assumed={last}" in browser.url()
    forget(browser, served)
    browser.fill("[data-ft=resume-box]", code)
    browser.click("[data-ft=resume]")
    browser.await_js(CURRENT)
    assert "a code does not carry" in browser.text(".fw-status")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("0000-0000-0", "typing mistake"),
        ("", "Type the code first"),
        (HOSTILE, "too long|typing mistake"),
        ("Z" * 500, "too long"),
        ("0000-0001-1", "another library"),
    ],
)
@chromium_only
def test_bad_codes_change_nothing(browser: Browser, demo_site: Path, text: str, told: str) -> None:
    """A mistyped, foreign, endless or hostile code gets a clear message; nothing is stored, nothing runs."""
    ready(browser, (demo_site / "index.html").as_uri())
    if told == "typing mistake":
        # Any code of one group short of its check symbol: one of the 37 symbols fits, the next one does not.
        text = browser.eval("faultTrees.code.write(1n, 1, 1)")[:-1]
        text += browser.eval(
            f"[...'AB'].find(one => {{ try {{ faultTrees.code.read('{text}' + one); }} catch {{ return true; }} }})"
        )
    if told == "another library":
        text = browser.eval(
            "faultTrees.code.write(1n, 1, [...Array(99).keys()].find(tag =>"
            " !faultTrees.data.index.trees.some(one => one.tag === tag)))"
        )
    browser.fill("[data-ft=resume-box]", text)
    browser.click("[data-ft=resume]")
    browser.await_js("!document.querySelector('.fw-start [role=alert]').hidden")
    shown = browser.text(".fw-start [role=alert]")
    assert any(part in shown for part in told.split("|"))
    assert browser.count("[data-ft-current]") == 0
    assert Walker(browser).stored() == []
    assert browser.eval("window.hit") is None


@chromium_only
def test_changed_tree_is_told(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """A code of a tree that was changed since is refused with that reason."""
    tree_id = next(iter(trees.by_id))
    ready(browser, page(demo_site, tree_id))
    code = browser.eval(f"faultTrees.load('{tree_id}').then(tree => faultTrees.code.write(1n, 12345, tree.tag))")
    browser.fill("[data-ft=resume-box]", code)
    browser.click("[data-ft=resume]")
    browser.await_js("!document.querySelector('.fw-start [role=alert]').hidden")
    assert "has changed since" in browser.text(".fw-start [role=alert]")


@pytest.mark.parametrize(
    "fragment", ["walk=" + "9" * 300, "walk=%3Cimg%20src=x%3E&job=" + HOSTILE, "walk=&visit=x", "walk=%", "x" * 5000]
)
@chromium_only
def test_hostile_fragments(browser: Browser, demo_site: Path, trees: Trees, fragment: str) -> None:
    """A hostile fragment leaves the page usable, stores nothing and runs nothing."""
    tree_id = next(iter(trees.by_id))
    ready(browser, page(demo_site, tree_id) + "#" + fragment)
    assert browser.count("[data-ft-current]") == 0
    assert Walker(browser).stored() == []
    assert browser.eval("window.hit") is None
    browser.click("[data-ft=begin]")
    browser.await_js(CURRENT)


@chromium_only
def test_a_link_that_was_cut_short_says_so(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """Who opens half a link is told that the link is damaged, in the colour of what went wrong."""
    tree_id = next(iter(trees.by_id))
    code = fresh_code(browser, demo_site, tree_id)
    ready(browser, page(demo_site, tree_id) + f"#walk={code[:-2]}")
    alert = ".fw-start [role=alert]"
    browser.await_js(f"!document.querySelector('{alert}').hidden")
    assert "link is damaged" in browser.text(alert)
    assert "fw-bad" in (browser.attribute(alert, "class") or "")


@chromium_only
def test_hostile_job_in_a_link_stays_text(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """Markup in a link's job reference is shown as text."""
    tree_id = next(iter(trees.by_id))
    code = fresh_code(browser, demo_site, tree_id)
    browser.open(page(demo_site, tree_id) + f"#walk={code}&job={HOSTILE}")
    browser.await_js(CURRENT)
    assert browser.text(".fw-job") == HOSTILE[:60]
    assert browser.count(".fw-walker img, .fw-walker script") == 0
    assert browser.eval("window.hit") is None
