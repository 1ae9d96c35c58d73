"""In the walk, the parts that a step looks at are named, and marked on the map of the tree."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from browser.walking import Trees, Walker, page

if TYPE_CHECKING:
    from pathlib import Path

    from browser.browsing import Browser


@pytest.fixture(scope="module")
def trees(demo_site: Path) -> Trees:
    """The compiled trees of the demo site."""
    return Trees(demo_site)


def test_the_parts_of_the_step_are_marked(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """At a step that looks at parts these are named, and on the map just they are marked, and stay within the phone."""
    tree, plan = trees.find(lambda step: step["looks_at"] and step["kind"] == "check")
    data = trees.by_id[tree]
    step = data["steps"][trees.ends_at(tree, plan)]
    walker = Walker(browser)
    walker.begin(page(demo_site, tree))
    walker.walk(plan)
    told = browser.text(".fw-looks")
    assert all(data["parts"][part] in told for part in step["looks_at"])
    browser.click("[data-ft='map']")
    marked = browser.eval("[...document.querySelectorAll('.fw-map .fw-now')].map(one => one.getAttribute('href'))")
    assert sorted(href.split("#part-")[1] for href in marked) == sorted(step["looks_at"])
    assert browser.eval("document.documentElement.scrollWidth <= innerWidth")
