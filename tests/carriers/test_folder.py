"""The folder: written aside and swapped in, equal for equal sources, told in words when it fails."""

from __future__ import annotations

import hashlib
import html
import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from kb_tools.carriers import folder
from kb_tools.carriers.licences import licences
from kb_tools.carriers.verify import verify
from kb_tools.findings import BuildError, UsageError
from kb_tools.model.build import load
from kb_tools.pages.mkdocs_plugin import build_site
from kb_tools.rules import contract
from kb_tools.rules.example_files import TODAY

if TYPE_CHECKING:
    from kb_tools.rules.contract import Subject

SMALL = Path(__file__).parent.parent / "data" / "small"


def subject_of(root: Path) -> Subject:
    """Read a library."""
    return contract.subject_of(load(root), TODAY)


def contents(site: Path) -> dict[str, str]:
    """Return the hash of each file below a folder."""
    return {
        path.relative_to(site).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(site.rglob("*"))
        if path.is_file()
    }


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the small library once."""
    out = tmp_path_factory.mktemp("built") / "site"
    folder.build(SMALL, out, subject_of(SMALL))
    return out


@pytest.fixture
def site(built: Path, tmp_path: Path) -> Path:
    """Return a copy of the built site that a test may spoil."""
    return Path(shutil.copytree(built, tmp_path / "site"))


def test_the_edition_lists_every_file(built: Path) -> None:
    """kb/edition.json holds number, date and the hash of every file but itself."""
    listed = json.loads((built / "kb" / "edition.json").read_text("utf-8"))
    found = contents(built)
    del found["kb/edition.json"]
    assert listed["files"] == found
    settings = load(SMALL).settings
    assert settings
    assert settings.date
    assert (listed["number"], listed["date"]) == (settings.edition, settings.date.date.isoformat())
    assert len(listed["edition"]) == 64


def test_equal_sources_give_equal_bytes(built: Path, tmp_path: Path) -> None:
    """Another process, folder, hash seed, time zone and locale give the same site to the byte."""
    library = shutil.copytree(SMALL, tmp_path / "elsewhere" / "library")
    code = (
        "import sys; from pathlib import Path; from datetime import date; from kb_tools.carriers import folder;"
        "from kb_tools.model.build import load; from kb_tools.rules import contract;"
        "root = Path(sys.argv[1]);"
        "folder.build(root, Path(sys.argv[2]), contract.subject_of(load(root), date(2026, 11, 25)))"
    )
    environment = {**os.environ, "PYTHONHASHSEED": "4711", "TZ": "Pacific/Auckland", "LC_ALL": "C"}
    environment.pop("SOURCE_DATE_EPOCH", None)
    done = subprocess.run(
        [sys.executable, "-c", code, str(library), str(tmp_path / "other")],
        env=environment,
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert contents(tmp_path / "other") == contents(built)


def test_nothing_is_left_beside_the_site(built: Path) -> None:
    """Neither the folder it was built in nor the old site stays behind, and the clock is given back."""
    assert [path.name for path in built.parent.iterdir()] == ["site"]
    assert "SOURCE_DATE_EPOCH" not in os.environ


def test_a_second_build_takes_the_place_of_the_first(site: Path) -> None:
    """Building again replaces the site whole: what is no part of it is gone."""
    (site / "left-over.html").write_text("old")
    folder.build(SMALL, site, subject_of(SMALL))
    assert not (site / "left-over.html").exists()
    assert [path.name for path in site.parent.iterdir()] == ["site"]


def test_a_failing_build_leaves_the_old_site(site: Path, tmp_path: Path) -> None:
    """A page that cannot be built stops it; the old site is there byte for byte, and nothing beside it."""
    before = contents(site)
    library = Path(shutil.copytree(SMALL, tmp_path / "library"))
    (library / "content" / "bad.md").write_bytes(b"\xff\xfe bad")
    with pytest.raises(BuildError):
        folder.build(library, site, subject_of(library))
    assert contents(site) == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["library", "site"]


def test_a_swap_that_fails_puts_the_old_site_back(site: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the new site cannot take its place, the old one is put back."""
    before = contents(site)
    rename = Path.rename

    def failing(self: Path, target: Path) -> Path:
        if ".new-" in self.name:
            raise OSError(28, "No space left on device", str(target))
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", failing)
    with pytest.raises(BuildError, match=r"(?i)no space left"):
        folder.build(SMALL, site, subject_of(SMALL))
    assert contents(site) == before


def test_a_build_killed_in_the_middle_of_a_swap(site: Path) -> None:
    """The old site, left aside by a build that was killed, is put back by the next one before it begins."""
    before = contents(site)
    site.rename(site.parent / ".site.old")
    empty = site.parent / "empty"
    empty.mkdir()
    with pytest.raises(BuildError):
        folder.build(empty, site, subject_of(SMALL))
    assert contents(site) == before
    assert not (site.parent / ".site.old").exists()


@pytest.mark.parametrize("where", ["", "trees", "content/deep", "mkdocs.yml"])
def test_sources_are_never_replaced(where: str, tmp_path: Path) -> None:
    """The library itself, or a folder of its own files, is refused as a place for the site."""
    library = Path(shutil.copytree(SMALL, tmp_path / "library"))
    before = contents(library)
    with pytest.raises(BuildError, match="name another folder"):
        folder.build(library, library / where, subject_of(library))
    assert contents(library) == before


def test_what_is_no_site_is_never_replaced(tmp_path: Path) -> None:
    """A folder with other things in it, or a file, is refused; an empty folder is not."""
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "one.jpg").write_text("dear")
    (tmp_path / "letter").write_text("dear")
    for name in ("photos", "letter"):
        with pytest.raises(BuildError):
            folder.build(SMALL, tmp_path / name, subject_of(SMALL))
    assert (tmp_path / "photos" / "one.jpg").read_text() == "dear"
    assert (tmp_path / "letter").read_text() == "dear"
    (tmp_path / "empty").mkdir()
    folder.build(SMALL, tmp_path / "empty", subject_of(SMALL))
    assert (tmp_path / "empty" / "index.html").is_file()


def test_licence_notices_travel_with_the_site(built: Path) -> None:
    """The theme's notice and this project's stand in the site, each under its package's name."""
    text = (built / "kb" / "licences.txt").read_text("utf-8")
    assert text == licences("material")
    assert "mkdocs-material" in text
    assert "Permission is hereby granted" in text
    assert "kb-tools" in text


def test_the_site_holds_no_path_of_this_machine(built: Path) -> None:
    """Nothing in the site tells where it was built."""
    here = [str(SMALL).encode(), str(built).encode(), str(Path.home()).encode() + b"/"]
    for path in built.rglob("*"):
        if path.is_file():
            assert not any(place in path.read_bytes() for place in here), path


def test_a_copy_without_its_list_is_told_how_to_mend_it(site: Path, tmp_path: Path) -> None:
    """`kb verify` says what is missing, and tells a site without its list from a folder that is no site."""
    (site / "kb/edition.json").unlink()
    with pytest.raises(
        UsageError, match=r"kb/edition\.json, the list of the edition, is missing.*Copy the whole site anew"
    ):
        verify(site)
    (tmp_path / "empty").mkdir()
    with pytest.raises(UsageError, match=r"is no built site.*Name the folder that `kb build` wrote"):
        verify(tmp_path / "empty")


def test_only_a_built_site_says_that_it_has_an_app(built: Path, tmp_path: Path) -> None:
    """The mark stands where the service worker lies: a site of plain MkDocs would ask for it in vain."""
    mark = "faultTrees.installable=true;"
    assert mark in (built / "kb/walker.js").read_text("utf-8")
    assert (built / "sw.js").is_file()
    build_site(SMALL / "mkdocs.yml", tmp_path / "plain", subject_of(SMALL))
    assert mark not in (tmp_path / "plain/kb/walker.js").read_text("utf-8")
    assert not (tmp_path / "plain/sw.js").exists()


@pytest.mark.parametrize("title", ['Seat "stuck" & still', "AT&T", "5 < 6", "a &amp; b"])
def test_a_page_bears_its_title_as_written(title: str, tmp_path: Path) -> None:
    """Quotes stay quotes and entities are not doubled in what a browser's tab shows."""
    library = Path(shutil.copytree(SMALL, tmp_path / "library"))
    tree = library / "trees/seat/seat-stuck.yml"
    tree.write_text("".join((f"title: '{title}'\n", *tree.read_text("utf-8").splitlines(keepends=True)[1:])), "utf-8")
    build_site(library / "mkdocs.yml", tmp_path / "site", subject_of(library))
    page = (tmp_path / "site/trees/seat-stuck.html").read_text("utf-8")
    found = re.search("<title>(.*?)</title>", page)
    assert found
    assert html.unescape(found[1]) == f"{title} - Small library"
