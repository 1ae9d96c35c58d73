"""What people and broken tools put into a library: each has its place, and hides nothing else.

Every mistake is planted twice: alone, beside a tree with one known mistake that must still be
reported; and together with all the others, through the real command.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from kb_tools.cli._main import main
from kb_tools.model.build import load
from kb_tools.rules import contract
from kb_tools.rules.example_files import BASE, TODAY

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.findings import Finding

DEMO = Path(__file__).parents[2]
SOUND = """\
title: The lamp blinks
reviewed: 2026-11-20
start: pattern
steps:
  pattern:
    check: Does the lamp blink?
    answers:
      - {answer: 'Yes', to: desk}
      - {answer: 'No', to: fine}
  desk:
    escalate: Ask the service desk
  fine:
    done: Nothing is wrong
"""
KNOWN = ("trees/area/other.yml", 8, 29, "target-exists")
"""The mistake in a tree of its own that every other mistake must leave visible."""
FILE = "trees/area/planted.yml"


def library_at(root: Path) -> Path:
    """Write the base library, and the tree with the known mistake, below `root`."""
    shutil.copytree(BASE, root, dirs_exist_ok=True)
    (root / KNOWN[0]).write_text(SOUND.replace("to: desk}", "to: desc}"), "utf-8")
    return root


def findings_below(root: Path) -> list[Finding]:
    """Check the library below `root`, in this process."""
    return contract.run(contract.subject_of(load(root), TODAY))


def key(finding: Finding) -> tuple[str, int, int, str]:
    """Return file, line, column and rule of a finding."""
    return (*finding.place, finding.rule)


def kb_check(root: Path) -> subprocess.CompletedProcess[str]:
    """Run the real command on the library below `root`."""
    command = [sys.executable, "-m", "kb_tools.cli", "check", str(root), "--format", "json"]
    command += ["--today", TODAY.isoformat()]
    here = Path(__file__).parents[2]
    return subprocess.run(command, cwd=here, capture_output=True, text=True, check=False)


@dataclass(frozen=True)
class Planted:
    """A mistake: what the file holds, and what is said of it."""

    name: str
    content: bytes
    line: int
    column: int
    rule: str
    remedy: str
    """A part of the remedy."""


HERE = "\N{LEFT-POINTING DOUBLE ANGLE QUOTATION MARK}"
"""Marks in the texts below where the finding is to stand; it is taken out."""


def planted(name: str, old: str, new: str, rule: str, remedy: str) -> Planted:
    """Return a mistake that puts `new` in the place of `old` in a sound tree."""
    assert old in SOUND
    marked = SOUND.replace(old, new, 1)
    before = marked[: marked.index(HERE)]
    line, column = before.count("\n") + 1, len(before) - before.rfind("\n")
    return Planted(name, marked.replace(HERE, "").encode(), line, column, rule, remedy)


LIT = "- {answer: 'Yes', to: desk}"
QUESTION = "check: Does the lamp blink?"
BOMB = "heard_as:\n  - &a [x, x, x, x, x, x, x, x, x, x]\n" + "".join(
    f"  - {HERE if new == 'f' else ''}&{new} [{', '.join([f'*{old}'] * 10)}]\n"
    for old, new in zip("abcdefgh", "bcdefghi", strict=True)
)
PLANTED = [
    Planted(
        "invalid UTF-8",
        SOUND.encode().replace(b"blink?", b"bl\xffnk?"),
        6,
        28,
        "file-readable",
        "UTF-8",
    ),
    Planted("UTF-16", SOUND.encode("utf-16"), 1, 1, "file-readable", "UTF-8"),
    Planted("a byte-order mark", SOUND.encode("utf-8-sig"), 1, 1, "file-readable", "byte-order"),
    planted("a NUL byte", QUESTION, f"check: Does the {HERE}\0lamp blink?", "file-readable", "Delete"),
    planted("a control character", QUESTION, f"check: {HERE}\x07Ding", "yaml-syntax", "Delete"),
    planted("a tab", "    check", f"{HERE}\t\tcheck", "yaml-syntax", "spaces"),
    planted("an unclosed quote", QUESTION, f"check: {HERE}'Does the lamp blink?", "yaml-syntax", "Close it"),
    planted(
        "a question mark between braces",
        LIT,
        f"- {{answer: {HERE}Is it lit?, to: desk}}",
        "yaml-syntax",
        "in quotes",
    ),
    planted(
        "a colon between braces",
        LIT,
        f"- {{answer: {HERE}Yes: slowly, to: desk}}",
        "yaml-syntax",
        "in quotes",
    ),
    planted("a repeated key", "start:", f"{HERE}title: Again\nstart:", "key-repeated", "Keep one"),
    planted("a repeated step", "  fine:", f"  {HERE}desk:\n    done: x\n  fine:", "key-repeated", "Keep one"),
    planted("an alias bomb", "start:", f"{BOMB}start:", "limit-kept", "Write the content out"),
    planted("an alias to itself", "start:", f"heard_as: {HERE}&a [*a]\nstart:", "limit-kept", "Write"),
    planted(
        "nesting 10,000 deep",
        "start:",
        f"heard_as: {'[' * 29}{HERE}{'[' * 9971}{']' * 10000}\nstart:",
        "limit-kept",
        "flatter",
    ),
    Planted(
        "nesting 10,000 deep by indent",
        "".join(f"{' ' * depth}a:\n" for depth in range(10_000))[:1_900_000].encode(),
        31,
        31,
        "limit-kept",
        "flatter",
    ),
    Planted("50 MB", SOUND.encode() + b"# padding\n" * 5_000_000, 1, 1, "limit-kept", "Split"),
    planted("a scalar for a list", "start:", f"heard_as: {HERE}no light\nstart:", "value-type", "list"),
    planted("a list for a text", QUESTION, f"check: {HERE}[Does it blink]", "value-type", "text"),
    planted("an unknown key", LIT, f"- {{answer: 'Yes', to: desk, {HERE}unsrue: true}}", "key-known", "`unsure`"),
    planted("a missing target", LIT, f"- {{answer: 'Yes', to: {HERE}dsek}}", "target-exists", "`desk`"),
    planted("raw HTML", QUESTION, f"{QUESTION}\n    how: {HERE}Look <b>well</b>", "text-safe", ""),
    planted("a script", QUESTION, f"{QUESTION}\n    how: {HERE}<script>alert(1)</script>", "text-safe", ""),
    planted(
        "a javascript: link",
        QUESTION,
        f"{QUESTION}\n    how: {HERE}'[here](javascript:alert(1))'",
        "text-safe",
        "",
    ),
    *(
        planted(
            f"a picture {where}",
            QUESTION,
            f"{QUESTION}\n    picture_text: The lamp\n    picture: {HERE}{path}",
            "reference-resolves",
            "",
        )
        for where, path in (
            ("that is missing", "pictures/lamp.svg"),
            ("above content/", "../secret.svg"),
            ("above content/ by a detour", "pictures/../../secret.svg"),
            ("with an absolute path", "/etc/lamp.svg"),
            ("on the net", "https://pictures.example/lamp.svg"),
            ("that is no picture", "index.md"),
            ("at the end of a link out of the library", "pictures/out.svg"),
        )
    ),
    Planted("an empty file", b"", 1, 1, "file-readable", "delete"),
    Planted("a file of blanks", b" \n\n", 1, 1, "file-readable", "delete"),
    Planted("a file of comments", b"# to do\n", 1, 1, "file-readable", "delete"),
    Planted("a list for a tree", b"- a\n- b\n", 1, 1, "value-type", "key"),
    Planted("a word for a tree", b"hello\n", 1, 1, "value-type", "key"),
]


def plant(root: Path, mistake: Planted, name: str = FILE) -> None:
    """Write the file with a mistake, and what else it needs, below `root`."""
    (root / name).write_bytes(mistake.content)
    link = root / "content/pictures/out.svg"
    if not link.is_symlink():
        outside = root.parent / "outside.svg"
        outside.write_text("<svg xmlns='http://www.w3.org/2000/svg'/>", "utf-8")
        link.symlink_to(outside)


@pytest.mark.parametrize("mistake", PLANTED, ids=lambda mistake: mistake.name)
def test_a_mistake_has_its_place_and_hides_no_other_file(mistake: Planted, tmp_path: Path) -> None:
    """One finding, at its line and column, says how to mend it; other files are still checked."""
    root = library_at(tmp_path / "library")
    plant(root, mistake)
    findings = findings_below(root)
    assert [key(finding) for finding in findings] == [
        KNOWN,
        (FILE, mistake.line, mistake.column, mistake.rule),
    ]
    assert mistake.remedy in findings[1].remedy
    assert findings[1].message


def test_all_mistakes_appear_in_one_run_of_the_command(tmp_path: Path) -> None:
    """The real command reports every file's mistake at once, as JSON, and exits 1 without a trace."""
    root = library_at(tmp_path / "library")
    expected = [KNOWN]
    for number, mistake in enumerate(PLANTED):
        name = f"trees/area/planted-{number:02}.yml"
        plant(root, mistake, name)
        expected.append((name, mistake.line, mistake.column, mistake.rule))
    run = kb_check(root)
    assert run.returncode == 1
    assert not run.stderr
    report = json.loads(run.stdout)
    fields = ("file", "line", "column", "rule")
    found = [tuple(finding[field] for field in fields) for finding in report["findings"]]
    assert found == sorted(expected)
    assert report["trees"] == len(PLANTED) + 2


def test_links_out_of_the_library_are_not_followed(tmp_path: Path) -> None:
    """A symbolic link to a file or folder elsewhere, or to nothing, is a finding and is not read."""
    root = library_at(tmp_path / "library")
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "tree.yml").write_text(SOUND.replace("desk}", "desc}"), "utf-8")
    (root / "trees/area/file.yml").symlink_to(elsewhere / "tree.yml")
    (root / "trees/folder").symlink_to(elsewhere)
    (root / "trees/area/nothing.yml").symlink_to(tmp_path / "nothing.yml")
    (root / "trees/area/itself.yml").symlink_to(root / "trees/area/itself.yml")
    found = {key(finding) for finding in findings_below(root)}
    names = ("trees/area/file.yml", "trees/folder", "trees/area/nothing.yml", "trees/area/itself.yml")
    assert found == {KNOWN} | {(name, 1, 1, "file-readable") for name in names}


def test_trees_itself_may_not_lead_out_of_the_library(tmp_path: Path) -> None:
    """A library whose trees/ is a link to elsewhere is not whole."""
    shutil.copytree(BASE / "trees", tmp_path / "elsewhere")
    (tmp_path / "library").mkdir()
    (tmp_path / "library/trees").symlink_to(tmp_path / "elsewhere")
    found = findings_below(tmp_path / "library")
    assert [key(finding) for finding in found] == [("trees", 1, 1, "file-readable")]


HIDDEN = ["content", "content/figures", "trees/maps", "trees/shared", "trees/tables", "trees/chair", "trees/guard"]
"""Folders of the demo library on which others depend."""
SPOILT = sorted(path.relative_to(DEMO).as_posix() for path in (DEMO / "trees/shared").glob("*.yml"))


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    """Copy the demo library."""
    for name in ("trees", "content"):
        shutil.copytree(DEMO / name, tmp_path / "library" / name)
    return tmp_path / "library"


@pytest.mark.parametrize("name", HIDDEN)
def test_nothing_follows_from_what_a_folder_may_hold(name: str, demo: Path, tmp_path: Path) -> None:
    """A folder that is not entered is one finding: that its ids are not known is none besides."""
    (demo / name).rename(tmp_path / "elsewhere")
    (demo / name).symlink_to(tmp_path / "elsewhere")
    assert [key(finding) for finding in findings_below(demo)] == [(name, 1, 1, "file-readable")]


@pytest.mark.parametrize("name", SPOILT)
def test_nothing_follows_from_what_a_shared_file_may_hold(name: str, demo: Path) -> None:
    """A shared file that cannot be read at all is one finding, however many trees use its items."""
    with (demo / name).open("a", encoding="utf-8") as file:
        file.write("x: [\n")
    assert [(found.place.file, found.rule) for found in findings_below(demo)] == [(name, "yaml-syntax")]


def test_a_misspelt_shared_item_is_one_finding(demo: Path) -> None:
    """Whoever misspells what a step uses is told that, and not besides what the step then lacks."""
    tree = demo / "trees/chair/chair-dead.yml"
    tree.write_text(tree.read_text("utf-8").replace("measure: {use: battery-at-rest}", "measure: {use: batery}", 1))
    assert [(found.place.file, found.rule) for found in findings_below(demo)] == [
        ("trees/chair/chair-dead.yml", "reference-resolves")
    ]


def test_a_picture_may_be_a_link_inside_the_library(tmp_path: Path) -> None:
    """A link from one picture to another is no mistake."""
    root = library_at(tmp_path / "library")
    plant(root, planted("", QUESTION, f"{HERE}{QUESTION}\n    picture_text: x\n    picture: pictures/two.svg", "", ""))
    (root / "content/pictures/two.svg").symlink_to("box.svg")
    assert [key(finding) for finding in findings_below(root)] == [KNOWN]


def test_a_pipe_is_not_read(tmp_path: Path) -> None:
    """What is no plain file is a finding; reading a pipe would wait for ever."""
    root = library_at(tmp_path / "library")
    os.mkfifo(root / FILE)
    assert [key(finding) for finding in findings_below(root)] == [KNOWN, (FILE, 1, 1, "file-readable")]


def test_a_file_name_that_is_not_utf_8_can_be_printed(tmp_path: Path) -> None:
    """Bytes of a name that are no UTF-8 are spelt out, in the real command's output too."""
    root = library_at(tmp_path / "library")
    (root / os.fsdecode(b"trees/area/l\xffmp.yml")).write_text(SOUND, "utf-8")
    run = kb_check(root)
    assert run.returncode == 1
    assert ["trees/area/l\\xffmp.yml", "value-type"] in [
        [finding["file"], finding["rule"]] for finding in json.loads(run.stdout)["findings"]
    ]


def test_an_ending_in_capitals_is_not_passed_over(tmp_path: Path) -> None:
    """A tree called TREE.YML is said to be misnamed instead of being left out without a word."""
    root = library_at(tmp_path / "library")
    (root / "trees/area/planted.YML").write_text(SOUND, "utf-8")
    found = [key(finding) for finding in findings_below(root)]
    assert found == [KNOWN, ("trees/area/planted.YML", 1, 1, "file-readable")]


@pytest.mark.parametrize("layout", [[], ["trees"], ["trees/area"], ["trees/shared"]], ids=str)
def test_an_empty_library_is_a_finding(layout: list[str], tmp_path: Path) -> None:
    """Whoever checks a folder without trees is told so."""
    for folder in layout:
        (tmp_path / folder).mkdir(parents=True)
    found = findings_below(tmp_path)
    assert [key(finding) for finding in found] == [("trees", 1, 1, "file-readable")]
    assert "trees/<area>/<id>.yml" in found[0].remedy


@pytest.mark.parametrize("closed", ["trees/locked", "trees/area/locked.yml", "trees", "."])
def test_what_may_not_be_read_is_a_finding(closed: str, tmp_path: Path) -> None:
    """A file or folder without read permission is a finding of the command, not a traceback."""
    root = library_at(tmp_path / "library")
    (root / "trees/locked").mkdir()
    (root / "trees/locked/tree.yml").write_text(SOUND, "utf-8")
    (root / "trees/area/locked.yml").write_text(SOUND, "utf-8")
    CliRunner().invoke(main, ["check", str(root)])  # whatever is imported late is imported now
    tmp_path.chmod(0o755)
    (root / closed).chmod(0)
    with as_somebody_without_privileges(tmp_path):
        run = CliRunner().invoke(main, ["check", str(root), "--format", "json", "--today", str(TODAY)])
    (root / closed).chmod(0o755)
    assert run.exit_code == 1, run.exception
    found = {(finding["file"], finding["rule"]) for finding in json.loads(run.stdout)["findings"]}
    assert ("trees" if closed == "." else closed, "file-readable") in found
    assert ((KNOWN[0], KNOWN[3]) in found) == (closed not in ("trees", "."))


@contextmanager
def as_somebody_without_privileges(path: Path) -> Iterator[None]:
    """Let the superuser, who may read everything, be nobody for a while, with a way to `path`."""
    if os.geteuid() != 0:
        yield
        return
    closed = [folder for folder in path.parents if not folder.stat().st_mode & 0o001]
    modes = {folder: folder.stat().st_mode for folder in closed}
    for folder in closed:
        folder.chmod(modes[folder] | 0o011)
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)
        for folder, mode in modes.items():
            folder.chmod(mode)
