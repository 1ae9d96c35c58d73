"""Numbers of a tree and orders of checks as text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.text import Text

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.model.entities import Table
    from kb_tools.numbers.order_problem import Order, Result
    from kb_tools.numbers.testability import Testability
    from kb_tools.pages.numbers_view import NumbersView, Row

_ESTIMATE = "All of this is an estimate from the shares and minutes that the trees' authors gave."


def order_text(table: Table, result: Result, sight: Testability) -> Iterator[Text]:
    """Yield the best order of a table's checks as lines for a terminal."""
    yield Text(str(table.title), "bold")
    proven = "proven best"
    if not result.exact:
        saved = f"at most {result.gap:.0%} could be saved"
        proven = f"best found; no order needs less than {result.lower_bound:.2f} min, so {saved}"
    yield Text(f"{result.expected_minutes:.2f} minutes of checks expected, {proven}")
    told = ", ".join(f"to {most}: {share:.0%}" for most, share in sight.isolated.items())
    yield Text(f"faults detected {sight.detected:.0%}; of these isolated {told}")
    for group in result.groups:
        yield Text(f"no check tells apart: {', '.join(group)}", "yellow")
    yield Text()
    # An order may be deeper than Python recurses; a list of what is still to be printed is not.
    waiting: list[tuple[int, str, Order]] = [(0, "", result.order)]
    while waiting:
        depth, answer, order = waiting.pop()
        lead = Text("  " * depth).append(f"{answer}: " if answer else "", "cyan")
        if "check" in order:
            check = table.checks.get(order["check"])  # type: ignore[call-overload]
            words = (check.check or check.measure) if check else order["check"]
            yield lead.append(f"{words} ({check.minutes:g} min)" if check else str(words))
            waiting += [(depth + 1, text, onward) for text, onward in reversed(order["answers"].items())]
        else:
            yield lead.append(", then ".join(order["causes"]), "bold")
    yield Text()
    if result.groups:
        yield Text("In a group, causes stand by chance over minutes of mending, the last mending paid for too.", "dim")
    yield Text("All of this is an estimate from the shares and minutes of the table.", "dim")


def numbers_text(title: str, view: NumbersView) -> Iterator[Text]:
    """Yield the numbers of a tree as lines for a terminal, words first."""
    yield Text(title, "bold")
    yield from (Text(line) for line in view.summary)
    yield from _bars("What it most likely is", view.causes)
    if view.field:
        yield Text(view.field, "dim")
    yield Text("\nWhat to take along", "bold")
    yield from (Text(line) for line in view.pack)
    yield from _bars("How often each is needed", view.taken)
    if view.rarely:
        yield Text(view.rarely, "dim")
    yield from _bars("Where time goes", view.time)
    yield Text(f"\n{view.swap}")
    yield Text(f"{_ESTIMATE[:-1]}, and from visit records." if view.field else _ESTIMATE, "dim")


def day_text(titles: list[str], pack: list[str], rows: list[Row]) -> Iterator[Text]:
    """Yield what to take along to the visits of a day as lines for a terminal."""
    yield Text(f"{len(titles)} visits", "bold")
    yield from (Text(f"  {title}") for title in titles)
    yield Text("\nWhat to take along", "bold")
    yield from (Text(line) for line in pack)
    yield from _bars("How likely at least one visit needs it", rows)
    yield Text(_ESTIMATE, "dim")


def _bars(heading: str, rows: list[Row]) -> Iterator[Text]:
    if rows:
        yield Text(f"\n{heading}", "bold")
    for row in rows:
        bar = "\N{BLACK SQUARE}" * max(1, round(row.percent / 10))
        note = f", {row.note}" if row.note else ""
        yield Text(f"  {bar:<10} ", "cyan").append(f"{row.text}: {row.words}{note}", "default")
