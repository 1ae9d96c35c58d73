"""Commands that compute: numbers of a tree, the best order of checks, a drafted tree."""

from __future__ import annotations

import json
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click
from rich.console import Console

from kb_tools.author.draft import draft as draft_tree
from kb_tools.cli._common import library_at, library_option, tell, today_option
from kb_tools.cli._completing import FileId
from kb_tools.findings import UsageError
from kb_tools.model.build import load
from kb_tools.model.graph import build_graph
from kb_tools.model.map_table import table_from_map
from kb_tools.model.records import nearest
from kb_tools.numbers.best_order import best_order
from kb_tools.numbers.evidence import order_json, problem_of, table_named
from kb_tools.numbers.odds import tree_numbers_with_links
from kb_tools.numbers.testability import testability
from kb_tools.numbers.tree_figures import day_figures, tree_figures
from kb_tools.numbers.visit import Visits
from kb_tools.pages.numbers_view import items_rows, numbers_view, pack_words
from kb_tools.report import figures as report
from kb_tools.source.writing import write_whole

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from rich.text import Text

    from kb_tools.model.entities import Library
    from kb_tools.model.graph import StepGraph
    from kb_tools.numbers.odds import TreeNumbers
    from kb_tools.numbers.order_problem import Progress as SearchProgress


@click.command()
@click.argument("trees", nargs=-1, required=True, metavar="TREE...", type=FileId("tree"))
@library_option
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text", help="How to print.")
def numbers(trees: tuple[str, ...], library_dir: Path, form: str) -> None:
    """Tell of a TREE (an id): odds, minutes, what to take along, where time is lost.

    Several trees stand for the visits of a day, one each (a tree may come twice): what to take along
    to all of them.
    """
    library = load(library_at(library_dir))
    for tree in trees:
        if tree not in library.trees:
            close = nearest(tree, library.trees)
            raise UsageError(f"There is no tree {tree!r}." + (f" Did you mean {close}?" if close else ""))
    graph = build_graph(library)
    if library.findings or any(way.target is None for way in graph.ways()):
        click.echo("kb: The library has errors, so figures may be wrong; `kb check` tells them", err=True)
    if len(trees) > 1:
        _day(library, graph, trees, form)
        return
    (tree,) = trees
    if form == "json":
        click.echo(json.dumps(tree_figures(graph, library, tree), ensure_ascii=False, indent=2))
        return
    view = numbers_view(
        library, graph, library.trees[tree], Visits(graph, tree_numbers_with_links(graph, library, tree))
    )
    _tell(report.numbers_text(str(library.trees[tree].title), view))


def _day(library: Library, graph: StepGraph, trees: tuple[str, ...], form: str) -> None:
    """Print what to take along to the visits of a day."""
    known: dict[str, TreeNumbers] = {}
    for tree in dict.fromkeys(trees):
        known |= tree_numbers_with_links(graph, library, tree)
    if form == "json":
        click.echo(json.dumps(day_figures(graph, known, trees), ensure_ascii=False, indent=2))
        return
    packing = Visits(graph, known).packing(trees)
    titles = [str(library.trees[tree].title) for tree in trees]
    _tell(report.day_text(titles, pack_words(library, packing, len(trees)), items_rows(library, packing)))


def _tell(lines: Iterator[Text]) -> None:
    console = Console(highlight=False)
    for line in lines:
        console.print(line, soft_wrap=True)


@click.command()
@click.argument("table", type=FileId("table"))
@library_option
@click.option("--seconds", type=float, help="Stop after so many seconds with the best order found.")
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text", help="How to print.")
def order(table: str, library_dir: Path, seconds: float | None, form: str) -> None:
    """Find the best order of the checks of an evidence TABLE (an id or a path).

    Minutes are those of the checks alone. Ctrl-C gives the best order found so far.
    """
    root = library_at(library_dir)
    library = load(root)
    chosen = table_named(library, table)
    problem = problem_of(chosen, library)
    with _searching() as step:
        result = best_order(problem, seconds=seconds, progress=step)
    sight = testability(problem)
    if form == "json":
        click.echo(order_json(chosen.id, result, sight))
        return
    _tell(report.order_text(chosen, result, sight))


@click.command()
@click.argument("source", type=FileId("table", "map"))
@library_option
@today_option
@click.option("--symptom", help="For a map: the point that fails, as in 'lamp-lit fails'.")
@click.option("--out", type=click.Path(path_type=Path), help="The tree file to write (default: printed).")
def draft(source: str, library_dir: Path, today: date | None, symptom: str | None, out: Path | None) -> None:
    """Draft a tree from an evidence table, or from an equipment map and a point that fails.

    SOURCE is the id or path of a table, or with --symptom the id of a map. What the table cannot
    know is left out with a comment, so that `kb check` asks for it.
    """
    library = load(library_at(library_dir))
    table = table_from_map(library, source, symptom) if symptom else table_named(library, source)
    with _searching() as step:
        result = best_order(problem_of(table, library), progress=step)
    day = today or datetime.now(tz=UTC).astimezone().date()
    origin = f"the equipment map {source}: {symptom}" if symptom else None
    text = draft_tree(table, result.order, library, day, source if symptom else None, origin)
    if out is None:
        click.echo(text, nl=False)
        return
    if out.exists():
        raise UsageError(f"{out} is there already; name another file")
    write_whole(out, text)
    tell(f"{out} written; `kb check` tells what is still to be finished")


@contextmanager
def _searching() -> Iterator[Callable[[SearchProgress], None] | None]:
    """Tell on a terminal's stderr how far a long search is, and that one was stopped too early."""
    console = Console(stderr=True)
    try:
        if not console.is_terminal:
            yield None
            return
        with console.status("looking for a first order") as status:
            yield lambda now: status.update(
                f"best so far {now.expected_minutes:.2f} min, at least {now.lower_bound:.2f} min; "
                f"Ctrl-C ends the search ({now.seconds:.0f} s)"
            )
    except KeyboardInterrupt:
        click.echo("kb: Stopped before there was a first order, so there is none to show", err=True)
        raise
