"""Killed at any moment, a command leaves the old files or the new ones: all of them, once the next command has run."""

from __future__ import annotations

import json
import random
import shutil
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from kb_tools.carriers.folder import recover
from kb_tools.carriers.verify import verify
from kb_tools.source.writing import finish, write_all

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).parents[2]
SMALL = ROOT / "tests" / "data" / "small"
KILLER = Path(__file__).parent / "killer.py"
MOMENTS = 1
"""Kills at random moments, of each command."""
SITE = "site"
RECORD = {
    "format": "fault-tree visit record",
    "version": 1,
    "id": "0123456789abcdef",
    "started": "2026-11-20T10:00:00Z",
    "trees": [{"tree": "seat-stuck"}],
    "library": {"key": "dfa710e3d765"},
    "ended": "2026-11-20T10:20:00Z",
    "outcome": "cured",
    "steps": [
        {"tree": "seat-stuck", "step": "listen", "kind": "check", "answer": "Silent", "reading": None}
        | {"at": "2026-11-20T10:01:00Z", "assumed": False, "kept": False}
    ],
    "withdrawn": [],
    "fixes": [{"tree": "seat-stuck", "step": "crimp", "cured": True}],
}
BRANCH = ("branch", "seat-stuck", "listen", "--answer", "Hums", "--to", "desk")
COMMANDS = {
    "case add": (("case", "add", "visit.json"), 4),
    "branch": (BRANCH, 4),
    "rename step": (("rename", "seat-stuck/crimp", "crimp-anew"), 6),
    "rename tree": (("rename", "buttons-dead", "pad-dead"), 10),
    "rename hazard": (("rename", "live-loom", "power-on-loom", "--kind", "hazard"), 3),
    "move": (("move", "seat-stuck", "tilting"), 4),
    "share": (("move", "seat-stuck/prop", "shared"), 3),
    "draft": (("draft", "seat-stuck-causes", "--out", "trees/seat/drafted.yml"), 4),
    "learn": (("learn", "visit.json", "--out", "trees/shared/counts.yml"), 4),
    "pack": (("pack",), 3),
    "build": (("build",), 6),
    "start": (("start", "fresh"), 6),
}
"""Command -> its words, and before how many of its changes to the file system it is killed."""


def library(folder: Path) -> Path:
    """Return a copy of the small library with a record, and with what earlier builds left."""
    shutil.copytree(SMALL, folder)
    (folder / "visit.json").write_text(json.dumps(RECORD), "utf-8")
    (folder / "pocket.html").write_text("the old one", "utf-8")
    (folder / SITE / "kb").mkdir(parents=True)
    (folder / SITE / "kb/edition.json").write_text("{}", "utf-8")
    return folder


def state(folder: Path) -> dict[str, bytes]:
    """Return every file that a reader of the library sees: nothing hidden."""
    names = {path.relative_to(folder): path for path in sorted(folder.rglob("*")) if path.is_file()}
    return {
        name.as_posix(): path.read_bytes()
        for name, path in names.items()
        if name.parts[0] == "fresh" or not any(part.startswith(".") for part in name.parts)
    }


@pytest.fixture(scope="module")
def killer() -> Iterator[subprocess.Popen[str]]:
    """Return a process that has read everything and kills children as it is told."""
    # Without -B, the first child would count the byte code that it leaves for the others as changes.
    command = [sys.executable, "-B", str(KILLER)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as started:
        yield started
        started.communicate()


@pytest.mark.parametrize("name", COMMANDS)
def test_a_killed_command_leaves_all_old_or_all_new(name: str, killer: subprocess.Popen[str], tmp_path: Path) -> None:
    """Before each change of the file system and at random moments: never a mixture, never half a file."""
    words, changes = COMMANDS[name]
    rng = random.Random(name)
    folders = [library(tmp_path / f"library-{number}") for number in range(1 + changes + MOMENTS)]
    old = state(folders[0])
    asked = {"folders": list(map(str, folders)), "shares": [rng.random() for _ in range(MOMENTS)], "command": words}
    assert killer.stdin is not None
    assert killer.stdout is not None
    killer.stdin.write(f"{json.dumps(asked)}\n")
    killer.stdin.flush()
    answer = killer.stdout.readline()
    assert answer, "the killer ended; what it said is above"
    told = json.loads(answer)
    new = state(folders[0])
    assert new != old, "an undisturbed run changes something"
    assert told["changes"] >= 2
    assert all(told["killed"][:changes])
    seen = set()
    for number, (folder, dead) in enumerate(zip(folders[1:], told["killed"], strict=True)):
        # What every command does first; for a site, what the next build does.
        finish(folder)
        recover((folder / SITE).resolve())
        found = state(folder)
        which = "old" if found == old else "new" if found == new else "neither"
        seen.add(which)
        assert which != "old" or dead, number
        assert which != "neither", number
        if which == "new" and name == "build":
            assert verify(folder / SITE).whole
    assert "old" in seen


def test_what_was_stopped_is_ended_by_any_command(kb: str, tmp_path: Path) -> None:
    """A change of several files that got its name is ended by `kb check`; one that did not is nobody's."""
    root = library(tmp_path / "library")
    kept = root / "trees/.kb-change"
    kept.mkdir()
    (kept / "0").write_text("title: new\n", "utf-8")
    (kept / "files.json").write_text(
        json.dumps([{"name": "trees/new/new.yml", "kept": "0"}, {"name": "trees/seat/buttons-dead.yml", "kept": None}])
    )
    subprocess.run([kb, "check", "--library", str(root)], capture_output=True, check=False)
    assert (root / "trees/new/new.yml").read_text("utf-8") == "title: new\n"
    assert not (root / "trees/seat/buttons-dead.yml").exists()
    assert not kept.exists()


@pytest.mark.parametrize("listed", ["", "[", "{}", '[{"name": "../out.yml", "kept": "0"}]', '[{"name": "/out.yml"}]'])
def test_a_damaged_list_is_told_and_nothing_is_written(kb: str, tmp_path: Path, listed: str) -> None:
    """Where the kept change cannot be read, or leads out of the library, the command stops and says what to do."""
    root = library(tmp_path / "library")
    kept = root / "trees/.kb-change"
    kept.mkdir()
    (kept / "0").write_text("x", "utf-8")
    if listed:
        (kept / "files.json").write_text(listed, "utf-8")
    done = subprocess.run([kb, "check", "--library", str(root)], capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert "stopped half-way" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "out.yml").exists()


def test_asides_that_nobody_waits_for_are_removed(tmp_path: Path) -> None:
    """A folder of a change that never got its name goes with the next change, once it is old."""
    root = library(tmp_path / "library")
    left = root / "trees/.kb-change-old"
    left.mkdir()
    write_all(root, {"trees/a/a.yml": "a", "trees/a/b.yml": "b"})
    assert left.is_dir(), "it may still be somebody's"
