"""The page "What the field teaches": there only with counts, its links lead to real steps, its texts stay text."""

from __future__ import annotations

import re
import shutil
from datetime import date
from pathlib import Path

from kb_tools.author.learn import Asked, learn
from kb_tools.author.learn_file import counts_text
from kb_tools.model.build import load
from kb_tools.pages.site_pages import SitePages
from kb_tools.rules import contract
from kb_tools.rules.example_files import TODAY
from visit_records import lines, loaded, record

SMALL = Path(__file__).parent.parent / "data" / "small"
CRIMPED = ["Silent", "No supply", "done", "Yes", "cured"]


def pages(root: Path) -> dict[str, str]:
    """Return the pages of a library's site by their sources."""
    site = SitePages(contract.subject_of(load(root), TODAY), with_drafts=False, with_reference=False, dot_program="")
    try:
        return {page.source: str(page.html()) for page in site.pages()}
    finally:
        site.close()


def test_the_page_comes_with_counts(tmp_path: Path) -> None:
    """Without counts no page changes; with them a tree's page tells how many records, and lessons have a page."""
    root = tmp_path / "library"
    shutil.copytree(SMALL, root)
    library, graph = loaded(root)
    before = pages(root)
    assert "learned.md" not in before
    records = [record(library, graph, "seat-stuck", CRIMPED, id=f"{number}") for number in range(12)]
    records += [record(library, graph, "seat-stuck", CRIMPED[:3], id="r", outcome="refused")]
    for one in records:
        one["searches"] = ["<b>flux</b> & co"]
    path = tmp_path / "records.jsonl"
    path.write_text(lines(records), "utf-8")
    given = learn(library, graph, Asked([path]), date(2027, 1, 1))
    (root / "trees/shared/counts.yml").write_text(counts_text(given.tally), "utf-8")
    after = pages(root)
    assert set(after) - set(before) == {"learned.md"}
    assert "12 records of visits found a cause here; the author's word weighs as much as 20." in after[
        "trees/seat-stuck.md"
    ].replace("&#39;", "'")
    assert re.search(r"range \d+\s% to \d+\s%, found 12 times", after["trees/seat-stuck.md"])
    assert after["trees/buttons-dead.md"] == before["trees/buttons-dead.md"]
    learned = after["learned.md"]
    assert "13 records, from 3 November 2026" in learned
    assert "<b>" not in learned
    assert ">flux<" in learned
    links = re.findall(r'href="trees/([a-z-]+)\.html#([a-z-]+)"', learned)
    assert ("seat-stuck", "splice") in links
    assert all(step in library.trees[tree].steps for tree, step in links)
