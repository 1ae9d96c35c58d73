"""What the page of an evidence table shows: what its checks tell, the best order, and how far the tree is from it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from kb_tools.numbers.best_order import ALWAYS_EXACT, best_order, groups
from kb_tools.numbers.evidence import problem_of
from kb_tools.numbers.testability import NO_FAULT, testability
from kb_tools.numbers.tree_on_table import tree_on_table
from kb_tools.pages.numbering import step_numbers
from kb_tools.pages.rich_text import plain
from kb_tools.pages.words import words_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from kb_tools.model.entities import Library, Table
    from kb_tools.model.graph import StepGraph
    from kb_tools.numbers.odds import TreeNumbers
    from kb_tools.numbers.order_problem import Order, Problem, Result
    from kb_tools.numbers.testability import Testability
    from kb_tools.pages.words import Words

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
    table, words = library.tables[table_id], words_of(library)
    problem = problem_of(table, library)
    result = page_order(problem)
    tree = library.trees.get(table.tree) if table.tree else None
    played = tree_on_table(table, problem, library, graph, numbers) if tree and table.tree in numbers else None
    names = {str(cause): _cause(str(cause), words) for cause in table.causes}
    strays = {one.cause: one.elsewhere for one in played.causes} if played else {}
    causes = [
        CauseView(
            names[cause],
            f"../trees/{tree.id}.html#{entry.fix}" if tree and entry.fix and entry.fix in tree.steps else "",
            words.percent(weight),
            round(100 * weight),
            _shows(table, cause, words),
            [
                words.say(
                    "table.elsewhere_at",
                    chance=words.in_ten(one.chance),
                    end=_place(library, one.end),
                    steps=", ".join(_place(library, key) for key in one.path[:-1]),
                )
                for one in strays.get(cause, [])
            ],
        )
        for (cause, entry), weight in zip(
            ((str(name), row) for name, row in table.causes.items()), problem.weights, strict=True
        )
    ]
    bars: list[tuple[str, str, int]] = []
    if result:
        rows = [("table.bar_found", result.expected_minutes), ("table.bar_bound", result.lower_bound)]
        if result.exact:
            rows = [("table.bar_best", result.expected_minutes)]
        if played:
            rows.insert(0, ("table.bar_tree", played.minutes))
        longest = max([value for _, value in rows] + [1e-9])
        bars = [(words.say(key), words.minutes_and_tenths(value), round(100 * value / longest)) for key, value in rows]
    return TablePage(
        table_id,
        str(table.title),
        (str(tree.title), f"../trees/{tree.id}.html") if tree else None,
        sight_words(testability(problem), problem, _groups(result, problem), names, words),
        order_words(result, problem, table_id, words),
        _order(result.order, table, problem, names, words) if result else [],
        _judged(played.minutes, played.beside, result, words) if played and result else [],
        bars,
        sorted(causes, key=lambda one: -one.percent),
        [
            CheckView(_asked(table, check.id), words.minutes(check.minutes), ", ".join(check.answers))
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
    sight: Testability, problem: Problem, groups: Sequence[Sequence[str]], names: Mapping[str, str], words: Words
) -> list[str]:
    """Say what all checks together can tell: faults detected, faults isolated, groups that stay together.

    Args:
        sight: The figures.
        problem: What they are of.
        groups: Causes that no check tells apart.
        names: Cause -> its name.
        words: The words of the library's language.

    """
    faults = words.count("count.faults", sum(cause != NO_FAULT for cause in problem.causes))
    told = [
        words.say(
            "table.detected_all" if sight.detected == 1 else "table.detected",
            faults=faults,
            checks=words.count("count.checks", len(problem.checks)),
            chance=words.in_ten(sight.detected),
            percent=words.percent(sight.detected),
        ),
        _isolated(sight, words),
    ]
    told += [
        words.say("table.group", causes=words.listed(names.get(cause, cause) for cause in group)) for group in groups
    ]
    if groups:
        told.append(words.say("table.group_order"))
    return told


def _isolated(sight: Testability, words: Words) -> str:
    single, two, three = (sight.isolated[most] for most in (1, 2, 3))
    if single == 1:
        key = "table.isolated_all"
    elif single:
        key = "table.isolated_three" if two < 1 else "table.isolated"
    else:
        key = "table.isolated_none_three" if two < 1 else "table.isolated_none"
    return words.say(
        key,
        chance=words.in_ten(single),
        percent=words.percent(single),
        two=words.percent(two),
        three=words.percent(three),
    )


def _groups(result: Result | None, problem: Problem) -> Sequence[Sequence[str]]:
    return result.groups if result else groups(problem)


def order_words(result: Result | None, problem: Problem, name: str, words: Words) -> list[str]:
    """Say how good the order is that a page shows, or why it shows none.

    Args:
        result: What the page's search found; None where the table is too large for a page.
        problem: The table.
        name: What `kb order` knows it by; empty where it is no table of its own.
        words: The words of the library's language.

    """
    command = f"kb order {name}" if name else words.say("table.commands", first="kb draft", second="kb order")
    if result is None:
        causes = words.count("count.causes", len(problem.causes))
        checks = words.count("count.checks", len(problem.checks))
        return [words.say("table.too_large", causes=causes, checks=checks, command=command)]
    if not result.expected_minutes:
        return [words.say("table.no_check")]
    time = words.minutes_and_tenths(result.expected_minutes)
    if result.exact:
        return [words.say("table.proven", time=time)]
    least = words.minutes_and_tenths(result.lower_bound)
    return [words.say("table.unproven", time=time, least=least, command=command)]


def _judged(tree: float, beside: float, result: Result, words: Words) -> list[str]:
    """Say how the tree stands beside the best order, both in minutes of checks alone."""
    fine = words.minutes_and_tenths
    key = "table.played_beside" if beside >= _LEAST else "table.played"
    told = [words.say(key, time=fine(tree), beside=fine(beside))]
    best = result.expected_minutes
    if best <= 0:
        return told
    if tree < best:
        told.append(words.say("table.less"))
    elif tree <= best * _CLOSE:
        told.append(words.say("table.as_good"))
    else:
        # As a reader subtracts: the two figures stand beside it, rounded.
        more = fine(round(tree, 1) - round(best, 1))
        more = more if result.exact else words.say("figures.at_most", time=more)
        told.append(words.say("table.more", time=more))
    return told


def _cause(cause: str, words: Words) -> str:
    """Return a cause in words: its id read as words."""
    if cause == NO_FAULT:
        return words.say("table.no_fault")
    read = cause.replace("-", " ")
    return read[:1].upper() + read[1:]


def _asked(table: Table, check: str) -> str:
    row = table.checks[check]  # type: ignore[index]
    return plain(row.check or row.measure or check)


def _shows(table: Table, cause: str, words: Words) -> list[tuple[str, str]]:
    row = table.shows.get(cause) or {}  # type: ignore[call-overload]
    return [
        (
            _asked(table, str(check)),
            words.listed(map(str, row[check]), "or") if check in row else words.say("table.any_answer"),
        )
        for check in table.checks
    ]


def _place(library: Library, key: str) -> str:
    tree_id, _, name = key.partition("/")
    return str(step_numbers(library.trees[tree_id]).get(name, name))


def _order(order: Order, table: Table, problem: Problem, names: Mapping[str, str], words: Words) -> list[OrderStep]:
    """Return an order as numbered lines; parts that come up several times stand once."""
    then = f", {words.say('table.then')} "
    takes = {check.id: words.minutes(check.minutes) for check in problem.checks}
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
                then.join(names.get(cause, cause) for cause in onward["causes"]) if "causes" in onward else "",
            )
            for answer, onward in here["answers"].items()
        ]
        lines.append(OrderStep(number, _asked(table, here["check"]), takes[here["check"]], ways))
    if not lines and "causes" in order:
        last = then.join(names.get(cause, cause) for cause in order["causes"])
        return [OrderStep(1, words.say("table.no_split"), "", [("", 0, last)])]
    return lines
