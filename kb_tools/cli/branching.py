"""Commands that change a library's trees: cases from visits, new branches, new ids, other places."""

from __future__ import annotations

import sys
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypedDict, Unpack

import click
from rich.console import Console

from kb_tools.author.branch import tree_and_step
from kb_tools.author.cases import add_cases, case_of, read_record
from kb_tools.author.change import Change, judge
from kb_tools.author.rename import KINDS, move_tree, named
from kb_tools.author.rename import rename as rename_thing
from kb_tools.author.share import share_step
from kb_tools.cli._branch_dialogue import Dialogue
from kb_tools.cli._branch_options import branch_options
from kb_tools.cli._branch_run import as_commands, changed, grown
from kb_tools.cli._common import WRONG_USE, is_quiet, library_at, library_option, quiet_option, tell, today_option
from kb_tools.cli._completing import FileId, StepId
from kb_tools.findings import LibraryError, UsageError
from kb_tools.model.build import load
from kb_tools.pages.wording import counted
from kb_tools.pages.words import words_of
from kb_tools.report import changes as report

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from rich.text import Text

    from kb_tools.author.change import Verdict
    from kb_tools.cli._branch_dialogue import Plan
    from kb_tools.cli._branch_run import Grown
    from kb_tools.model.entities import Library

dry_run_option = click.option("--dry-run", is_flag=True, help="Show the difference, and change nothing.")


def _print(lines: Iterable[Text], *, err: bool = False) -> None:
    console = Console(highlight=False, stderr=err)
    for line in lines:
        console.print(line, soft_wrap=True)


def _day(today: date | None) -> date:
    return today or datetime.now(tz=UTC).astimezone().date()


def _refused(verdict: Verdict, change: Change, options: report.OptionsOf | None = None, *, dry_run: bool) -> bool:
    """Show a change that is only to be shown, and tell why it is refused, where it breaks a rule."""
    if dry_run:
        _print(report.diff_text(change.diff()))
    if verdict.broken:
        _print(report.refusal_text(verdict, change.root, change.texts, options), err=True)
        click.echo("kb: Nothing was changed: the change would bring what is listed above", err=True)
    return bool(verdict.broken)


def _made(change: Change, today: date | None, *, dry_run: bool) -> Verdict:
    """Judge a change, and write it unless it breaks a rule or is only to be shown; a refused one ends the command."""
    verdict = judge(change, _day(today))
    if _refused(verdict, change, dry_run=dry_run):
        sys.exit(1)
    if not dry_run:
        change.write()
    return verdict


class _OfCase(TypedDict):
    ends_at: str | None
    name: str | None
    said: tuple[tuple[str, str], ...]
    dry_run: bool


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
@click.option(
    "--given",
    "said",
    nargs=2,
    multiple=True,
    metavar="STEP ANSWER",
    help="What was answered at a step that the record does not know; completes a case that is there already.",
)
@dry_run_option
def add(records: Sequence[Path], library_dir: Path, today: date | None, **options: Unpack[_OfCase]) -> None:
    """Make cases of visit records, in the tree where each walk began.

    A case holds the answers and readings of the visit, and as its end the fix that cured, or
    --ends-at where the cause turned out to be another. Where the tree ends elsewhere the case is
    added all the same, and the step is named at which the walk went astray (exit code 1).
    Nothing that a person typed is taken over but readings.
    """
    root = library_at(library_dir)
    name, said, dry_run = options["name"], options["said"], options["dry_run"]
    if name and len(records) > 1:
        raise UsageError("--case names one case; give one record, or leave the names to kb")
    if said and len(records) > 1:
        raise UsageError("--given says what was answered on one visit; give one record")
    library = load(root)
    words = words_of(library)
    buttons = words.text("walk.record_json"), words.text("walk.record_copy")
    visits = [(read_record(path, *buttons), str(path)) for path in records]
    cases = [case_of(library, visit, path, options["ends_at"], name, dict(said)) for visit, path in visits]
    change = Change(root)
    put = add_cases(change, library, cases, complete=bool(said))
    verdict = judge(change, _day(today))
    if dry_run:
        _print(report.diff_text(change.diff()))
    elif put.changed:
        change.write()
    astray = report.astray_of(verdict, put.changed)
    if astray or not is_quiet():
        _print(report.cases_text(put, verdict, root, change.texts, shown=dry_run))
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
@click.option("--new-case", is_flag=True, help="Add a new case, although one waits that looks like it.")
@click.option("--given", nargs=2, multiple=True, metavar="STEP ANSWER", help="What the case answers at another step.")
@click.option("--ask/--no-ask", default=None, help="Ask for what is missing (default: on a terminal).")
@dry_run_option
def branch(
    library_dir: Path,
    today: date | None,
    **options: Any,  # noqa: ANN401 - tree and step, the options of `branch_options`, and of the case
) -> None:
    """Grow a TREE at a STEP: an answer to an existing or a new step, or a step before another.

    \b
    An answer to a new fix:   --answer 'Cracked' --fix 'Replace the clip' --proof lamps-and-stops
    An answer to a step:      --answer 'Cracked' --to desk
    A check in between:       --before desk --check 'Is it wet?' --way Yes dry-it --way No desk

    The rest of the file stays as it is. A change that breaks a rule is refused with its findings.
    """  # noqa: D301 - click's mark of lines that it is not to wrap
    root = library_at(library_dir)
    library = load(root)
    found, _ = tree_and_step(library, options["tree"], options["step"])
    context = click.get_current_context()
    plan: Plan = [options | {"library_dir": library_dir, "today": today}]
    if not (options["ask"] if options["ask"] is not None else sys.stdin.isatty()):
        made = grown(library, plan, _day(today), asking=False)
        if not _refused(made.verdict, made.change, made.new, dry_run=options["dry_run"]):
            _grow(made, root, dry_run=options["dry_run"])
            return
        sys.exit(1)
    whole = False
    try:
        Dialogue(library, found, plan).run()
        whole = True
        made = _settled(library, plan, context.command, _day(today))
        _grow(made, root, dry_run=options["dry_run"])
        _tell(as_commands(context.command, plan, whole=True))
    except LibraryError:
        _keep(as_commands(context.command, plan, whole=False))
        raise
    except (click.Abort, KeyboardInterrupt):
        click.echo(err=True)
        _keep(as_commands(context.command, plan, whole=whole))
        raise


def _settled(library: Library, plan: Plan, command: click.Command, today: date) -> Grown:
    """Make the branches of a plan; while they are refused, ask what to change. Who leaves ends the command."""
    while True:
        code = 1
        try:
            made = grown(library, plan, today, asking=True)
            if not _refused(made.verdict, made.change, made.new, dry_run=plan[0]["dry_run"]):
                return made
        except LibraryError as error:
            click.echo(f"kb: {error}", err=True)
            code = WRONG_USE if isinstance(error, UsageError) else 1
        _keep(as_commands(command, plan, whole=True))
        try:
            again = changed(command, plan)
        except click.Abort:
            again = False
        if not again:
            sys.exit(code)


def _grow(made: Grown, root: Path, *, dry_run: bool) -> None:
    """Write branches that no rule refuses, and tell what was done; of a dry run nothing is left to do."""
    if dry_run:
        return
    made.change.write()
    _tell(made.told)
    _print(report.outcome_text(made.verdict, root))


def _tell(lines: Iterable[str]) -> None:
    for line in lines:
        tell(line)


def _keep(lines: Iterable[str]) -> None:
    """Print what would be lost otherwise."""
    for line in lines:
        click.echo(line, err=True)


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
    root = library_at(library_dir)
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
    root = library_at(library_dir)
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
