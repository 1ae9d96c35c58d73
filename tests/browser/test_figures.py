"""From a step to the row that its limits come from, and back to the walk: on the site and in the pocket file."""

from __future__ import annotations

from typing import TYPE_CHECKING

from browser.walking import CURRENT, Data, Trees, Walker

if TYPE_CHECKING:
    from pathlib import Path

    from browser.browsing import Browser

LINK = ".fw-meta a[href*='#']"
ROW = "document.querySelector('tr:target') && document.querySelector('tr:target').getBoundingClientRect().top"


def is_wanted(step: Data) -> bool:
    """Tell whether a step is a measurement whose source leads to a row."""
    return step["kind"] == "measure" and any(isinstance(part, list) and part[0] == "a" for part in step["source"] or [])


def test_a_limit_leads_to_its_row_and_back(browser: Browser, demo_site: Path) -> None:
    """The source of a measurement opens the table at its row; going back stands at the same step."""
    trees, walker = Trees(demo_site), Walker(browser)
    tree_id, plan = trees.find(is_wanted)
    walker.begin((demo_site / "trees" / f"{tree_id}.html").as_uri())
    walker.rush(plan)
    walker.acknowledge()
    at = walker.current
    browser.click("[data-ft=how]")
    assert browser.visible(LINK)
    wanted = str(browser.attribute(LINK, "href")).rpartition("#")[2]
    browser.click(LINK)
    assert browser.await_js(f"{ROW} > 0") is not None
    assert browser.attribute("tr:target", "id") == wanted
    browser.back()
    browser.await_js(f"{CURRENT} === '{at}'")


def test_the_pocket_file_carries_the_tables(browser: Browser, pocket_file: Path) -> None:
    """The tables stand in the one file; a row shows over an open walk, even right after an answer, and back again."""
    browser.open(pocket_file.as_uri())
    browser.await_js("window.faultTrees && faultTrees.data && faultTrees.data.index")
    browser.click("a[href='#figures']")
    browser.await_js("!document.querySelector('[data-ft-figures]').hidden")
    browser.open(f"{pocket_file.as_uri()}#tree-chair-dead")
    browser.reload()
    browser.await_js("document.querySelector('[data-ft-tree=chair-dead]:not([hidden]) [data-ft=begin]:not([hidden])')")
    browser.click("[data-ft-tree=chair-dead] [data-ft=begin]")
    browser.await_js(CURRENT)
    Walker(browser).acknowledge()
    # Both in one task: the address of the new step comes later than the link and must not undo it.
    browser.eval("document.querySelector('[data-ft=answer]').click(), location.hash = 'battery-at-rest-half', 0")
    browser.await_js("!document.querySelector('[data-ft-figures]').hidden")
    assert browser.visible("#battery-at-rest-half")
    assert not browser.visible("[data-ft-current]")
    browser.back()
    browser.await_js("document.querySelector('[data-ft-current]').offsetParent")
    assert not browser.visible("#battery-at-rest-half")
