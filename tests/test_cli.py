"""The command as people and scripts call it: exit codes, streams, formats.

Sound, findings, JSON and wrong use are run as real processes (`kb`); the rest is read in this process (`within`).
"""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import jsonschema
import pytest

from author.kb_run import invoked

if TYPE_CHECKING:
    from click.testing import Result

SOUND = """\
title: The lamp stays dark
reviewed: 2026-10-14
start: look
steps:
  look:
    check: Is it lit?
    answers:
      - {answer: 'Yes', to: fine}
      - {answer: 'No', to: desk}
  fine:
    done: Nothing found
  desk:
    escalate: Ask the maker
cases:
  - {case: dark, given: {look: 'No'}, ends_at: desk}
"""


def kb(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    """Run the real command in `cwd`."""
    return subprocess.run(
        [sys.executable, "-m", "kb_tools.cli", *arguments], cwd=cwd, capture_output=True, text=True, check=False
    )


def within(*arguments: str, cwd: Path) -> Result:
    """Run the command inside this process, in `cwd`; its streams are kept apart."""
    with contextlib.chdir(cwd):
        return invoked(*arguments)


@pytest.fixture
def library(tmp_path: Path) -> Path:
    """Return a sound library of one tree."""
    area = tmp_path / "trees" / "area"
    area.mkdir(parents=True)
    (area / "lamp.yml").write_text(SOUND, "utf-8")
    return tmp_path


TODAY = ("--today", "2026-11-01")


def test_a_sound_library_exits_0(library: Path) -> None:
    """Nothing to mend: exit code 0, and it says so."""
    run = kb("check", "--strict", *TODAY, cwd=library)
    assert run.returncode == 0, run.stdout
    assert "1 tree: nothing to mend" in run.stdout


def test_findings_exit_1_and_show_the_offending_line(library: Path) -> None:
    """A finding is printed with its place, the line, a mark under the column, and the remedy."""
    tree = library / "trees/area/lamp.yml"
    tree.write_text(SOUND.replace("to: desk}", "to: dusk}"), "utf-8")
    run = kb("check", *TODAY, cwd=library)
    assert run.returncode == 1
    lines = run.stdout.splitlines()
    assert lines[0].startswith("trees/area/lamp.yml:9:28  error  target-exists")
    offending = next(line for line in lines if "to: dusk}" in line)
    mark = lines[lines.index(offending) + 1]
    assert offending[mark.index("^") :].startswith("dusk")
    assert "desk" in run.stdout
    assert "\x1b[" not in run.stdout, "colour only on a terminal"


def test_json_has_exactly_the_fields_of_the_contract(library: Path) -> None:
    """`--format json` prints JSON alone on stdout, with the contract's fields."""
    tree = library / "trees/area/lamp.yml"
    tree.write_text(SOUND.replace("to: desk}", "to: dusk}"), "utf-8")
    run = kb("check", "--format", "json", *TODAY, cwd=library)
    found = json.loads(run.stdout)
    assert set(found) == {"findings", "trees"}
    assert found["trees"] == 1
    first = found["findings"][0]
    assert set(first) == {"file", "line", "column", "rule", "severity", "message", "remedy", "path"}
    assert (first["file"], first["line"], first["column"], first["severity"], first["path"]) == (
        "trees/area/lamp.yml",
        9,
        28,
        "error",
        [],
    )


def test_warnings_fail_only_under_strict(library: Path) -> None:
    """A stale review is a warning: 0 without --strict, 1 with it, and still called a warning."""
    stale = ("--today", "2028-11-01", "--format", "json")
    assert within("check", *stale, cwd=library).exit_code == 0
    run = within("check", "--strict", *stale, cwd=library)
    assert run.exit_code == 1
    assert {finding["severity"] for finding in json.loads(run.stdout)["findings"]} == {"warning"}


@pytest.mark.parametrize(
    "arguments",
    [("check", "nowhere"), ("check", "--library", "nowhere"), ("check", "--format", "xml"), ("rule", "no-such-rule")],
)
def test_wrong_use_exits_2_without_a_traceback(library: Path, arguments: tuple[str, ...]) -> None:
    """Wrong options and paths that do not exist give exit code 2 and a line on stderr."""
    run = kb(*arguments, cwd=library)
    assert run.returncode == 2
    assert run.stderr.strip()
    assert "Traceback" not in run.stderr


def test_an_empty_library_is_a_finding(tmp_path: Path) -> None:
    """A folder without trees exits 1 and says what to write."""
    run = within("check", "--format", "json", cwd=tmp_path)
    assert run.exit_code == 1
    assert json.loads(run.stdout)["findings"][0]["rule"] == "file-readable"


def test_paths_filter_what_is_printed_of_the_whole_library(library: Path) -> None:
    """Files named as PATHS choose the findings; the whole library is still loaded."""
    tree = library / "trees/area/lamp.yml"
    tree.write_text(SOUND.replace("to: desk}", "to: dusk}"), "utf-8")
    other = library / "trees/area/other.yml"
    other.write_text(SOUND, "utf-8")
    run = within("check", "trees/area/other.yml", "--format", "json", *TODAY, cwd=library)
    assert run.exit_code == 0
    assert json.loads(run.stdout) == {"findings": [], "trees": 2}


def test_a_folder_inside_a_library_leads_to_it(library: Path) -> None:
    """Whoever checks in the folder of an area is told where the library is."""
    run = within("check", cwd=library / "trees/area")
    assert run.exit_code == 1
    assert str(library.resolve()) in run.stderr


def test_numbers_of_a_broken_library_are_doubted(library: Path) -> None:
    """A way that leads nowhere is left out of the figures; stderr says so, and nothing else does."""
    assert not within("numbers", "lamp", cwd=library).stderr
    tree = library / "trees/area/lamp.yml"
    tree.write_text(SOUND.replace("to: desk}", "to: dusk}"), "utf-8")
    run = within("numbers", "lamp", cwd=library)
    assert run.exit_code == 0
    assert "kb check" in run.stderr


def test_a_remedy_that_asks_ends_with_its_question_mark(library: Path) -> None:
    """For forges, message and remedy are sentences, each with one mark at its end."""
    tree = library / "trees/area/lamp.yml"
    tree.write_text(SOUND.replace("to: desk}", "to: dusk}"), "utf-8")
    for form in ("annotations", "sarif", "code-quality"):
        out = within("check", "--format", form, *TODAY, cwd=library).stdout
        assert "in this tree. Did you mean `desk`?" in out
        assert "?." not in out


def test_rule_explains_itself(library: Path) -> None:
    """`kb rule ID` prints the rule's page, `kb rule` the list."""
    assert "isolate-before-expose" in within("rule", cwd=library).stdout
    assert "every" in within("rule", "isolate-before-expose", cwd=library).stdout


SARIF_SCHEMA = Path(__file__).parent.parent / "node_modules/@microsoft/jest-sarif/lib/schemas/sarif-2.1.0-rtm.5.json"


def test_sarif_is_valid_against_the_oasis_schema(library: Path) -> None:
    """`--format sarif` fits the OASIS 2.1.0 schema (carried by an npm package) and names rule and place."""
    tree = library / "trees/area/lamp.yml"
    tree.write_text(SOUND.replace("to: desk}", "to: look}"), "utf-8")
    log = json.loads(within("check", "--format", "sarif", *TODAY, cwd=library).stdout)
    schema = json.loads(SARIF_SCHEMA.read_text("utf-8"))
    jsonschema.validators.validator_for(schema)(schema).validate(log)
    results = log["runs"][0]["results"]
    loops = [result for result in results if result["ruleId"] == "no-loop"]
    assert loops[0]["locations"][0]["physicalLocation"]["artifactLocation"]["uri"] == "trees/area/lamp.yml"
    assert loops[0]["relatedLocations"], "each arrow of the loop has its place"
    broken = json.loads(json.dumps(log).replace('"level": "error"', '"level": "fatal"'))
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validators.validator_for(schema)(schema).validate(broken)
