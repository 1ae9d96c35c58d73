"""Run `kb` on a copy of a library, and see what it changed."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from typing import TYPE_CHECKING

from click.testing import CliRunner, Result

from conftest import ROOT
from kb_tools.cli._main import main

if TYPE_CHECKING:
    from pathlib import Path

DAY = ("--today", "2026-11-25")
"""The day on which the demo library and the small one are judged."""


@dataclass(frozen=True)
class Ran:
    """How a command went."""

    code: int
    out: str


def invoked(*arguments: str, typed: str = "") -> Result:
    """Run a command in this process, its streams kept apart; raises what it raised."""
    done = CliRunner().invoke(main, arguments, input=typed)
    if done.exception and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done


def kb(library: Path, *arguments: str, typed: str = "") -> Ran:
    """Run a command in this process.

    Args:
        library: The library.
        arguments: Command, arguments and options.
        typed: What is typed when it asks.

    """
    done = invoked(*arguments, "--library", str(library), typed=typed)
    return Ran(done.exit_code, done.output)


def demo(folder: Path) -> Path:
    """Copy the demo library."""
    for name in ("trees", "content"):
        shutil.copytree(ROOT / name, folder / name)
    shutil.copyfile(ROOT / "mkdocs.yml", folder / "mkdocs.yml")
    return folder


def files(root: Path) -> dict[str, bytes]:
    """Return every file of a library."""
    return {path.relative_to(root).as_posix(): path.read_bytes() for path in sorted(root.rglob("*")) if path.is_file()}
