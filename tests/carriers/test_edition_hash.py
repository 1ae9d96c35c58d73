"""The hash of an edition stands in one file alone, so that an edit of one tree changes no other page."""

from __future__ import annotations

import json
from pathlib import Path

from kb_tools.carriers import folder
from kb_tools.model.build import load
from kb_tools.rules import contract
from kb_tools.rules.example_files import TODAY

SMALL = Path(__file__).parent.parent / "data" / "small"


def test_no_page_prints_the_hash_of_the_edition(tmp_path: Path) -> None:
    """Of all files of a site only kb/edition.json holds the edition's hash, or the start of it."""
    site = tmp_path / "site"
    folder.build(SMALL, site, contract.subject_of(load(SMALL), TODAY))
    edition = json.loads((site / "kb/edition.json").read_text("utf-8"))["edition"]
    holding = [
        path.relative_to(site).as_posix()
        for path in sorted(site.rglob("*"))
        if path.is_file() and edition[:12].encode() in path.read_bytes()
    ]
    assert holding == ["kb/edition.json"]
