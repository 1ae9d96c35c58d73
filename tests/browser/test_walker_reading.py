"""Readings: comma or point, units, the band before anything depends on it, doubt about what cannot be."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from browser.browsing import PHONE
from browser.walking import CURRENT, Data, Trees, Walker, reading_in

if TYPE_CHECKING:
    from pathlib import Path

    from browser.browsing import Browser
    from browser.conftest import OpenBrowser

pytestmark = pytest.mark.parametrize("engine", ["chromium"], indirect=True)


@pytest.fixture
def at_volts(browser: Browser, demo_site: Path) -> tuple[Walker, Data, str]:
    """Return a walk at a measurement in volts, its step and the step's id."""
    trees = Trees(demo_site)
    walker = Walker(browser)
    tree_id, plan = trees.find(lambda step: step["kind"] == "measure" and step["unit"] == "V" and step["plausible"])
    walker.begin((demo_site / "trees" / f"{tree_id}.html").as_uri())
    walker.rush(plan)
    walker.acknowledge()
    at = trees.ends_at(tree_id, plan)
    return walker, trees.by_id[tree_id]["steps"][at], at


def test_band_is_told_before_it_is_used(at_volts: tuple[Walker, Data, str]) -> None:
    """Typing tells the band, with comma or point; nothing goes on until the reading is taken."""
    walker, step, at = at_volts
    browser = walker.browser
    assert browser.eval("document.querySelector('[data-ft=reading-ok]').disabled")
    assert browser.attribute("[data-ft=reading]", "inputmode") == "decimal"
    for way in step["ways"]:
        for text in (reading_in(way), reading_in(way).replace(",", ".")):
            browser.fill("[data-ft=reading]", text)
            assert browser.text("#fw_band").endswith(": " + way["label"])
    assert walker.current == at
    browser.click("[data-ft=reading-ok]")
    browser.await_js(f"{CURRENT} !== '{at}'")
    last = walker.visit()["steps"][-1]
    assert last["reading"] == reading_in(step["ways"][-1]).replace(",", ".") + " V"
    assert last["answer"] == step["ways"][-1]["label"]


def test_another_unit(at_volts: tuple[Walker, Data, str]) -> None:
    """A reading in millivolts, chosen or typed, falls in the band of as many volts."""
    walker, step, at = at_volts
    browser = walker.browser
    way = step["ways"][0]
    millivolts = f"{float(reading_in(way).replace(',', '.')) * 1000:g}"
    browser.fill("[data-ft=reading]", millivolts + " mV")
    assert browser.text("#fw_band").endswith(": " + way["label"])
    browser.fill("[data-ft=reading]", millivolts)
    unit = "document.querySelector('[data-ft=unit]')"
    browser.eval(f"({unit}.value = 'mV', {unit}.dispatchEvent(new Event('change')))")
    assert browser.text("#fw_band").endswith(": " + way["label"])
    browser.press("Enter")
    browser.await_js(f"{CURRENT} !== '{at}'")
    assert walker.visit()["steps"][-1]["reading"] == millivolts + " mV"


def test_a_reading_that_cannot_be_is_doubted(at_volts: tuple[Walker, Data, str]) -> None:
    """What is no number, of another unit or outside of what can be goes nowhere, and it is said why."""
    walker, step, at = at_volts
    browser = walker.browser
    above = step["plausible"][1] + 1
    for text in (f"{above}", f"-{above}", "24 apples", "1,2,3", "1,500", "<b>9</b>", "12 A"):
        browser.fill("[data-ft=reading]", reading_in(step["ways"][0]))
        assert "fw-bad" not in (browser.attribute("#fw_band", "class") or "")
        browser.fill("[data-ft=reading]", text)
        assert "fw-bad" in (browser.attribute("#fw_band", "class") or ""), text
        browser.press("Enter")
        browser.click("[data-ft=reading-ok]")
        assert walker.current == at, text
        assert browser.eval("document.activeElement.dataset.ft") == "reading"
        assert browser.count("#fw_band *") == 0, "text stays text"


def test_cannot_measure(at_volts: tuple[Walker, Data, str]) -> None:
    """Without a meter the bands are listed, likelier first, to go on with."""
    walker, step, at = at_volts
    walker.browser.click("[data-ft=unsure]")
    assert walker.browser.count("[data-ft=unsure-go]") == len(step["ways"])
    walker.browser.click("[data-ft=unsure-go]")
    walker.browser.await_js(f"{CURRENT} !== '{at}'")
    last = walker.visit()["steps"][-1]
    assert last["assumed"]
    assert last["reading"] is None


def test_units_are_shown_as_people_write_them(browser: Browser, demo_site: Path) -> None:
    """Degrees and ohms bear their signs, on the page and in the walk, and are read back with them."""
    trees = Trees(demo_site)
    walker = Walker(browser)
    tree_id, plan = trees.find(lambda step: step["kind"] == "measure" and step["unit"] == "degC")
    at = trees.ends_at(tree_id, plan)
    walker.begin((demo_site / "trees" / f"{tree_id}.html").as_uri())
    assert "degC" not in browser.eval(f"document.querySelector('#{at} .ft-ways, #{at}').textContent")
    walker.rush(plan)
    walker.acknowledge()
    assert browser.texts("[data-ft=unit] option") == ["°C", "°F", "K"]
    assert "deg" not in browser.text("[data-ft-current]")
    warm = trees.by_id[tree_id]["steps"][at]["ways"][0]
    celsius = float(reading_in(warm).replace(",", "."))
    unit = "document.querySelector('[data-ft=unit]')"
    browser.fill("[data-ft=reading]", f"{celsius * 1.8 + 32:g}")
    browser.eval(f"({unit}.value = '°F', {unit}.dispatchEvent(new Event('change')))")
    assert browser.text("#fw_band").endswith(": " + warm["label"])
    browser.click("[data-ft=reading-ok]")
    browser.await_js(f"{CURRENT} !== '{at}'")
    assert walker.visit()["steps"][-1]["reading"] == f"{celsius * 1.8 + 32:g} °F"
    walker.stored()
    browser.reload()
    browser.await_js(CURRENT)
    assert walker.visit()["steps"][-1]["answer"] == warm["label"]


def test_the_unit_stands_beside_the_number(open_browser: OpenBrowser, demo_site: Path) -> None:
    """On a phone, number and unit are one line."""
    walker = Walker(open_browser(PHONE))
    trees = Trees(demo_site)
    tree_id, plan = trees.find(lambda step: step["kind"] == "measure" and step["unit"] == "ohm")
    walker.begin((demo_site / "trees" / f"{tree_id}.html").as_uri())
    walker.rush(plan)
    top = "document.querySelector('[data-ft=%s]').getBoundingClientRect().top"
    bottom = "document.querySelector('[data-ft=reading]').getBoundingClientRect().bottom"
    assert walker.browser.eval(f"{top % 'unit'} < {bottom}")
