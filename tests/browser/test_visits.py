"""Today's visits in real browsers: picked, added up, kept, taken off, and readable without scripts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from pathlib import Path

    from browser.browsing import Browser

BOX = "[data-ft='day-box']"
CHANCES = (
    "Object.fromEntries([...document.querySelectorAll('.fw-day .ft-items > li')]"
    ".map(one => [one.firstChild.textContent, one.querySelector('meter').value]))"
)
LISTED = "[...document.querySelectorAll('.fw-day .ft-items > li')].map(one => one.firstChild.textContent)"


def pick(browser: Browser, text: str) -> None:
    """Type what is wrong and take the first symptom that is offered."""
    browser.fill(BOX, text)
    browser.click("[data-ft-day] [data-ft='day-add']")


def test_a_day_is_added_up_and_kept(browser: Browser, demo_site: Path) -> None:
    """From disk: the same symptom twice needs each thing with the odds of either, kept over a reload, and off again."""
    address = (demo_site / "visits.html").as_uri()
    browser.open(address)
    browser.await_js(f'document.querySelector("{BOX}") !== null')
    pick(browser, "lamp is off")
    one = browser.eval(CHANCES)
    pick(browser, "lamp is off")
    assert browser.eval(CHANCES) == pytest.approx({item: 1 - (1 - chance) ** 2 for item, chance in one.items()})
    both = browser.eval(LISTED)
    browser.open(address)
    browser.await_js("document.querySelectorAll(\"[data-ft='day-remove']\").length === 2")
    assert browser.eval(LISTED) == both
    browser.click("[data-ft='day-remove']")
    browser.click("[data-ft='day-remove']")
    assert browser.eval(LISTED) == []
