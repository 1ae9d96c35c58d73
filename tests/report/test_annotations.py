"""What forges take up: lines that their runners read, a report of code quality, and the files that ask for them."""

from __future__ import annotations

import json
import re
import shlex
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest
import yaml

from kb_tools.findings import Finding, Place, Severity
from kb_tools.report.annotations import as_annotations, as_code_quality

ROOT = Path(__file__).parent.parent.parent
COMMAND = re.compile(r"::(?P<word>error|warning) (?P<properties>[^:]*)::(?P<message>.*)")
ODD = Finding(
    Place("trees/a,b/50%:x.yml", 3, 7),
    "no-loop",
    Severity.WARNING,
    "Two lines\nand 100 %: a, b",
    "Mend it",
    ("t/a", "t/b"),
)


def read_back(line: str) -> tuple[str, dict[str, str], str]:
    """Return word, properties and message of a workflow command, as a runner reads them."""
    match = COMMAND.fullmatch(line)
    assert match, line
    given = dict(pair.split("=", 1) for pair in match["properties"].split(","))
    return match["word"], {name: decoded(value) for name, value in given.items()}, decoded(match["message"])


def decoded(text: str) -> str:
    """Return a text as it was before it was escaped."""
    for escaped, char in (("%0D", "\r"), ("%0A", "\n"), ("%3A", ":"), ("%2C", ","), ("%25", "%")):
        text = text.replace(escaped, char)
    return text


def test_annotations_survive_the_trip(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each finding is one line that a runner reads back: place, rule and message, odd characters included."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "library").mkdir()
    (line,) = as_annotations([ODD], Path("library"), strict=False)
    word, given, message = read_back(line)
    assert word == "warning"
    assert given == {"file": "library/trees/a,b/50%:x.yml", "line": "3", "col": "7", "title": "no-loop"}
    assert message == "Two lines\nand 100 %: a, b. Mend it. Path: t/a -> t/b."
    assert next(as_annotations([ODD], Path("library"), strict=True)).startswith("::error ")
    assert read_back(next(as_annotations([ODD], ROOT, strict=False)))[1]["file"] == ODD.place.file


def test_code_quality_has_what_the_report_needs() -> None:
    """Each row has description, check, fingerprint, severity and place; equal findings have different fingerprints."""
    lower = Finding(ODD.place._replace(line=9), *[getattr(ODD, name) for name in Finding.__slots__[1:]])
    rows = json.loads(as_code_quality([ODD, lower], ROOT))
    for row in rows:
        assert set(row) == {"description", "check_name", "fingerprint", "severity", "location"}
        assert row["severity"] in {"info", "minor", "major", "critical", "blocker"}
    assert rows[0]["location"] == {"path": ODD.place.file, "lines": {"begin": 3}}
    assert rows[0]["fingerprint"] != rows[1]["fingerprint"]
    assert json.loads(as_code_quality([lower], ROOT))[0]["fingerprint"] == rows[0]["fingerprint"]
    assert json.loads(as_code_quality([], ROOT)) == []


@pytest.fixture(scope="module")
def started(kb: str, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Start a library as a new user does."""
    folder = tmp_path_factory.mktemp("started") / "library"
    subprocess.run([kb, "start", str(folder)], check=True, capture_output=True)
    return folder


def run(kb: str, command: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run a line of a CI file, with `kb` as the command under test."""
    path = f"PATH={shlex.quote(str(Path(kb).parent))}:$PATH"
    return subprocess.run(
        ["/bin/sh", "-c", f"{path}; {command}"], cwd=folder, capture_output=True, text=True, check=False
    )


def commands_of(folder: Path, name: str) -> list[str]:
    """Return the lines of a CI file that call `kb`."""
    data: Any = yaml.safe_load((folder / name).read_text("utf-8"))
    steps = (
        [step.get("run", "") for step in data["jobs"]["trees"]["steps"]] if "jobs" in data else data["trees"]["script"]
    )
    return [step for step in steps if step.startswith("kb ")]


@pytest.mark.parametrize("name", [".github/workflows/trees.yml", ".gitlab-ci.yml"])
def test_ci_files_do_what_they_say(kb: str, started: Path, tmp_path: Path, name: str) -> None:
    """The lines of both forges' files pass in a new library; in a broken one the check fails and is taken up."""
    lines = commands_of(started, name)
    assert len(lines) >= 2
    for line in lines:
        done = run(kb, line, started)
        assert done.returncode == 0, f"{line}\n{done.stderr}"
    broken = shutil.copytree(started, tmp_path / "broken")
    tree = broken / "trees" / "first" / "chair-does-not-switch-on.yml"
    tree.write_text(tree.read_text("utf-8").replace("to: push-home}", "to: push-hom}", 1), "utf-8")
    found = [run(kb, line, broken) for line in lines if line.startswith("kb check")]
    assert any(done.returncode == 1 for done in found)
    taken = found[0].stdout
    if "gitlab" in name:
        report = yaml.safe_load((broken / name).read_text("utf-8"))["trees"]["artifacts"]["reports"]["codequality"]
        rows = json.loads((broken / report).read_text("utf-8"))
        assert {row["location"]["path"] for row in rows} == {"trees/first/chair-does-not-switch-on.yml"}
    else:
        assert read_back(taken.splitlines()[0])[1]["file"] == "trees/first/chair-does-not-switch-on.yml"


def test_ci_files_name_what_they_install_in_one_place(started: Path) -> None:
    """Both forges' files install what their variable names, so that a wheel or an address can stand there."""
    forge: Any = yaml.safe_load((started / ".github/workflows/trees.yml").read_text("utf-8"))["jobs"]["trees"]
    other: Any = yaml.safe_load((started / ".gitlab-ci.yml").read_text("utf-8"))["trees"]
    installing = 'pip install "$KB_TOOLS"'
    assert forge["env"]["KB_TOOLS"] == other["variables"]["KB_TOOLS"] == "kb-tools"
    assert installing in [step.get("run") for step in forge["steps"]]
    assert installing in other["script"]


def test_hook_for_pre_commit(kb: str, started: Path) -> None:
    """The hook has the keys that pre-commit needs, its entry runs, and it starts on a tree's file."""
    (hook,) = yaml.safe_load((ROOT / ".pre-commit-hooks.yaml").read_text("utf-8"))
    assert hook["id"] == "kb-check"
    assert {"name", "entry", "language", "description"} <= set(hook)
    assert hook["language"] == "python"
    assert run(kb, hook["entry"], started).returncode == 0
    assert re.search(hook["files"], "trees/first/chair-does-not-switch-on.yml")
    assert re.search(hook["files"], "library/trees/shared/hazards.yml")
    assert not re.search(hook["files"], "src/trees.yml")
    assert hook["pass_filenames"] is False
