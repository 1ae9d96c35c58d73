"""What the page of an evidence table shows: what its checks tell, the best order, and how far the tree is from it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from kb_tools.numbers.best_order import ALWAYS_EXACT, best_order, groups
from kb_tools.numbers.evidence import problem_of
from kb_tools.numbers.testability import NO_FAULT, testability
from kb_tools.numbers.tree_on_table import tree_on_table
from kb_tools.pages.numbering import step_numbers
from kb_tools.pages.numbers_view import in_ten, percent
from kb_tools.pages.rich_text import plain
from kb_tools.pages.wording import counted, listed, minutes

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from kb_tools.model.entities import Library, Table
    from kb_tools.model.graph import StepGraph
    from kb_tools.numbers.odds import TreeNumbers
    from kb_tools.numbers.order_problem import Order, Problem, Result
    from kb_tools.numbers.testability import Testability

MOST_STATES = 4000
"""So many situations a page's search for the best order looks at: a build stays quick, and its bytes the same."""
_CLOSE = 1.05
_LEAST = 0.05


@dataclass(frozen=True, slots=True)
class OrderStep:
    """A line of the best order."""

    number: int
    text: str
    takes: str
    ways: list[tuple[str, int, str]]
    """Answer, the number of the line that it leads to (0 at an end), and there the causes left."""


@dataclass(frozen=True, slots=True)
class CauseView:
    """A cause and what it makes the checks show."""

    name: str
    href: str
    share: str
    percent: int
    shows: list[tuple[str, str]]
    """Check and answers."""
    elsewhere: list[str]
    """Where it may end instead of at its own fix, each with the way there, in words."""


@dataclass(frozen=True, slots=True)
class CheckView:
    """A check of the table."""

    text: str
    takes: str
    answers: str


@dataclass(frozen=True, slots=True)
class TablePage:
    """What the page of a table shows."""

    id: str
    title: str
    tree: tuple[str, str] | None
    """Title and address of the tree that the table judges."""
    sight: list[str]
    """What the checks can tell, in sentences."""
    order_words: list[str]
    order: list[OrderStep]
    judged: list[str]
    """How the tree stands beside the best order."""
    bars: list[tuple[str, str, int]]
    """Minutes of the tree, of the best order, of the bound: words, figure, length of the bar."""
    causes: list[CauseView]
    checks: list[CheckView]
    strays: bool
    """Whether some cause may end elsewhere than at its own fix."""


def table_page(library: Library, graph: StepGraph, numbers: Mapping[str, TreeNumbers], table_id: str) -> TablePage:
    """Return what the page of an evidence table shows.

    Args:
        library: A sound library.
        graph: Its graph.
        numbers: The numbers of every tree.
        table_id: Which table.

    """
    table = library.tables[table_id]
    problem = problem_of(table, library)
    result = page_order(problem)
    tree = library.trees.get(table.tree) if table.tree else None
    played = tree_on_table(table, problem, library, graph, numbers) if tree and table.tree in numbers else None
    names = {str(cause): _cause(str(cause)) for cause in table.causes}
    strays = {one.cause: one.elsewhere for one in played.causes} if played else {}
    causes = [
        CauseView(
            names[cause],
            f"../trees/{tree.id}.html#{entry.fix}" if tree and entry.fix and entry.fix in tree.steps else "",
            percent(weight),
            round(100 * weight),
            _shows(table, cause),
            [
                f"{in_ten(one.chance)} at step {_place(library, one.end)}, over steps "
                + ", ".join(_place(library, key) for key in one.path[:-1])
                for one in strays.get(cause, [])
            ],
        )
        for (cause, entry), weight in zip(
            ((str(name), row) for name, row in table.causes.items()), problem.weights, strict=True
        )
    ]
    bars: list[tuple[str, str, int]] = []
    if result:
        rows = [("The best order found", result.expected_minutes), ("No order takes less than", result.lower_bound)]
        if result.exact:
            rows = [("The best order there is", result.expected_minutes)]
        if played:
            rows.insert(0, ("The tree", played.minutes))
        longest = max([value for _, value in rows] + [1e-9])
        bars = [(text, _fine(value), round(100 * value / longest)) for text, value in rows]
    return TablePage(
        table_id,
        str(table.title),
        (str(tree.title), f"../trees/{tree.id}.html") if tree else None,
        sight_words(testability(problem), problem, _groups(result, problem), names),
        order_words(result, problem, table_id),
        _order(result.order, table, problem, names) if result else [],
        _judged(played.minutes, played.beside, result) if played and result else [],
        bars,
        sorted(causes, key=lambda one: -one.percent),
        [
            CheckView(_asked(table, check.id), minutes(check.minutes), ", ".join(check.answers))
            for check in problem.checks
        ],
        any(one.elsewhere for one in causes),
    )


def page_order(problem: Problem) -> Result | None:
    """Return the best order that a page takes the time to look for; None where the table is too large for that."""
    if max(len(problem.causes), len(problem.checks)) > ALWAYS_EXACT:
        return None
    return best_order(problem, states=MOST_STATES)


def sight_words(
    sight: Testability, problem: Problem, groups: Sequence[Sequence[str]], names: Mapping[str, str]
) -> list[str]:
    """Say what all checks together can tell: faults detected, faults isolated, groups that stay together.

    Args:
        sight: The figures.
        problem: What they are of.
        groups: Causes that no check tells apart.
        names: Cause -> its name.

    """
    faults = sum(cause != NO_FAULT for cause in problem.causes)
    told = [f"{counted(faults, 'fault')} and {counted(len(problem.checks), 'check')}."]
    if sight.detected == 1:
        told[0] += " Whichever fault it is, some check sees it (100\N{NO-BREAK SPACE}% detected)."
    else:
        told[0] += f" By their shares, the checks see {in_ten(sight.detected)} ({percent(sight.detected)} detected)."
    told.append(_isolated(sight))
    told += [f"No check can tell apart: {listed([names.get(cause, cause) for cause in group])}." for group in groups]
    if groups:
        told.append("Those stand in the order to try their mendings: chance over minutes, the last one paid for too.")
    return told


def _isolated(sight: Testability) -> str:
    single, two, three = (sight.isolated[most] for most in (1, 2, 3))
    if single == 1:
        return "Every fault that they see is told from every other (100\N{NO-BREAK SPACE}% isolated to one)."
    if single:
        told = f"Of these they name the one cause for {in_ten(single)} ({percent(single)} isolated to one)"
    else:
        told = "They never come down to one cause alone"
    more = [f"to two at most for {percent(two)}"]
    if two < 1:
        more.append(f"to three at most for {percent(three)}")
    return f"{told}; {', '.join(more)}."


def _groups(result: Result | None, problem: Problem) -> Sequence[Sequence[str]]:
    return result.groups if result else groups(problem)


def order_words(result: Result | None, problem: Problem, name: str) -> list[str]:
    """Say how good the order is that a page shows, or why it shows none.

    Args:
        result: What the page's search found; None where the table is too large for a page.
        problem: The table.
        name: What `kb order` knows it by; empty where it is no table of its own.

    """
    further = f"kb order {name}" if name else "kb draft and kb order"
    if result is None:
        size = f"{counted(len(problem.causes), 'cause')} and {counted(len(problem.checks), 'check')}"
        return [f"Not computed here for {size}: run {further}."]
    if not result.expected_minutes:
        return ["No check tells more, so none needs to be made."]
    takes = f"On average {_fine(result.expected_minutes)} of checks until the cause is known"
    if result.exact:
        return [f"{takes}: no order takes less (proven)."]
    least = f"No order takes less than {_fine(result.lower_bound)}; {further} looks further."
    return [f"{takes}: the best order that a page takes the time to find. {least}"]


def _judged(tree: float, beside: float, result: Result) -> list[str]:
    """Say how the tree stands beside the best order, both in minutes of checks alone."""
    own = f", {_fine(beside)} of it for checks that this table does not have" if beside >= _LEAST else ""
    told = [f"Every cause played through the tree, it takes {_fine(tree)} of checks on average{own}."]
    best = result.expected_minutes
    if best <= 0:
        return told
    if tree < best:
        told.append("That is less than any order here: the tree tries a mending before all causes are told apart.")
    elif tree <= best * _CLOSE:
        told.append("That is as good as the best order.")
    else:
        least = "" if result.exact else "at most "
        told.append(
            f"That is {least}{_fine(tree - best)} more than the best order of this table's checks, "
            "which asks nothing else and need not lead over safe steps first."
        )
    return told


def _fine(value: float) -> str:
    """Return minutes with a tenth, where a few of them are compared."""
    return f"{value:.1f} min"


def _cause(cause: str) -> str:
    """Return a cause in words: its id read as words."""
    if cause == NO_FAULT:
        return "No fault"
    words = cause.replace("-", " ")
    return words[:1].upper() + words[1:]


def _asked(table: Table, check: str) -> str:
    row = table.checks[check]  # type: ignore[index]
    return plain(row.check or row.measure or check)


def _shows(table: Table, cause: str) -> list[tuple[str, str]]:
    row = table.shows.get(cause) or {}  # type: ignore[call-overload]
    return [
        (
            _asked(table, str(check)),
            listed([str(answer) for answer in row[check]], "or") if check in row else "any answer",
        )
        for check in table.checks
    ]


def _place(library: Library, key: str) -> str:
    tree_id, _, name = key.partition("/")
    return str(step_numbers(library.trees[tree_id]).get(name, name))


def _order(order: Order, table: Table, problem: Problem, names: Mapping[str, str]) -> list[OrderStep]:
    """Return an order as numbered lines; parts that come up several times stand once."""
    takes = {check.id: minutes(check.minutes) for check in problem.checks}
    numbers: dict[int, int] = {}
    found: list[Order] = []
    waiting = [order]
    while waiting:
        here = waiting.pop()
        if "causes" in here or id(here) in numbers:
            continue
        found.append(here)
        numbers[id(here)] = len(found)
        waiting += reversed(here["answers"].values())
    lines = []
    for number, here in enumerate(found, 1):
        if "causes" in here:
            continue
        ways = [
            (
                answer,
                numbers.get(id(onward), 0),
                ", then ".join(names.get(cause, cause) for cause in onward["causes"]) if "causes" in onward else "",
            )
            for answer, onward in here["answers"].items()
        ]
        lines.append(OrderStep(number, _asked(table, here["check"]), takes[here["check"]], ways))
    if not lines and "causes" in order:
        last = ", then ".join(names.get(cause, cause) for cause in order["causes"])
        return [OrderStep(1, "No check splits these", "", [("", 0, last)])]
    return lines
