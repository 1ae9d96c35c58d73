"""A new edition is compared with the one before; what got less safe must be accepted; equal builds stay equal."""

from __future__ import annotations

import json
import shutil
import subprocess
from typing import TYPE_CHECKING

import pytest

from author.kb_run import DAY, Ran, files, kb
from kb_tools.author.start import start

if TYPE_CHECKING:
    from pathlib import Path

TREE = "trees/first/chair-does-not-switch-on.yml"
GIT = shutil.which("git") or "git"
PROOFS = "trees/shared/proofs.yml"


@pytest.fixture
def library(tmp_path: Path) -> Path:
    """Return a new library, edition 1."""
    root = tmp_path / "library"
    start(root)
    number(root, 1)
    return root


def number(root: Path, edition: int) -> None:
    """Give a library the number of an edition."""
    path = root / "trees/shared/library.yml"
    kept = [line for line in path.read_text("utf-8").splitlines() if not line.startswith("edition:")]
    path.write_text("\n".join([*kept, f"edition: {edition}", ""]), "utf-8")


def change(root: Path, before: str, after: str, file: str = TREE) -> None:
    """Replace a text in a file of the library."""
    path = root / file
    text = path.read_text("utf-8")
    assert before in text
    path.write_text(text.replace(before, after, 1), "utf-8")


def build(root: Path, *arguments: str) -> Ran:
    """Build the library's site."""
    return kb(root, "build", *DAY, *arguments)


def page(root: Path) -> str:
    """Return the page of the edition."""
    return (root / "site/edition.html").read_text("utf-8")


def less_safe(root: Path) -> None:
    """Take the proof's last item away."""
    path = root / PROOFS
    lines = path.read_text("utf-8").rstrip().splitlines()
    while not lines.pop().lstrip().startswith("- "):
        pass
    path.write_text("\n".join([*lines, ""]), "utf-8")


def test_a_first_build_is_compared_with_nothing(library: Path) -> None:
    """Without a site in place the page says so, and carries number and note."""
    settings = library / "trees/shared/library.yml"
    settings.write_text(f"{settings.read_text('utf-8')}note: Mind the **new lead**\n", "utf-8")
    assert build(library).code == 0
    assert "compared with no earlier edition" in page(library)
    assert "Edition 1" in page(library)
    assert "<strong>new lead</strong>" in page(library)
    assert not (library / "site/kb/previous.zip").exists()


def test_the_page_tells_what_is_new(library: Path) -> None:
    """Reworded and rewired steps, and figures, stand on the page; wording is told from ways."""
    assert build(library).code == 0
    number(library, 2)
    change(library, "Leave the chair switched off and tagged", "Switch the chair off, tag it, leave it")
    change(library, "share: 40", "share: 60")
    assert build(library).code == 0
    told = page(library)
    assert "Compared with edition 1" in told
    assert "Reworded</h2>" in told
    assert "Minutes and odds" in told
    assert 'href="trees/chair-does-not-switch-on.html#ask-maker"' in told


def test_building_again_gives_the_same_bytes(library: Path) -> None:
    """A second and third build over the site of the same sources change nothing, accepted or compared."""
    assert build(library).code == 0
    first = files(library / "site")
    assert build(library).code == 0
    assert files(library / "site") == first
    number(library, 2)
    less_safe(library)
    assert build(library, "--accept", "The box is not fitted any more").code == 0
    second = files(library / "site")
    for arguments in ((), ("--accept", "Another reason")):
        assert build(library, *arguments).code == 0
        assert files(library / "site") == second


def test_what_got_less_safe_stops_the_build(library: Path) -> None:
    """A proof that asks for less is told first and nothing is built, until a reason is given, which the page tells."""
    assert build(library).code == 0
    before = files(library / "site")
    change(library, "Leave the chair switched off and tagged", "Switch the chair off, tag it, leave it")
    less_safe(library)
    refused = build(library)
    assert refused.code == 1
    assert "proof gone" in refused.out
    assert "--accept" in refused.out
    assert files(library / "site") == before
    assert build(library, "--accept", " ").code == 1
    accepted = build(library, "--accept", "The box is not fitted <any> more")
    assert accepted.code == 0, accepted.out
    assert "Accepted because: The box is not fitted &lt;any&gt; more." in page(library)


def test_what_was_accepted_holds_for_its_edition_alone(library: Path) -> None:
    """The next number starts clean; what is mended again is accepted no more."""
    assert build(library).code == 0
    whole = (library / PROOFS).read_text("utf-8")
    number(library, 2)
    less_safe(library)
    assert build(library, "--accept", "So it is").code == 0
    assert json.loads((library / "site/kb/accepted.json").read_text("utf-8"))[0]["reason"] == "So it is"
    (library / PROOFS).write_text(whole, "utf-8")
    assert build(library).code == 0
    assert not (library / "site/kb/accepted.json").exists()
    less_safe(library)
    assert build(library).code == 1
    assert build(library, "--accept", "Once more").code == 0
    number(library, 3)
    assert build(library).code == 0
    assert "Compared with edition 2" in page(library)
    assert "Accepted" not in page(library)


def test_builds_of_one_number_compare_with_the_edition_before(library: Path) -> None:
    """However often an edition is built, its page tells all that is new since the last number."""
    assert build(library).code == 0
    number(library, 2)
    change(library, "Leave the chair switched off and tagged", "Switch the chair off, tag it, leave it")
    assert build(library).code == 0
    change(library, "share: 40", "share: 60")
    assert build(library).code == 0
    assert "Compared with edition 1" in page(library)
    assert "Reworded</h2>" in page(library)
    assert "Minutes and odds" in page(library)


def test_since_names_what_to_compare_with(library: Path, tmp_path: Path) -> None:
    """A folder, a site or a revision stands in for the site in place; a name that is none of them is a wrong use."""
    shutil.copytree(library, tmp_path / "old")
    for command in (
        ["init", "-q"],
        ["add", "trees"],
        ["-c", "user.name=a", "-c", "user.email=a@b.c", "commit", "-qm", "x"],
    ):
        subprocess.run([GIT, *command], cwd=library, check=True, capture_output=True)
    assert build(library, "--out", str(tmp_path / "site")).code == 0
    number(library, 2)
    change(library, "Leave the chair switched off and tagged", "Switch the chair off, tag it, leave it")
    built = []
    for old in (tmp_path / "old", tmp_path / "site", "HEAD"):
        shutil.rmtree(library / "site", ignore_errors=True)
        assert build(library, "--since", str(old)).code == 0
        assert "Compared with edition 1" in page(library)
        built.append(files(library / "site"))
    assert built[0] == built[1] == built[2]
    assert build(library).code == 0
    assert files(library / "site") == built[0]
    assert build(library, "--since", "nowhere").code == 2


def test_a_damaged_site_stops_no_build(library: Path) -> None:
    """Where what a site carries cannot be read, a build over it is as good as a first one."""
    assert build(library).code == 0
    (library / "site/kb/source.zip").write_bytes(b"no archive")
    number(library, 2)
    assert build(library).code == 0
    assert "compared with no earlier edition" in page(library)


def test_a_draft_is_no_part_of_an_edition(library: Path) -> None:
    """A tree that is a draft is told of when it is published, not before."""
    assert build(library).code == 0
    number(library, 2)
    other = library / "trees/first/another.yml"
    text = (library / TREE).read_text("utf-8").replace("title:", "status: draft\ntitle:", 1)
    other.write_text(text, "utf-8")
    assert build(library).code == 0
    assert "Tree added" not in page(library)
    other.write_text(text.replace("status: draft\n", ""), "utf-8")
    assert build(library).code == 0
    assert "Tree added" in page(library)


@pytest.mark.parametrize(("command", "name"), [("pack", "pocket.html"), ("paper", "paper.pdf")])
def test_a_file_for_technicians_passes_the_same_gate(command: str, name: str, library: Path) -> None:
    """What got less safe stops pocket file and book, and goes through where it is accepted, here or in the site."""
    assert build(library).code == 0
    assert kb(library, command, *DAY).code == 0
    before = (library / name).read_bytes()
    number(library, 2)
    less_safe(library)
    for arguments in ((), ("--accept", " "), ("--since", str(library / "site"))):
        refused = kb(library, command, *DAY, *arguments)
        assert refused.code == 1
        assert "proof gone" in refused.out
        assert (library / name).read_bytes() == before
    assert kb(library, command, *DAY, "--since", "nowhere").code == 2
    accepted = kb(library, command, *DAY, "--accept", "The box is not fitted any more")
    assert accepted.code == 0, accepted.out
    assert (library / name).read_bytes() != before
    assert build(library, "--accept", "The box is not fitted any more").code == 0
    assert kb(library, command, *DAY).code == 0


def test_an_export_notes_what_got_less_safe(library: Path) -> None:
    """An export is written all the same, and its text is not mixed with the note."""
    assert build(library).code == 0
    assert "note:" not in kb(library, "export", *DAY, "--to", "json").out
    number(library, 2)
    less_safe(library)
    told = kb(library, "export", *DAY, "--to", "json")
    assert told.code == 0
    assert "note: 1 change since edition 1" in told.out
    assert (library / "library.json").is_file()
