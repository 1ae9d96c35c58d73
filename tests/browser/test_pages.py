"""The site's pages in real browsers: they run from disk and from a server, fit a phone, and serve everybody."""

from __future__ import annotations

import re
import shutil
from typing import TYPE_CHECKING

import pytest

from browser.browsing import DESKTOP, PHONE
from browser.checkers import axe_violations, contrast_violations, markup_errors
from browser.walking import await_in_view

if TYPE_CHECKING:
    from pathlib import Path

    from browser.browsing import Browser
    from browser.conftest import OpenBrowser, Serve
    from browser.serving import Served

TREE = "trees/does-not-stop.html"
KINDS = (
    "index.html",
    TREE,
    "fixes.html",
    "cautions.html",
    "proofs.html",
    "tools-and-spares.html",
    "maps/guard-unit.html",
    "visits.html",
    "tables/chair-dead.html",
    "using.html",
    "authoring.html",
    "reference/working-safely.html",
    "figures/wire-awg.html",
    "reference/format.html",
    "rules/index.html",
    "rules/isolate-before-expose.html",
)
"""One page of each kind."""
OF_THE_THEME = (
    "Attribute “autocomplete” is only allowed when the input type is",
    "The value of the “for” attribute of the “label” element must be the ID of a non-hidden form control.",
)
"""Errors of markup that stand in the theme's own templates: its drawer's switches, and the label of a list of
contents whose switch it leaves out on pages that are not in the navigation."""
chromium_only = pytest.mark.parametrize("engine", ["chromium"], indirect=True)


def test_pages_run_from_disk(browser: Browser, demo_site: Path) -> None:
    """From disk each kind of page runs the theme's scripts and ours under its policy, and asks nothing outside."""
    for page in KINDS:
        browser.open((demo_site / page).as_uri())
        assert browser.await_js("window.faultTrees && faultTrees.data.index && faultTrees.data.index.count") > 0
        # The theme's inline script, allowed by its hash, takes this class away.
        assert not browser.eval("document.documentElement.classList.contains('no-js')")
        assert browser.eval("getComputedStyle(document.querySelector('.ft-standing')).borderTopWidth") == "2px"


def test_the_address_of_a_step_brings_it_into_view(browser: Browser, demo_site: Path) -> None:
    """Panels and pictures that come above a step after the page has opened do not push it off the screen."""
    browser.open(f"{(demo_site / 'trees' / 'does-not-stop.html').as_uri()}#desk")
    browser.await_js("document.querySelector('.fw-site') !== null")
    await_in_view(browser, "desk")


@pytest.mark.parametrize("engine", ["firefox", "webkit"], indirect=True)
def test_pages_run_from_a_server(browser: Browser, served: Served) -> None:
    """From a server each kind of page does the same; in Chromium where everybody's use of it is judged."""
    for page in KINDS:
        browser.open(f"{served.url}{page}")
        assert browser.await_js("window.faultTrees && faultTrees.data.index && faultTrees.data.index.count") > 0
        assert not browser.eval("document.documentElement.classList.contains('no-js')")


PLANTED = (
    "<script>window.planted = 1</script>"
    "<script src='{0}x.js'></script>"
    "<img src='{0}x.png' onerror='window.planted = 2'>"
    "<link rel='stylesheet' href='{0}x.css'>"
    "<iframe src='{0}x.html'></iframe>"
    "<p style='position: fixed' id='put-here'>x</p>"
)


@pytest.mark.planted
def test_the_policy_refuses_what_is_planted(browser: Browser, demo_site: Path, serve: Serve, tmp_path: Path) -> None:
    """What somebody puts into a built page does not run, and no other origin hears of it."""
    site = shutil.copytree(demo_site, tmp_path / "site")
    other = serve(tmp_path)
    page = site / TREE
    text = page.read_text("utf-8").replace("</body>", f"{PLANTED.format(other.url)}</body>")
    page.write_text(text, "utf-8")
    for address in (page.as_uri(), f"{serve(site).url}{TREE}"):
        browser.open(address)
        browser.await_js("window.faultTrees && faultTrees.data.index")
        assert browser.eval("window.planted || 0") == 0
        assert browser.eval("getComputedStyle(document.getElementById('put-here')).position") == "static"
    assert not other.log
    # The same page without its policy: this test can fail.
    page.write_text(re.sub(r"<meta http-equiv[^>]*>", "", text), "utf-8")
    browser.open(page.as_uri())
    assert browser.await_js("window.planted")
    assert {"/x.js", "/x.png", "/x.css", "/x.html"} <= set(other.log)


@chromium_only
def test_every_tree_fits_a_phone(open_browser: OpenBrowser, demo_site: Path) -> None:
    """At 360 px no page scrolls sideways, no drawing is wider than two screens, and its text is 11 px at least."""
    browser = open_browser(PHONE)
    trees = sorted((demo_site / "trees").glob("*.html"))
    assert trees
    for page in trees:
        browser.open(page.as_uri())
        assert browser.eval("document.documentElement.scrollWidth") <= PHONE.width, page.name
        widths, sizes = browser.eval(
            """(() => {
              const all = [...document.querySelectorAll('.ft-chart .ft-drawing')];
              const drawings = all.filter((one) => one.getClientRects().length);
              return [
                drawings.map((one) => one.getBoundingClientRect().width),
                drawings.map((one) => one.getBoundingClientRect().width / one.viewBox.baseVal.width * 13),
              ];
            })()"""
        )
        assert widths, page.name
        assert max(widths) <= 2 * PHONE.width, page.name
        assert min(sizes) >= 11 - 0.8, page.name


@chromium_only
def test_targets_are_large(open_browser: OpenBrowser, demo_site: Path) -> None:
    """Answers, symptoms and what folds are at least 44 px high, the button that begins 56 px."""
    browser = open_browser(PHONE)
    shown = "[...document.querySelectorAll('%s')].filter((one) => one.getClientRects().length)"
    for page, selector, least in (
        (TREE, ".ft-ways a", 44),
        (TREE, ".ft-page summary", 44),
        (TREE, ".ft-home a", 44),
        (TREE, "[data-ft=begin]", 56),
        ("index.html", ".ft-symptoms a", 44),
        ("index.html", "[data-ft=find-box]", 44),
        ("fixes.html", ".ft-links a", 44),
    ):
        browser.open((demo_site / page).as_uri())
        browser.await_js(f"{shown % selector}.length")
        heights = browser.eval(f"{shown % selector}.map((one) => one.getBoundingClientRect().height)")
        assert min(heights) >= least, selector


@chromium_only
def test_everybody_can_use_the_pages(open_browser: OpenBrowser, served: Served) -> None:
    """No kind of page breaks a rule of WCAG 2.2 A or AA that axe-core knows, on a phone and at a desk.

    In dark colours its contrast is judged again. At 360 px, and at 320 px (WCAG 2.2, reflow), it keeps to the
    screen's width. It runs from a server.
    """
    browser = open_browser(PHONE)
    for page in KINDS:
        browser.open(f"{served.url}{page}")
        assert browser.await_js("window.faultTrees && faultTrees.data.index && faultTrees.data.index.count") > 0
        assert not browser.eval("document.documentElement.classList.contains('no-js')")
        for width in (320, 360):
            browser.set_size(width, 640)
            assert browser.eval("document.documentElement.scrollWidth") <= width, f"{page} at {width}"
        for look in (PHONE, DESKTOP):
            browser.set_size(look.width, look.height)
            assert not axe_violations(browser), f"{page} at {look.width}"
        browser.emulate(color_scheme="dark")
        _switch_colours(browser, "slate")
        for look in (DESKTOP, PHONE):
            browser.set_size(look.width, look.height)
            assert not contrast_violations(browser), f"{page} at {look.width}, dark"
        browser.emulate(color_scheme="light")
        _switch_colours(browser, "default")  # the next page opens in what was chosen last


def _switch_colours(browser: Browser, scheme: str) -> None:
    """Press the theme's switch, and see that the page follows."""
    browser.eval("document.querySelector('form[data-md-component=palette] label:not([hidden])').click()")
    browser.await_js(f"document.body.dataset.mdColorScheme === '{scheme}'")


def test_markup_is_valid(demo_site: Path, pocket_file: Path, tmp_path: Path) -> None:
    """The Nu HTML checker finds no error but those of the theme's own templates and a planted one.

    It is started once, for every page of the site, the pocket file with its styles, and the page that is planted.
    """
    bad = tmp_path / "bad page.html"
    bad.write_text('<!doctype html>\n<html lang="en">\n<title>Bad</title>\n<p><img src="a.png">\n', "utf-8")
    found = markup_errors([demo_site, pocket_file, tmp_path])
    planted, *errors = sorted(
        (error for error in found if not error.message.startswith(OF_THE_THEME)), key=lambda error: error.file != bad
    )
    assert not errors
    assert (planted.file, planted.line) == (bad, 4)
    assert "alt" in planted.message
    assert demo_site in found[0].file.parents or demo_site in found[-1].file.parents, "the folder was really read"
