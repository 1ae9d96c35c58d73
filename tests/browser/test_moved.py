"""A tree and a step that got new ids: addresses, links and open visits of the last edition still answer."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING, NamedTuple

import pytest
from filelock import FileLock

from author.kb_run import DAY, kb
from browser.walking import CURRENT, Trees, Walker, await_in_view, page
from conftest import ROOT

if TYPE_CHECKING:
    from pathlib import Path

    from browser.browsing import Browser
    from browser.conftest import Serve

TREE, NEW_TREE, STEP, NEW_STEP = "seat-stuck", "no-tilt", "volts", "read-volts"


class Editions(NamedTuple):
    """Two editions of a library, as folders of their sites; the later one as a single file, too."""

    old: Path
    new: Path
    pocket: Path


@pytest.fixture(scope="session")
def editions(shared: Path) -> Editions:
    """Build the small library before and after a tree and a step of it were renamed, once for all test processes."""
    made = Editions(shared / "editions" / "old", shared / "editions" / "new", shared / "editions" / "pocket.html")
    with FileLock(shared / "editions.lock"):
        if not made.pocket.exists():
            _build(made)
    return made


def _build(made: Editions) -> None:
    library = shutil.copytree(ROOT / "tests" / "data" / "small", made.old.parent / "library")
    assert kb(library, "build", "--out", str(made.old), *DAY).code == 0
    assert kb(library, "rename", f"{TREE}/{STEP}", NEW_STEP, *DAY).code == 0
    assert kb(library, "rename", TREE, NEW_TREE, *DAY).code == 0
    built = kb(library, "build", "--out", str(made.new), *DAY)
    assert built.code == 0, built.out
    for site in (made.old, made.new):
        # The real worker would go on showing the old edition until it holds the whole new one.
        (site / "sw.js").write_text("", "utf-8")
    assert kb(library, "pack", "--out", str(made.pocket), *DAY).code == 0


def walked(browser: Browser, url: str, trees: Trees) -> Walker:
    """Return a walk that stands at the step which is renamed."""
    walker = Walker(browser)
    walker.begin(url)
    (way,) = [one for one in trees.by_id[TREE]["steps"]["listen"]["ways"] if one["label"] == "Silent"]
    walker.walk([("listen", way)])
    assert walker.current == STEP
    return walker


def test_an_old_address_leads_on_with_walk_and_step(browser: Browser, editions: Editions) -> None:
    """From disk: a link with a walk in it goes on with the walk, one to a step comes to the step."""
    walker = walked(browser, page(editions.old, TREE), Trees(editions.old))
    fragment = browser.url().partition("#")[2].partition("&visit=")[0]
    assert fragment.startswith("walk=")
    browser.open("about:blank")
    browser.open(f"{page(editions.new, TREE)}#{fragment}")
    browser.await_js(CURRENT)
    assert walker.current == NEW_STEP
    assert f"/{NEW_TREE}.html#" in browser.url()
    settled = f"location.pathname.endsWith('/{NEW_TREE}.html') && !!document.querySelector('.fw-site')"
    for address in (f"{page(editions.new, NEW_TREE)}#{NEW_STEP}", f"{page(editions.new, TREE)}#{STEP}"):
        browser.open("about:blank")
        browser.open(address)
        browser.await_js(settled)
        await_in_view(browser, NEW_STEP)


def test_the_pocket_file_leads_on_too(browser: Browser, editions: Editions) -> None:
    """A tree by its earlier id is the tree of today."""
    browser.open(f"{editions.pocket.as_uri()}#tree-{TREE}")
    browser.await_js(f"document.querySelector('[data-ft-tree={NEW_TREE}]:not([hidden])') !== null")
    assert browser.url().endswith(f"#tree-{NEW_TREE}")


def test_an_open_visit_goes_on_in_the_new_edition(browser: Browser, serve: Serve, editions: Editions) -> None:
    """The site is exchanged while a visit is open: its record names what the steps are called today."""
    served = serve(editions.old)
    walker = walked(browser, f"{served.url}trees/{TREE}.html", Trees(editions.old))
    before, address = walker.visit(), browser.url()
    served.root = editions.new
    browser.open("about:blank")
    browser.open(address)
    browser.await_js(CURRENT)
    assert walker.current == NEW_STEP
    (visit,) = walker.stored()
    assert (visit["id"], visit["start"]) == (before["id"], NEW_TREE)
    assert [one["tree"] for one in visit["trees"]] == [NEW_TREE]
    assert visit["steps"] == [one | {"tree": NEW_TREE} for one in before["steps"]], "times included"
    assert visit["code"] == before["code"]
