"""Searches that found nothing: kept only after somebody switched that on, seen before they leave, gone when off."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import jsonschema
import pytest

import kb_tools.pages
from browser.browsing import PHONE
from browser.walking import Trees, Walker, page

if TYPE_CHECKING:
    from browser.browsing import Browser
    from browser.conftest import OpenBrowser

SCHEMA = Path(kb_tools.pages.__file__).parent / "walker" / "record.schema.json"
NONSENSE = "qxzzy wumblefitz"
SWITCH = "[data-ft=searches]"
KEPT = "localStorage.getItem('fault-trees searches')"


def search(browser: Browser, site: Path) -> None:
    """Search for what no tree has, and leave the box."""
    browser.open((site / "index.html").as_uri())
    browser.await_js("!document.querySelector('[data-ft-finder]').hidden")
    browser.fill("[data-ft=find-box]", NONSENSE)
    browser.press("Tab")


def record_of(browser: Browser, site: Path, tree: str) -> dict[str, Any]:
    """Begin a walk, open its record and return what would leave the device."""
    Walker(browser).begin(page(site, tree))
    browser.click("[data-ft=record]")
    browser.await_js(f"document.querySelector('{SWITCH}') !== null")
    found: dict[str, Any] = browser.eval(
        "faultTrees.record.exported(faultTrees.record.clean("
        "faultTrees.store.all().sort((a, b) => (a.started < b.started ? 1 : -1))[0]))"
    )
    jsonschema.validate(found, json.loads(SCHEMA.read_text("utf-8")))
    return found


@pytest.mark.parametrize("engine", ["chromium"], indirect=True)
def test_searches_are_kept_only_when_switched_on(open_browser: OpenBrowser, demo_site: Path) -> None:
    """Off by default; switched on, the next visit's record shows and holds the words; switched off, they are gone."""
    browser = open_browser(PHONE)
    tree = next(iter(Trees(demo_site).by_id))
    search(browser, demo_site)
    assert browser.eval(KEPT) is None
    assert "searches" not in record_of(browser, demo_site, tree)
    assert not browser.eval(f"document.querySelector('{SWITCH}').checked")
    browser.click(SWITCH)
    search(browser, demo_site)
    assert record_of(browser, demo_site, tree)["searches"] == [NONSENSE]
    assert NONSENSE in browser.text(".fw-record")
    # One visit only: the next one has no search of its own.
    browser.click("[data-ft=close]")
    assert "searches" not in record_of(browser, demo_site, tree)
    search(browser, demo_site)
    assert record_of(browser, demo_site, tree)["searches"] == [NONSENSE]
    browser.click(SWITCH)
    browser.await_js(f"!document.querySelector('.fw-record').textContent.includes('{NONSENSE}')")
    assert browser.eval(KEPT) is None
