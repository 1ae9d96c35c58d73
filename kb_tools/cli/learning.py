"""The command that learns from visit records."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TypedDict, Unpack

import click
from rich.console import Console

from kb_tools.author.learn import NEWEST, Asked, Learned
from kb_tools.author.learn import learn as learn_from
from kb_tools.author.learn_file import counts_of, counts_text, read_counts
from kb_tools.cli._common import Day, is_quiet, library_at, library_option, progress, quiet_option, tell
from kb_tools.findings import LibraryError, UsageError
from kb_tools.model.build import load
from kb_tools.model.graph import build_graph
from kb_tools.numbers.learned import lessons
from kb_tools.pages.learned_page import learned_page
from kb_tools.pages.wording import counted
from kb_tools.report import learning as report
from kb_tools.source.writing import write_whole


class _Options(TypedDict):
    out: Path | None
    wants_report: bool
    form: str
    seen: Path | None
    also: tuple[str, ...]
    strict: bool
    today: date | None


@click.command()
@click.argument("records", nargs=-1, type=click.Path(path_type=Path))
@library_option
@quiet_option
@click.option("--out", type=click.Path(path_type=Path), help="The file of counts to write (default: printed).")
@click.option("--report", "wants_report", is_flag=True, help="Tell what the counts teach.")
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text", help="How to print the report.")
@click.option(
    "--seen",
    type=click.Path(path_type=Path, dir_okay=False),
    help="List of counted records, kept beside --out: what it lists is a double.",
)
@click.option("--also", multiple=True, metavar="KEY", help="Key of this library while it was called otherwise.")
@click.option("--strict", is_flag=True, help="Make bad records fail.")
@click.option(
    "--today",
    type=Day(),
    help="Count a year back from this date (default: the newest record); later dates are a wrong clock's.",
)
def learn(records: tuple[Path, ...], library_dir: Path, **options: Unpack[_Options]) -> None:
    """Count visit RECORDS: how often which answer was given and which cause was found.

    RECORDS are folders of records, files of one record (.json) or of one a line (.jsonl), and files
    of counts (.yml), which are added. No text that somebody wrote is kept. Of records of one visit
    only the first is counted; across separate counts only lists that --seen wrote (.seen), named beside
    them, can tell. With --report alone: tell what the library's own trees/shared/counts.yml teaches.
    """
    out, seen, today, wants_report = options["out"], options["seen"], options["today"], options["wants_report"]
    if not records and not wants_report:
        raise UsageError("Name folders or files of visit records, or say --report")
    if seen and not out:
        raise UsageError("--seen keeps a list beside the counts: name their file too, with --out")
    library = load(library_at(library_dir))
    graph = build_graph(library)
    # Without a date nobody says that the clock of this machine is the right one.
    day = max(today, datetime.now(tz=UTC).astimezone().date()) if today else NEWEST
    learned = None
    if records:
        with progress("counting") as step:
            learned = learn_from(library, graph, Asked(list(records), seen, options["also"]), day, step)
        library.counts = counts_of(learned.tally)
        _write(learned, out, seen, printed=not wants_report)
    if wants_report:
        taught = lessons(library, graph, today)
        if options["form"] == "json":
            click.echo(json.dumps(report.as_json(taught), ensure_ascii=False, indent=2))
        else:
            console = Console(highlight=False)
            # Whoever holds the records reads this: every word is shown, not only those that many searched for.
            for line in report.as_text(learned_page(library, taught, least_searches=1)):
                console.print(line, soft_wrap=True)
    if learned and ((options["strict"] and learned.bad.number) or not learned.tally.records):
        raise LibraryError("There are bad records" if learned.tally.records else "No record could be counted")


def _write(learned: Learned, out: Path | None, seen: Path | None, *, printed: bool) -> None:
    """Write the counts, or print them; what there is to tell goes to stderr."""
    text = counts_text(learned.tally)
    lines = list(report.told(learned))
    # The sum alone is a summary; whatever stands beside it is to be looked at.
    for line in lines if len(lines) > 1 or not is_quiet() else ():
        click.echo(line, err=True)
    if out is None:
        if printed:
            click.echo(text, nl=False)
        return
    if not learned.tally.records:
        return
    before = _records_in(out)
    write_whole(out, text)
    if seen:
        write_whole(seen, learned.seen.packed())
    tell(f"{out} written; read it through and commit it", err=True)
    if before > learned.tally.records:
        click.echo(
            f"It held {counted(before, 'record')} before and holds {learned.tally.records:,} now; to add to it, name "
            "it among the RECORDS",
            err=True,
        )


def _records_in(path: Path) -> int:
    try:
        return read_counts(path).records if path.exists() else 0
    except LibraryError:
        return 0
