"""`--quiet` says nothing that was not asked for; `kb help` has a text for everything; shells complete ids."""

from __future__ import annotations

import importlib
import os
import pkgutil
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from commands import leaves
from kb_tools import cli
from kb_tools.cli._main import MODULES, commands_of, main
from kb_tools.rules import contract

SMALL = Path(__file__).parent.parent / "data" / "small"


def invoke(*words: str) -> Result:
    """Run `kb` inside this process."""
    return CliRunner().invoke(main, list(words), prog_name="kb")


@pytest.mark.parametrize("before", [True, False], ids=["before", "after"])
@pytest.mark.parametrize("command", ["check", "pack", "paper", "export"])
def test_quiet_is_silent_where_all_is_well(command: str, *, before: bool, tmp_path: Path) -> None:
    """Before the command or after it, --quiet leaves nothing on either stream, and the file is written."""
    words = [command, "--library", str(SMALL), "--today", "2026-11-25"]
    words += {"check": [], "export": ["--to", "json"]}.get(command, [])
    if command != "check":
        words += ["--out", str(tmp_path / "out")]
    loud = invoke(*words)
    assert loud.exit_code == 0
    assert loud.output
    done = invoke("--quiet", *words) if before else invoke(*words, "-q")
    assert done.exit_code == 0
    assert done.output == ""
    assert command == "check" or (tmp_path / "out").is_file()


def test_quiet_hides_no_finding(tmp_path: Path) -> None:
    """With --quiet findings are printed, the summary is not, and the exit code is the same."""
    tree = tmp_path / "trees" / "area" / "one.yml"
    tree.parent.mkdir(parents=True)
    tree.write_text("title: x\nreviewed: 2026-10-14\nstart: a\nsteps:\n  a: {do: x, then: b}\n", "utf-8")
    loud, quiet = (invoke("check", "--library", str(tmp_path), *more) for more in ((), ("-q",)))
    assert loud.exit_code == quiet.exit_code == 1
    assert "target-exists" in quiet.output
    assert "1 tree: " in loud.output
    assert "1 tree: " not in quiet.output
    results = invoke("-q", "export", "--library", str(SMALL), "--to", "json", "--out", "-", "--today", "2026-11-25")
    assert results.output.startswith("{")


def test_every_command_is_found_in_its_module() -> None:
    """The table of modules names each module that holds commands, and all of its commands."""
    rooms = [found.name for found in pkgutil.iter_modules(cli.__path__) if not found.name.startswith("_")]
    held = {name: commands_of(importlib.import_module(f"{cli.__name__}.{name}")) for name in rooms}
    assert {name: tuple(sorted(commands)) for name, commands in held.items()} == MODULES


def test_a_command_reads_what_it_needs() -> None:
    """The version and a rule are told without what draws, typesets, builds sites or converts units."""
    dear = "'mkdocs', 'wasmtime', 'typst', 'pint'"
    for words in (["--version"], ["rule", "no-loop"]):
        code = (
            f"import sys; from kb_tools.cli import run; sys.argv[1:] = {words!r}\ntry: run()\nexcept SystemExit: pass\n"
        )
        code += f"print([name for name in ({dear}) if name in sys.modules])"
        done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
        assert done.stdout.splitlines()[-1] == "[]"


@pytest.mark.parametrize("name", [name for name, _ in leaves()])
def test_help_tells_of_every_command(name: str) -> None:
    """`kb help COMMAND` names its options and the exit codes."""
    done = invoke("help", *name.split())
    assert done.exit_code == 0
    assert f"kb {name}" in done.output
    assert "--help" in done.output
    assert "wrong options" in done.output


def test_help_tells_of_rules_and_topics() -> None:
    """Every rule and every listed topic has a text; without a topic all are listed."""
    overview = " ".join(invoke("help").output.split())
    for name in ("exit-codes", "file-format", "numbers-of-a-tree", "rules", "walk-codes", "check", "paper"):
        assert f"{name}:" in overview
        done = invoke("help", name)
        assert done.exit_code == 0
        assert len(done.output.split()) > 25
    for rule in contract.all_rules():
        assert invoke("help", rule).exit_code == 0
    shown = " ".join(invoke("help", "file-format").output.split())
    assert "heard_as" in shown
    assert "trees/shared/hazards.yml" in shown


def test_a_topic_that_is_none() -> None:
    """A misspelt topic names the nearest one and exits with 2."""
    done = invoke("help", "walk-code")
    assert done.exit_code == 2
    assert "walk-codes" in done.output


def completing(*words: str) -> dict[str, str]:
    """Return the environment in which bash asks for what it may offer for the last of some words."""
    return {
        "COMP_WORDS": " ".join(("kb", *words)),
        "COMP_CWORD": str(len(words)),
        "_KB_COMPLETE": "bash_complete",
    }


def offered(printed: str) -> list[str]:
    """Return what bash would offer of what the command prints."""
    return [line.partition(",")[2] for line in printed.splitlines() if line]


def completed(*words: str) -> list[str]:
    """Return what bash would offer for the last of some words, asked inside this process."""
    return offered(CliRunner().invoke(main, prog_name="kb", env=completing(*words)).stdout)


def test_ids_are_completed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Trees, steps of the named tree, tables, rules, topics: each where it can stand; nothing without a library."""
    monkeypatch.chdir(SMALL)
    assert completed("paper", "s") == ["seat-stuck"]
    assert completed("numbers", "seat-stuck", "b") == ["buttons-dead"]
    assert "listen" in completed("branch", "seat-stuck", "")
    assert completed("order", "seat") == ["seat-stuck-causes"]
    assert completed("rule", "no-l") == ["no-loop"]
    assert completed("help", "walk") == ["walk-codes"]
    assert completed("exp") == ["export"]
    assert completed("paper", "--library", str(tmp_path), "") == []


def test_the_real_command_completes(kb: str) -> None:
    """A shell that starts the command gets the same."""
    environment = os.environ | completing("numbers", "seat-stuck", "b")
    done = subprocess.run([kb], env=environment, capture_output=True, text=True, check=True, cwd=SMALL)
    assert offered(done.stdout) == ["buttons-dead"]


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_scripts_are_sound(shell: str, tmp_path: Path) -> None:
    """Each shell's script names the command; bash, which is there, reads its own without complaint."""
    script = invoke("completion", shell).output
    assert "_KB_COMPLETE" in script
    if shell == "bash":
        (tmp_path / "kb.bash").write_text(script, "utf-8")
        subprocess.run(["/bin/bash", "-n", str(tmp_path / "kb.bash")], check=True)
