"""The numbers section of a tree's page: words first, figures second, a bar where it says it quicker."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from kb_tools.numbers.odds import causes_at
from kb_tools.numbers.records import share_interval
from kb_tools.numbers.shares import found_causes, prior_shares, prior_strength
from kb_tools.numbers.time_lost import best_swap, time_spent
from kb_tools.pages.numbering import step_numbers
from kb_tools.pages.rich_text import plain
from kb_tools.pages.wording import counted, listed, minutes

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from kb_tools.model.entities import Library, Tree
    from kb_tools.model.graph import StepGraph
    from kb_tools.numbers.odds import TreeNumbers
    from kb_tools.numbers.visit import Item, Packing, Visits

MOST_ROWS = 8
_ROUNDING = 1e-9
_LEAST, _MOST = 0.01, 0.99
_SURE, _TENTHS, _ROUND = 0.95, 0.15, 20


@dataclass(frozen=True, slots=True)
class Row:
    """A line with a bar: what it is, how likely or how long, in words and as a figure."""

    text: str
    href: str
    words: str
    percent: int
    """Length of the bar, 0 to 100."""
    note: str = ""


@dataclass(frozen=True, slots=True)
class NumbersView:
    """What the section shows."""

    summary: list[str]
    causes: list[Row]
    time: list[Row]
    swap: str
    taken: list[Row]
    pack: list[str]
    """What to take along, in sentences."""
    rarely: str
    """What stands on no row: items that are needed less often, in words; may be empty."""
    field: str
    """How many visit records the shares rest on beside the author's word; empty where none was counted."""
    assumed: bool
    """Whether shares or minutes are assumed in places, which the page then says."""


def numbers_view(library: Library, graph: StepGraph, tree: Tree, visits: Visits) -> NumbersView:
    """Return what the numbers section of a tree's page shows.

    Args:
        library: The library.
        graph: Its graph.
        tree: The tree.
        visits: What visits need, with the numbers of the tree and of all that links lead to from it.

    """
    own = visits.numbers[tree.id]
    packing = visits.packing([tree.id])
    steps = step_numbers(tree)
    causes = causes_at(graph, own, own.start)
    spent = time_spent(graph, library, own)
    most = max((one.minutes for one in spent), default=1.0)
    return NumbersView(
        _summary(own),
        _causes(library, tree, causes),
        [
            Row(
                f"Step {steps[one.step]}: {_text(library, tree, one.step)}",
                f"#{one.step}",
                f"{minutes(one.minutes)} of an average visit",
                round(100 * one.minutes / most),
                f"{in_ten(one.reach)} visits come to it",
            )
            for one in spent[:MOST_ROWS]
        ],
        _swap(library, graph, own, steps),
        items_rows(library, packing)[:MOST_ROWS],
        pack_words(library, packing, 1),
        rarely_words(library, packing),
        field_words(library, tree),
        any(step.takes is None and step.kind in ("check", "measure", "do", "fix") for step in tree.steps.values()),
    )


def items_rows(library: Library, packing: Packing) -> list[Row]:
    """Return a line for each spare and tool, likeliest needed first."""
    return [
        Row(
            item_name(library, one.item),
            "",
            percent(one.chance),
            round(100 * one.chance),
            f"packed down to here, {in_ten(one.cured_with_first)} end cured",
        )
        for one in packing.items
    ]


def rarely_words(library: Library, packing: Packing) -> str:
    """Name what is needed less often than what stands on the rows."""
    rest = [item_name(library, one.item) for one in packing.items[MOST_ROWS:]]
    return f"Needed less often: {', '.join(rest)}." if rest else ""


def pack_words(library: Library, packing: Packing, visits: int) -> list[str]:
    """Say in sentences what to take along and how far that reaches.

    The smallest set is that of nine visits in ten cured; where nothing reaches so far, that is said,
    and the set keeps nine tenths of what everything together reaches.
    """
    whom = "such visits" if visits == 1 else "of these visits"
    least = "at least " if packing.at_least else ""
    best = f"{least}{in_ten(packing.cured_with_all)} {whom} end cured ({percent(packing.cured_with_all)})"
    if not packing.items:
        return [f"No step names a spare or a tool; {best}."]
    smaller = "no smaller set does" if packing.is_smallest else "a smaller set may, but none was found"
    reached = f"{least}{in_ten(packing.cured_with_smallest)} {whom} end cured ({percent(packing.cured_with_smallest)})"
    lists = [_names(library, packing.smallest, is_tool=is_tool) for is_tool in (True, False)]
    take = f"Take along {' and '.join(filter(None, lists))}" if packing.smallest else "With nothing taken along"
    rest = "the others are handed over or end without a mending"
    if packing.is_enough:
        told = [f"{take}: {reached}. That is enough for nine in ten, and {smaller}."]
    elif packing.cured_with_smallest >= packing.cured_with_all - _ROUNDING:
        told = [f"{take}: {reached}. No packing cures more, and {smaller}; {rest}."]
    else:
        told = [f"{take}: {reached}. That keeps nine tenths of what can be reached, and {smaller}."]
        told.append(f"No packing cures nine visits in ten: even with everything listed here, {best}; {rest}.")
    if visits > 1 and any(not item.is_tool for item in packing.smallest):
        told.append("One of each is counted: where two visits may need the same spare, take two.")
    return told


def _names(library: Library, items: Iterable[Item], *, is_tool: bool) -> str:
    names = [item_name(library, item) for item in items if item.is_tool is is_tool]
    kind = "tool" if is_tool else "spare"
    return f"the {kind}{'s' if len(names) > 1 else ''} {listed(names)}" if names else ""


def item_name(library: Library, item: Item) -> str:
    """Return the name of a spare or a tool; its id where it is not declared."""
    things = library.tools if item.is_tool else library.spares
    return next((str(thing.name) for name, thing in things.items() if name == item.id), item.id)


def _summary(own: TreeNumbers) -> list[str]:
    ahead = own.ahead
    checks = counted(max(1, round(ahead.checks)), "check")
    cured = f"{_capital(in_ten(ahead.cured))} visits end cured ({percent(ahead.cured)})"
    handed = f"{in_ten(ahead.escalation)} are handed over ({percent(ahead.escalation)})"
    told = [
        f"A visit takes about {minutes(ahead.minutes)} hands on, with about {checks}; at worst {minutes(ahead.worst)}.",
        f"{cured}; {handed}.",
    ]
    if ahead.waiting >= 1:
        told.append(f"Besides, about {minutes(ahead.waiting)} go by with waiting.")
    if own.dropped:
        told.append(f"Not counted, since only “cannot” or “cannot tell” leads there: {', '.join(own.dropped)}.")
    return told


def field_words(library: Library, tree: Tree) -> str:
    """Say how many visit records the shares of a tree rest on; empty where none found a cause."""
    found = sum(found_causes(library, tree).values())
    if not found:
        return ""
    return (
        f"{counted(found, 'record')} of visits found a cause here; the author's word weighs as much as "
        f"{prior_strength(library):g}. The ranges hold the true share in 90 of 100 such cases."
    )


def _causes(library: Library, tree: Tree, causes: Mapping[str, float]) -> list[Row]:
    """Return a line for each cause; links into one tree are one line."""
    shares: dict[str, float] = {}
    named: dict[str, list[str]] = {}
    for name, share in causes.items():
        text = _text(library, tree, name)
        shares[text] = shares.get(text, 0.0) + share
        named.setdefault(text, []).append(name)
    notes = _ranges(library, tree, named)
    ranked = sorted(shares, key=lambda text: -round(shares[text], 9))
    return [
        Row(text, f"#{named[text][0]}", percent(shares[text]), round(100 * shares[text]), notes.get(text, ""))
        for text in ranked[:MOST_ROWS]
    ]


def _ranges(library: Library, tree: Tree, named: Mapping[str, Sequence[str]]) -> dict[str, str]:
    """Return in what range the share of each line lies; empty where no records were counted.

    Some of the parts of a Dirichlet distribution, and sums of parts, are Dirichlet distributed with
    the parameters as they were, or summed.
    """
    found, prior = found_causes(library, tree), prior_shares(tree)
    if not found:
        return {}
    counts = [sum(found[name] for name in names) for names in named.values()]
    before = [float(sum(prior[name] for name in names)) for names in named.values()]
    known = share_interval(counts, before, prior_strength(library) * sum(before))
    return {
        text: f"range {percent(low)} to {percent(high)}, found {counted(number, 'time')}"
        for text, number, (_, low, high) in zip(named, counts, known, strict=True)
    }


def _text(library: Library, tree: Tree, name: str) -> str:
    step = tree.steps[name]  # type: ignore[index]
    if step.kind == "link" and step.link:
        linked = library.trees.get(step.link.partition("/")[0])
        return f"Goes on in: {linked.title}" if linked else str(step.link)
    return plain(step.text) if step.text else name


def _swap(library: Library, graph: StepGraph, own: TreeNumbers, steps: Mapping[str, int]) -> str:
    found = best_swap(graph, library, own)
    if found is None:
        return "No two neighbouring checks would save time by changing places."
    first, second = steps[found.first], steps[found.second]
    return (
        f"Asking step {second} before step {first} would save about {minutes(found.saves)} a visit, "
        f"if the faults that step {first} tells apart answer “{found.over}” there."
    )


def percent(chance: float) -> str:
    """Return a chance as a figure."""
    if 0 < chance < _LEAST:
        return "under 1\N{NO-BREAK SPACE}%"
    if _MOST < chance < 1:
        return "over 99\N{NO-BREAK SPACE}%"
    return f"{chance:.0%}".replace("%", "\N{NO-BREAK SPACE}%")


def in_ten(chance: float) -> str:
    """Return a chance in the words that the walk uses, as in `about 8 in 10`."""
    if chance >= _SURE:
        return "nearly all" if chance < 1 else "all"
    if chance >= _TENTHS:
        return f"about {chance * 10:.0f} in 10"
    if chance < _LEAST:
        return "fewer than 1 in 100" if chance else "none"
    one = 1 / chance
    return f"about 1 in {one:.0f}" if one < _ROUND else f"about 1 in {round(one / 10) * 10}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
