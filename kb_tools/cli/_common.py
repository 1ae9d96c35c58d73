"""What the commands share: options, reading and checking a library, progress, what is printed."""

from __future__ import annotations

import gc
import os
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn

from kb_tools.findings import BuildError, Finding, Severity, UsageError
from kb_tools.model.build import load
from kb_tools.report import findings as report
from kb_tools.rules import contract
from kb_tools.source.files import TREES
from kb_tools.source.writing import finish

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from kb_tools.rules.contract import Subject


WRONG_USE = 2
"""The exit code of a command that was given something that it cannot use."""


class Day(click.ParamType[date]):
    """A date as in 2026-10-14."""

    name = "date"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> date:  # noqa: ANN401 - click's signature
        """Return the date, or fail with the form that is wanted."""
        if isinstance(value, date):
            return value
        try:
            return date.fromisoformat(value)
        except ValueError:
            self.fail(f"{value!r} is no date; write year-month-day, for instance 2026-10-14", param, ctx)


library_option = click.option(
    "--library",
    "library_dir",
    type=click.Path(path_type=Path),
    default=Path(),
    help="The folder that holds trees/ (default: here).",
)


strict_option = click.option("--strict", is_flag=True, help="Make warnings fail.")


today_option = click.option("--today", type=Day(), help="Judge reviews by this date (default: today).")


_QUIET = f"{__name__}.quiet"


def set_quiet(ctx: click.Context, _param: click.Parameter, value: bool) -> None:  # noqa: FBT001 - click's signature
    """Note that neither progress nor summaries are wanted."""
    if value:
        ctx.find_root().meta[_QUIET] = True


def is_quiet() -> bool:
    """Whether neither progress nor summaries are wanted."""
    ctx = click.get_current_context(silent=True)
    return bool(ctx and ctx.meta.get(_QUIET))


quiet_option = click.option(
    "-q",
    "--quiet",
    is_flag=True,
    expose_value=False,
    callback=set_quiet,
    help="Print no progress and no summary: results, findings, warnings and errors only.",
)


def tell(text: str, *, err: bool = False) -> None:
    """Print a line that sums up what was done; results are printed by `click.echo`."""
    if not is_quiet():
        click.echo(text, err=err)


def print_findings(findings: list[Finding], trees: int, root: Path, *, strict: bool, err: bool = False) -> None:
    console = Console(highlight=False, stderr=err)
    *lines, summary = report.as_text(findings, trees, root, strict=strict)
    for line in lines if is_quiet() else (*lines, summary):
        console.print(line, soft_wrap=True)


def fails(findings: list[Finding], *, strict: bool) -> bool:
    return any(strict or finding.severity is Severity.ERROR for finding in findings)


def checked(root: Path, today: date | None) -> tuple[Subject, list[Finding]]:
    """Read and check a library, with progress on a terminal's stderr."""
    finish(root)
    # A check makes objects that all live to its end: collecting them in between only costs time.
    gc.disable()
    with progress("reading") as step:
        library = load(root, step)
    with progress("proving") as step:
        subject = contract.subject_of(library, today or datetime.now(tz=UTC).astimezone().date())
        findings = contract.run(subject, step)
    gc.freeze()
    gc.enable()
    return subject, findings


def sound(root: Path, today: date | None, *, strict: bool) -> Subject:
    """Return a checked library; print what is wrong with one that fails, and stop."""
    subject, findings = checked(root, today)
    if fails(findings, strict=strict):
        print_findings(findings, subject.library.tree_files, root, strict=strict, err=True)
        raise BuildError("The library has findings; nothing was built and what was there is untouched")
    return subject


@contextmanager
def progress(what: str) -> Iterator[Callable[[int, int], None] | None]:
    """Show a bar on stderr when that is a terminal; it vanishes when done."""
    console = Console(stderr=True)
    if is_quiet() or not console.is_terminal:
        yield None
        return
    with Progress(
        TextColumn(what), BarColumn(), TextColumn("{task.completed}/{task.total}"), console=console, transient=True
    ) as bar:
        task = bar.add_task(what, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def existing(root: Path) -> Path:
    """Return a library's root, once a change that was stopped half-way has been ended."""
    if not root.is_dir():
        raise UsageError(f"{root} is no folder; name the folder that holds {TREES}/")
    finish(root)
    return root


def library_at(root: Path) -> Path:
    """Return the root of a library that is there, once a change that was stopped half-way has been ended."""
    if not (existing(root) / TREES).is_dir():
        above = root_above(root)
        where = f"the library above is {above}" if above else "`kb start DIR` begins a new one"
        raise UsageError(
            f"There is no library in {root.resolve()}: it holds no folder {TREES}/. "
            f"Go to the folder that holds it, or name it with --library DIR; {where}"
        )
    return root


def root_above(path: Path) -> Path | None:
    """Return the nearest folder, `path` itself or above it, that holds trees/."""
    real = path.resolve()
    # Unlike Path.is_dir, os.path.isdir is False, and raises nothing, below a folder without permission.
    return next((folder for folder in (real, *real.parents) if os.path.isdir(folder / TREES)), None)  # noqa: PTH112
