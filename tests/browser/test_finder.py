"""The finder's box in real engines: trees first, pages after, and no index where none is wanted."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from browser.browsing import Browser

BOX = "[data-ft=find-box]"
FOUND = "[...document.querySelectorAll('[data-ft=find-result]')].map(one => one.dataset.ftValue)"
PAGES = "[...document.querySelectorAll('[data-ft=find-page]')].map(one => one.getAttribute('href'))"


def test_trees_first_pages_after(browser: Browser, demo_site: Path) -> None:
    """From disk, a word of a rule's page brings trees first and then the page, which opens."""
    browser.open((demo_site / "index.html").as_uri())
    assert browser.eval("!!faultTrees.data.index.trees")
    browser.click(BOX)
    browser.fill(BOX, "cautions before the lamp is dark")
    browser.await_js(f"{PAGES}.length")
    found = browser.eval(FOUND)
    assert "lamp-off" in found
    pages = browser.eval(PAGES)
    assert "cautions.html" in pages
    order = browser.eval("[...document.querySelectorAll('[data-ft-found] a[data-ft]')].map(one => one.dataset.ft)")
    assert order.index("find-page") > max(at for at, kind in enumerate(order) if kind == "find-result")
    browser.click("[data-ft=find-page][href='cautions.html']")
    browser.await_js("document.querySelector('h1').textContent.includes('Cautions')")


def test_what_nothing_fits_is_told(browser: Browser, demo_site: Path) -> None:
    """Words that nobody knows: it says so, offers three nearest symptoms, and whom to ask."""
    browser.open((demo_site / "index.html").as_uri())
    browser.fill(BOX, "zzyzx qqqq")
    browser.await_js("document.querySelector('[data-ft-found]').textContent.includes('Nothing here fits')")
    browser.await_js(f"{FOUND}.length === 3")
    assert "service desk" in browser.eval("document.querySelector('[data-ft-found]').textContent")


def test_other_pages_lead_to_the_box_and_fetch_no_index(browser: Browser, demo_site: Path) -> None:
    """A tree's page carries what the library is, not its index; one link leads to the box, which is ready."""
    browser.open((demo_site / "trees" / "lamp-off.html").as_uri())
    assert browser.await_js("window.faultTrees && faultTrees.data.index && faultTrees.data.index.count") > 0
    assert not browser.eval("!!faultTrees.data.index.trees")
    browser.click(".ft-home a")
    browser.await_js("document.querySelector('[data-ft=find-box]') && faultTrees.find('the chair is dead', 3).length")


def test_a_code_fetches_the_index_where_it_is_missing(browser: Browser, demo_site: Path) -> None:
    """On another tree's page a code is still understood: the index is fetched for it."""
    browser.open((demo_site / "trees" / "chair-dead.html").as_uri())
    browser.await_js("window.faultTrees && faultTrees.data.index")
    code = browser.await_js("faultTrees.load('chair-dead').then(() => faultTrees.start('chair-dead').code())")
    browser.open((demo_site / "trees" / "lamp-off.html").as_uri())
    browser.await_js("window.faultTrees && faultTrees.data.index")
    assert browser.await_js(f"faultTrees.resume({code!r}).then(walk => walk.state().tree)") == "chair-dead"
    assert browser.eval("!!faultTrees.data.index.trees")
