"""Commands that change a library's trees: cases from visits, new branches, new ids, other places."""

from __future__ import annotations

import sys
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from rich.console import Console

from kb_tools.author.branch import Branch, add_branch, slug, tree_and_step
from kb_tools.author.branch_case import add_case, lead_cases_on
from kb_tools.author.cases import add_cases, case_of, read_record
from kb_tools.author.change import Change, judge
from kb_tools.author.rename import KINDS, move_tree, named
from kb_tools.author.rename import rename as rename_thing
from kb_tools.author.share import share_step
from kb_tools.cli._branch_options import answer_keys_of, asked, branch_options, step_keys_of
from kb_tools.cli._common import existing, is_quiet, library_option, quiet_option, tell, today_option
from kb_tools.cli._completing import FileId, StepId
from kb_tools.findings import UsageError
from kb_tools.model.build import load
from kb_tools.pages.wording import counted
from kb_tools.report import changes as report

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from rich.text import Text

    from kb_tools.author.change import Verdict

dry_run_option = click.option("--dry-run", is_flag=True, help="Show the difference, and change nothing.")


def _print(lines: Iterable[Text], *, err: bool = False) -> None:
    console = Console(highlight=False, stderr=err)
    for line in lines:
        console.print(line, soft_wrap=True)


def _day(today: date | None) -> date:
    return today or datetime.now(tz=UTC).astimezone().date()


def _made(change: Change, today: date | None, *, dry_run: bool) -> Verdict:
    """Judge a change, and write it unless it breaks a rule or is only to be shown; a refused one ends the command."""
    verdict = judge(change, _day(today))
    if dry_run:
        _print(report.diff_text(change.diff()))
    if verdict.broken:
        _print(report.refusal_text(verdict, change.root, change.texts), err=True)
        click.echo("kb: Nothing was changed: the change would bring what is listed above", err=True)
        sys.exit(1)
    if not dry_run:
        change.write()
    return verdict


@click.group()
def case() -> None:
    """Turn what happened on site into cases of the trees."""


@case.command()
@click.argument("records", metavar="RECORD...", nargs=-1, required=True, type=click.Path(path_type=Path))
@library_option
@today_option
@quiet_option
@click.option(
    "--ends-at", help="The step that it turned out to need, `step` or `tree/step`; also one still to be written."
)
@click.option("--case", "name", help="What the case is called (default: the day of the visit and the record's id).")
@dry_run_option
def add(
    records: Sequence[Path],
    library_dir: Path,
    today: date | None,
    ends_at: str | None,
    name: str | None,
    *,
    dry_run: bool,
) -> None:
    """Make cases of visit records, in the tree where each walk began.

    A case holds the answers and readings of the visit, and as its end the fix that cured, or
    --ends-at where the cause turned out to be another. Where the tree ends elsewhere the case is
    added all the same, and the step is named at which the walk went astray (exit code 1).
    Nothing that a person typed is taken over but readings.
    """
    root = existing(library_dir)
    if name and len(records) > 1:
        raise UsageError("--case names one case; give one record, or leave the names to kb")
    library = load(root)
    cases = [case_of(library, read_record(path), str(path), ends_at, name) for path in records]
    change = Change(root)
    added = add_cases(change, library, cases)
    verdict = judge(change, _day(today))
    if dry_run:
        _print(report.diff_text(change.diff()))
    elif added:
        change.write()
    astray = report.astray_of(verdict, added)
    if astray or not is_quiet():
        _print(report.cases_text(added, len(cases) - len(added), verdict, root, change.texts))
    sys.exit(1 if astray else 0)


@click.command()
@click.argument("tree", type=FileId("tree"))
@click.argument("step", type=StepId("tree"))
@library_option
@today_option
@quiet_option
@branch_options
@click.option(
    "--case", "case_name", help="A case that shows the branch: a new one, or one of this name that is led over it."
)
@click.option("--given", nargs=2, multiple=True, metavar="STEP ANSWER", help="What the case answers at another step.")
@click.option("--ask/--no-ask", default=None, help="Ask for what is missing (default: on a terminal).")
@dry_run_option
def branch(
    tree: str,
    step: str,
    library_dir: Path,
    today: date | None,
    **options: Any,  # noqa: ANN401 - the options of `branch_options`, and of the case
) -> None:
    """Grow a TREE at a STEP: an answer to an existing or a new step, or a step before another.

    \b
    An answer to a new fix:   --answer 'Cracked' --fix 'Replace the clip' --proof lamps-and-stops
    An answer to a step:      --answer 'Cracked' --to desk
    A check in between:       --before desk --check 'Is it wet?' --way Yes dry-it --way No desk

    The rest of the file stays as it is. A change that breaks a rule is refused with its findings.
    """  # noqa: D301 - click's mark of lines that it is not to wrap
    root = existing(library_dir)
    library = load(root)
    found, at = tree_and_step(library, tree, step)
    if options["ask"] if options["ask"] is not None else sys.stdin.isatty():
        asked(library, found, step, options)
    keys = step_keys_of(options, library)
    new = ""
    if keys:
        text = next(iter(keys.values()))
        new = options["new_id"] or slug(text["use"] if isinstance(text, dict) else str(text), found.steps)
    wanted = Branch(
        found.id,
        step,
        options["answer"] or "",
        options["to"] or "",
        options["before"] or "",
        new,
        keys,
        answer_keys_of(options, at),
    )
    change = Change(root)
    told = add_branch(change, library, wanted)
    name = options["case_name"]
    told += [
        f"case `{case}` passes {new} by the answer that leads on"
        for case in lead_cases_on(change, library, wanted, name or "")
    ]
    shown = add_case(change, library, wanted, name, dict(options["given"])) if name else None
    verdict = _made(change, today, dry_run=options["dry_run"])
    if options["dry_run"]:
        return
    tell(f"{found.file}: {'step ' + new + ' added' if new else 'answer added'}")
    for line in told:
        tell(line)
    if shown:
        tell(f"case `{shown.name}` ends at {shown.ends_at}")
    _print(report.outcome_text(verdict, root))


@click.command()
@click.argument("old")
@click.argument("new")
@library_option
@today_option
@quiet_option
@click.option("--kind", type=click.Choice(KINDS), help="What OLD is, where several things bear the id.")
@dry_run_option
def rename(old: str, new: str, library_dir: Path, today: date | None, kind: str | None, *, dry_run: bool) -> None:
    """Give OLD the id NEW everywhere it is named.

    OLD is a tree, a step (`tree/step`), a shared item, tool, spare or piece of equipment, a map, a
    part (`map/part`), a table or a cause (`table/cause`), a table of figures or a row of it. Walk
    codes and addresses of earlier editions still answer for trees and steps.
    """
    root = existing(library_dir)
    library = load(root)
    thing = named(library, old, kind or "")
    change = Change(root)
    count = rename_thing(change, library, thing, new)
    _made(change, today, dry_run=dry_run)
    if not dry_run:
        anew = f", written anew in {counted(count, 'place')}" if count else ""
        tell(f"{thing.kind} {thing.full} is {new} now{anew}")
        for name in sorted(name for name, text in change.texts.items() if text is not None):
            tell(f"  {name}")


@click.command()
@click.argument("what", metavar="TREE|TREE/STEP")
@click.argument("where", metavar="AREA|shared")
@library_option
@today_option
@quiet_option
@click.option("--id", "new_id", help="The id of the shared item (default: the step's).")
@dry_run_option
def move(what: str, where: str, library_dir: Path, today: date | None, new_id: str | None, *, dry_run: bool) -> None:
    """Let a TREE lie in another AREA, or move the body of a STEP into the shared file.

    A tree keeps its id and its address. A shared body is used by the step from then on, and other
    steps can use it: `check: {use: ID}`.
    """
    root = existing(library_dir)
    library = load(root)
    change = Change(root)
    tree_id, slash, step_id = what.partition("/")
    if slash:
        if where != "shared":
            raise UsageError("The body of a step can be moved into `shared` only; a tree is moved to an area")
        tree, _ = tree_and_step(library, tree_id, step_id)
        file = share_step(change, library, tree, step_id, new_id or step_id)
        told = f"{what} uses the body {new_id or step_id} in {file} now"
    else:
        told = f"{what} lies in {move_tree(change, library, tree_id, where)} now"
    verdict = _made(change, today, dry_run=dry_run)
    if not dry_run:
        tell(told)
        _print(report.outcome_text(verdict, root))
