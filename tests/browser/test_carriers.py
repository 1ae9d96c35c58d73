"""The carriers in real engines: the installed app without its server, and the pocket file alone."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from browser.browsing import Browser
    from browser.conftest import Serve
    from browser.serving import Served

ROOT = Path(__file__).parent.parent.parent
SAYS = "document.querySelector('[data-ft-edition]').innerText"


@pytest.fixture
def whole(demo_site: Path, tmp_path: Path, serve: Serve) -> Served:
    """Return the demo site on a server, in a folder below the root, as a copy that may be changed."""
    shutil.copytree(demo_site, tmp_path / "site")
    return serve(tmp_path / "site", "/some/folder/")


@pytest.fixture
def release(whole: Served) -> Served:
    """Return the same site with an edition of few files, which is on the device much sooner: no rule, one tree."""
    listing = whole.root / "kb" / "edition.json"
    edition = json.loads(listing.read_text("utf-8"))
    edition["files"] = {
        path: digest
        for path, digest in edition["files"].items()
        if not re.match(r"rules/|maps/|tables/|figures/|reference/|kb/trees/|trees/|kb/source", path)
        or path in {"trees/chair-dead.html", "kb/trees/chair-dead.js"}
    }
    edition["edition"] = hashlib.sha256(b"few files").hexdigest()
    listing.write_text(json.dumps(edition), "utf-8")
    return whole


def says(browser: Browser, text: str) -> str:
    """Wait until the edition line of the page holds a text, and return the line."""
    browser.await_js(f"{SAYS}.includes({json.dumps(text)})", 60)
    told: str = browser.eval(SAYS)
    return told


def publish(served: Served, number: int, mark: str = "", *, right: bool = True) -> None:
    """Put a next edition on the server; with `right` False its list does not fit its files."""
    listing = served.root / "kb" / "edition.json"
    edition: dict[str, Any] = json.loads(listing.read_text("utf-8"))
    page = served.root / "using.html"
    page.write_text(page.read_text("utf-8").replace("<h1", f"<p>{mark}</p><h1", 1), "utf-8")
    edition["files"]["using.html"] = hashlib.sha256(page.read_bytes()).hexdigest()
    if not right:
        edition["files"]["fixes.html"] = "0" * 64
    edition |= {"number": number, "edition": hashlib.sha256(f"{number}{right}".encode()).hexdigest()}
    listing.write_text(json.dumps(edition), "utf-8")


def test_an_installed_site_opens_without_its_server(browser: Browser, whole: Served) -> None:
    """Once the whole edition is on the device, pages, walks and finder work with the server stopped."""
    browser.open(f"{whole.url}index.html")
    count = len(list((whole.root / "kb" / "trees").glob("*.js")))
    assert f"{count} trees, complete" in says(browser, "On this device")
    assert "edition 1 of 20 November 2026" in says(browser, "On this device"), (
        "the date as the pages and the book write it"
    )
    whole.stop()
    browser.open(f"{whole.url}trees/chair-dead.html")
    browser.await_js("document.querySelector('[data-ft=begin]:not([hidden])')")
    browser.click("[data-ft=begin]")
    assert browser.await_js("document.querySelector('[data-ft-current]').dataset.ftCurrent") == "smell"
    browser.open(f"{whole.url}index.html")
    assert browser.await_js("faultTrees.find('the chair is dead', 1)[0].tree") == "chair-dead"
    whole.start()


def test_a_broken_release_changes_nothing(browser: Browser, release: Served) -> None:
    """A release whose files do not fit its list, or arrive in part, is refused; the old edition goes on whole."""
    browser.open(f"{release.url}index.html")
    says(browser, "On this device")
    publish(release, 2, right=False)
    browser.open(f"{release.url}index.html")
    assert "edition 1" in says(browser, "could not be taken over")
    publish(release, 3)
    listing = release.root / "kb" / "edition.json"
    listing.write_text(listing.read_text("utf-8").replace("0" * 64, "1" * 64), "utf-8")
    release.broken = {"kb/walker.js", "using.html"}
    browser.open(f"{release.url}index.html")
    assert "edition 1" in says(browser, "could not be taken over")
    release.stop()
    browser.open(f"{release.url}using.html")
    assert browser.eval("document.querySelector('.ft-standing') !== null")
    release.start()


def test_a_whole_release_waits_and_swaps_when_asked(browser: Browser, release: Served) -> None:
    """A newer edition is fetched whole, told, and taken over as one when a person asks for it."""
    browser.open(f"{release.url}index.html")
    says(browser, "On this device")
    publish(release, 2, mark="the next edition")
    browser.open(f"{release.url}index.html")
    assert "edition 2" in says(browser, "A newer one is here")
    # The worker loads every open page anew; a page opened before that has happened would be loaded over.
    browser.eval("document.documentElement.dataset.old = 'yes'")
    browser.click("[data-ft=edition-use]")
    browser.await_js(
        "!document.documentElement.dataset.old && document.readyState === 'complete'"
        " && !document.querySelector('[data-ft=edition-use]')",
        60,
    )
    release.stop()
    browser.open(f"{release.url}using.html")
    assert browser.await_js("document.body.innerText.includes('the next edition')")
    release.start()


@pytest.mark.parametrize("room", [1_000_000, -1_000_000], ids=["little", "none"])
@pytest.mark.parametrize("engine", ["chromium"], indirect=True)
def test_a_full_device_keeps_the_edition_it_has(browser: Browser, release: Served, room: int) -> None:
    """A release for which there is no room is told and refused; the edition that is here goes on whole, offline too."""
    browser.open(f"{release.url}index.html")
    says(browser, "On this device")
    # Before the release is there: the worker may still be looking for one since the page was opened.
    used = browser.eval("navigator.storage.estimate().then(found => found.usage)")
    browser.limit_storage(release.url.split("/some/")[0], int(used) + room)
    for path in ("assets/large.bin", "using.html"):
        (release.root / path).write_bytes(b"x" * 3_000_000 if path.endswith("bin") else b"<h1>half</h1>")
    listing = release.root / "kb" / "edition.json"
    edition = json.loads(listing.read_text("utf-8"))
    for path in ("assets/large.bin", "using.html"):
        edition["files"][path] = hashlib.sha256((release.root / path).read_bytes()).hexdigest()
    edition |= {"number": 2, "edition": hashlib.sha256(b"no room").hexdigest()}
    listing.write_text(json.dumps(edition), "utf-8")
    browser.open(f"{release.url}index.html")
    assert "edition 1" in says(browser, "could not be taken over")
    release.stop()
    browser.open(f"{release.url}using.html")
    assert browser.eval("document.querySelector('.ft-standing') !== null"), "the old page, not the half new one"
    browser.open(f"{release.url}trees/chair-dead.html")
    browser.await_js("document.querySelector('[data-ft=begin]:not([hidden])')")
    release.start()


@pytest.mark.parametrize("engine", ["chromium"], indirect=True)
def test_a_swap_that_finds_no_room_is_told(browser: Browser, release: Served) -> None:
    """A device that filled up after the release came: who asks for the newer edition reads why the old one stays."""
    browser.open(f"{release.url}index.html")
    says(browser, "On this device")
    publish(release, 2, mark="the next edition")
    browser.open(f"{release.url}index.html")
    says(browser, "A newer one is here")
    used = browser.eval("navigator.storage.estimate().then(found => found.usage)")
    browser.limit_storage(release.url.split("/some/")[0], int(used) - 1_000_000)
    browser.click("[data-ft=edition-use]")
    assert "edition 1" in says(browser, "could not be taken over")


def test_the_pocket_file_stays_within_its_size(pocket_file: Path) -> None:
    """At most 25 KB for each tree plus 150 KB, and no reference to another file."""
    trees = len(list((ROOT / "trees").glob("*/*.yml"))) - sum(
        len(list((ROOT / "trees" / name).glob("*.yml"))) for name in ("shared", "tables", "maps")
    )
    text = pocket_file.read_text("utf-8")
    assert len(text.encode("utf-8")) <= 25_000 * trees + 150_000
    assert not any(part in text for part in ("<link", " src=", "url(http"))
    assert "Permission is hereby granted" in text, "the licence stands inside"


def test_a_count_has_the_form_of_its_number(browser: Browser, demo_site: Path) -> None:
    """One tree is not `1 trees`, on the page's foot either."""
    browser.open((demo_site / "index.html").as_uri())
    foot = browser.await_js("document.querySelector('[data-ft-edition] p')?.textContent")
    n = browser.eval("faultTrees.data.index.count")
    assert f", {n} trees." in foot
    forms = "faultTrees.words.app.trees"
    assert [browser.eval(f"faultTrees.counted({forms}, {n})") for n in (1, 2, 0)] == ["1 tree", "2 trees", "0 trees"]


def test_the_pocket_file_finds_and_walks(browser: Browser, pocket_file: Path) -> None:
    """The one file finds a tree, draws it, and walks it to its next step; a link leads on inside it."""
    browser.open(pocket_file.as_uri())
    browser.await_js("window.faultTrees && faultTrees.data && faultTrees.data.index")
    browser.await_js("document.querySelector('#home [data-ft=resume-box]') !== null")
    assert browser.visible("[data-ft=resume-box]"), "codes, walks and records stand on its first page"
    browser.fill("[data-ft=find-box]", "the chair is dead")
    browser.await_js("document.querySelector('[data-ft=find-result]')")
    browser.click("[data-ft=find-result]")
    browser.await_js("document.querySelector('[data-ft-tree=chair-dead]:not([hidden]) svg .ft-shape')")
    assert browser.visible("[data-ft-tree=chair-dead] [data-ft=mode]")
    assert browser.visible("[data-ft-tree=chair-dead] [data-ft=known]")
    browser.click("[data-ft-tree=chair-dead] [data-ft=begin]")
    browser.await_js("document.querySelector('[data-ft-current=smell]')")
    browser.eval("document.querySelectorAll('[data-ft=found-skip]').forEach((one) => one.click())")
    browser.await_js("document.querySelector('[data-ft=caution-ack]')")
    browser.click("[data-ft=caution-ack]")
    browser.await_js("document.querySelector('[data-ft=answer][data-ft-value=No]:not([aria-disabled=true])')")
    browser.click("[data-ft=answer][data-ft-value=No]")
    assert browser.await_js("document.querySelector('[data-ft-current]:not([data-ft-current=smell])')") is not None
    at = browser.eval("document.querySelector('[data-ft-current]').dataset.ftCurrent")
    browser.click("[data-ft=hand-over]")
    link = browser.attribute(".fw-link a", "href")
    site = browser.eval("faultTrees.data.index.library.site_url")
    assert link
    assert link.startswith(f"{site.rstrip('/')}/trees/chair-dead.html#walk="), (
        "the site's page, not a place in this file"
    )
    browser.click("[data-ft=pause]")
    browser.fill("[data-ft=resume-box]", link)
    browser.click("[data-ft=resume]")
    assert browser.await_js("document.querySelector('[data-ft-current]')?.dataset.ftCurrent") == at
