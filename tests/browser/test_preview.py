"""The preview in real browsers: findings at their steps, and a reader's place that outlives an edit."""

from __future__ import annotations

import json
import random
import re
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from browser.serving import new_port
from browser.walking import CURRENT
from kb_tools.pages.mkdocs_plugin import ThemedSite
from kb_tools.pages.preview import Preview
from kb_tools.pages.preview_server import News, PreviewServer
from kb_tools.rules.example_files import TODAY

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from browser.browsing import Browser

SMALL = Path(__file__).parent.parent / "data" / "small"
TREE = "trees/seat/seat-stuck.yml"


class Shown:
    """A preview that is served."""

    def __init__(self, root: Path, folder: Path) -> None:
        """Build and serve it."""
        self.root = root
        news = News()
        self.preview = Preview(ThemedSite(root / "mkdocs.yml", TODAY), folder, news, today=lambda: TODAY)
        self.preview.settle()
        self.server = PreviewServer(f"127.0.0.1:{new_port()}", news)
        self.server.begin()
        self.page = f"{self.server.url}trees/seat-stuck.html"

    def edit(self, change: Callable[[str], str]) -> None:
        """Change the tree, and let the preview follow."""
        path = self.root / TREE
        path.write_text(change(path.read_text("utf-8")), "utf-8")
        self.preview.settle()


@pytest.fixture
def shown(tmp_path: Path) -> Iterator[Shown]:
    """Serve a preview of a small library."""
    shutil.copytree(SMALL, tmp_path / "library")
    one = Shown(tmp_path / "library", tmp_path / "preview")
    yield one
    one.server.end()


def last_step(browser: Browser) -> str:
    """Return the id of the last step on the page."""
    found: str = browser.eval("[...document.querySelectorAll('section.ft-step')].pop().id")
    return found


def top_of(browser: Browser, step: str) -> float:
    """Return how far below the window's top a step stands."""
    found: float = browser.eval(f"document.getElementById({json.dumps(step)}).getBoundingClientRect().top")
    return found


@pytest.mark.planted
def test_a_reader_keeps_the_place(browser: Browser, shown: Shown) -> None:
    """After an edit far above, which makes the page longer, the same step stands where it stood."""
    browser.open(shown.page)
    browser.await_js("document.querySelector('.fw-site') !== null")
    step = last_step(browser)
    browser.eval(f"document.getElementById({json.dumps(step)}).scrollIntoView()")
    before = top_of(browser, step)
    longer = " ".join(random.Random(1).choices(["lamp", "plug", "lead"], k=200))
    shown.edit(
        lambda text: re.sub(
            r"^applies_to: .*\n|^start:", f"applies_to: {longer}\nstart:", text, count=1, flags=re.MULTILINE
        )
    )
    browser.await_js(f"document.body.textContent.includes({json.dumps(longer[:60])})")
    browser.await_js(
        f"Math.abs(document.getElementById({json.dumps(step)}).getBoundingClientRect().top - {before}) < 3"
    )
    assert browser.eval("scrollY") > 0


@pytest.mark.planted
def test_an_open_walk_goes_on(browser: Browser, shown: Shown) -> None:
    """A walk that is open when its tree is edited stands at the same step afterwards, in the new words."""
    browser.open(shown.page)
    browser.await_js("document.querySelector('.fw-site') !== null")
    browser.click("[data-ft=begin]")
    step = browser.await_js(CURRENT)
    shown.edit(lambda text: re.sub(r"^title: .*", "title: Reworded seat", text, count=1, flags=re.MULTILINE))
    browser.await_js(f"document.title.includes('Reworded') && {CURRENT} === {json.dumps(step)}")


@pytest.mark.planted
def test_findings_stand_at_their_steps(browser: Browser, shown: Shown, tmp_path: Path) -> None:
    """A finding appears at its step and at the top without anybody's doing, and goes when it is mended."""
    browser.open(shown.page)
    whole = (shown.root / TREE).read_text("utf-8")
    target = re.findall(r" to: ([a-z][\w-]*)", whole)[0]
    shown.edit(lambda text: text.replace(f" to: {target}", " to: nowhere", 1))
    browser.await_js("document.querySelector('.ft-preview-step') !== null")
    assert "nowhere" in browser.text(".ft-preview-step")
    assert "target-exists" in browser.text(".ft-preview-top")
    assert browser.eval("document.querySelector('.ft-preview-step').closest('section.ft-step') !== null")
    shot = browser.screenshot(tmp_path / "findings.png")
    assert shot.stat().st_size > 0
    shown.edit(lambda _: f"{whole}\n  : [")
    browser.await_js("document.querySelector('.ft-preview-old') !== null")
    assert browser.count("section.ft-step") > 0
    shown.edit(lambda _: whole)
    browser.await_js(
        "document.querySelector('[data-ft-preview]') === null && document.querySelector('section.ft-step') !== null"
    )
