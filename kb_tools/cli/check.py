"""Commands that judge a library and explain its rules."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click
from rich.console import Console
from rich.markdown import Markdown

from kb_tools.cli._common import (
    checked,
    fails,
    library_option,
    print_findings,
    quiet_option,
    root_above,
    strict_option,
    today_option,
)
from kb_tools.cli._completing import RuleId
from kb_tools.findings import Finding, UsageError
from kb_tools.model.records import nearest
from kb_tools.report import findings as report
from kb_tools.report.annotations import as_annotations, as_code_quality
from kb_tools.report.topics import rule_text
from kb_tools.rules import contract
from kb_tools.source.files import TREES

if TYPE_CHECKING:
    from datetime import date


@click.command()
@click.argument("paths", nargs=-1, type=click.Path(path_type=Path))
@library_option
@strict_option
@today_option
@quiet_option
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json", "sarif", "annotations", "code-quality"]),
    default="text",
    help="How to print; annotations and code-quality are read by forges.",
)
def check(paths: tuple[Path, ...], library_dir: Path, today: date | None, form: str, *, strict: bool) -> None:
    """Prove a library sound and print every finding of every file.

    PATHS is the root of a library, or files of one library: the whole library is always
    checked, PATHS only choose what is printed.
    """
    root, wanted = root_and_filter(paths, library_dir)
    subject, findings = checked(root, today)
    trees = subject.library.tree_files
    if wanted:
        findings = [finding for finding in findings if _is_wanted(finding, wanted)]
    if form == "json":
        click.echo(report.as_json(findings, trees))
    elif form == "sarif":
        click.echo(report.as_sarif(findings, contract.all_rules().values()))
    elif form == "annotations":
        for line in as_annotations(findings, root, strict=strict):
            click.echo(line)
    elif form == "code-quality":
        click.echo(as_code_quality(findings, root))
    else:
        print_findings(findings, trees, root, strict=strict)
    above = root_above(root)
    if not trees and above and above != root.resolve():
        click.echo(f"kb: The library above is {above}: name it, or go there", err=True)
    sys.exit(1 if fails(findings, strict=strict) else 0)


def root_and_filter(paths: tuple[Path, ...], library_dir: Path) -> tuple[Path, list[str]]:
    """Return the library's root and the files or folders below it that were named."""
    for path in paths or (library_dir,):
        if not path.exists():
            raise UsageError(f"{path} does not exist")
    if len(paths) == 1 and paths[0].is_dir() and root_above(paths[0]) in (None, paths[0].resolve()):
        return paths[0], []
    if not paths:
        return library_dir, []
    roots = {root_above(path) for path in paths}
    if len(roots) > 1 or None in roots:
        raise UsageError(f"Name one library's root, or files of one library (below a folder that holds {TREES}/)")
    root = roots.pop() or Path()
    return root, [path.resolve().relative_to(root).as_posix() for path in paths]


def _is_wanted(finding: Finding, wanted: list[str]) -> bool:
    return any(name in (".", finding.place.file) or finding.place.file.startswith(f"{name}/") for name in wanted)


@click.command()
@click.argument("rule_id", metavar="[ID]", required=False, type=RuleId())
def rule(rule_id: str | None) -> None:
    """Explain a rule, or list all of them."""
    known = contract.all_rules()
    console = Console(highlight=False)
    if rule_id is None:
        for name, found in known.items():
            console.print(f"[cyan]{name:<24}[/cyan]{found.SEVERITY:<9}{found.SUMMARY}", soft_wrap=True)
        return
    if rule_id not in known:
        close = nearest(rule_id, known)
        hint = f"Did you mean {close}?" if close else "`kb rule` lists them."
        raise UsageError(f"There is no rule {rule_id!r}. {hint}")
    chosen = known[rule_id]
    console.print(Markdown(rule_text(chosen)))
