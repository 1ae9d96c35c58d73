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
from kb_tools.pages.words import words_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from kb_tools.model.entities import Library, Tree
    from kb_tools.model.graph import StepGraph
    from kb_tools.numbers.odds import TreeNumbers
    from kb_tools.numbers.visit import Item, Packing, Visits

MOST_ROWS = 8
_LEAST_TOLD = 0.005
"""Chances below this are not worth a word of their own."""
_ROUNDING = 1e-9


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
    words, own = words_of(library), visits.numbers[tree.id]
    packing = visits.packing([tree.id])
    steps = step_numbers(tree)
    causes = causes_at(graph, own, own.start)
    spent = time_spent(graph, library, own)
    most = max((one.minutes for one in spent), default=1.0)
    return NumbersView(
        _summary(library, tree, own),
        _causes(library, tree, causes),
        [
            Row(
                words.say("numbers.step", n=steps[one.step], text=_text(library, tree, one.step)),
                f"#{one.step}",
                words.say("numbers.of_visit", time=words.minutes(one.minutes)),
                round(100 * one.minutes / most),
                words.say("numbers.come_to_it", chance=words.in_ten(one.reach)),
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
    words = words_of(library)
    return [
        Row(
            item_name(library, one.item),
            "",
            words.percent(one.chance),
            round(100 * one.chance),
            words.say("numbers.cured_with", chance=words.in_ten(one.cured_with_first)),
        )
        for one in packing.items
    ]


def rarely_words(library: Library, packing: Packing) -> str:
    """Name what is needed less often than what stands on the rows."""
    rest = [item_name(library, one.item) for one in packing.items[MOST_ROWS:]]
    return words_of(library).say("numbers.rarely", items=", ".join(rest)) if rest else ""


def pack_words(library: Library, packing: Packing, visits: int) -> list[str]:
    """Say in sentences what to take along and how far that reaches.

    The smallest set is that of nine visits in ten cured; where nothing reaches so far, that is said,
    and the set keeps nine tenths of what everything together reaches.
    """
    words = words_of(library)

    def cured(chance: float) -> str:
        told = words.in_ten(chance)
        told = words.say("figures.at_least", chance=told) if packing.at_least else told
        key = "pack.such_visits" if visits == 1 else "pack.these_visits"
        return words.say(key, chance=told, percent=words.percent(chance))

    best = cured(packing.cured_with_all)
    if not packing.items:
        return [words.say("pack.nothing_named", cured=best)]
    smaller = words.say("pack.smallest" if packing.is_smallest else "pack.perhaps_smaller")
    rest = words.say("pack.rest")
    told = _named(library, packing.smallest)
    take = words.say("pack.take" if told else "pack.take_nothing", cured=cured(packing.cured_with_smallest))
    if packing.is_enough:
        told += [f"{take} {words.say('pack.enough', smaller=smaller)}"]
    elif packing.cured_with_smallest >= packing.cured_with_all - _ROUNDING:
        told += [f"{take} {words.say('pack.all_of_it', smaller=smaller, rest=rest)}"]
    else:
        told += [f"{take} {words.say('pack.nine_tenths', smaller=smaller)}"]
        told.append(words.say("pack.not_enough", cured=best, rest=rest))
    if visits > 1 and any(not item.is_tool for item in packing.smallest):
        told.append(words.say("pack.twice"))
    return told


def _named(library: Library, packed: Sequence[Item]) -> list[str]:
    """Name the tools that are taken along, and the spares, in a sentence each; nothing for none."""
    words = words_of(library)
    told = []
    for key, is_tool in (("pack.tools", True), ("pack.spares", False)):
        names = [item_name(library, item) for item in packed if item.is_tool is is_tool]
        if names:
            told.append(words.form(key, len(names)).format(names=", ".join(names)))
    return told


def item_name(library: Library, item: Item) -> str:
    """Return the name of a spare or a tool; its id where it is not declared."""
    things = library.tools if item.is_tool else library.spares
    return next((str(thing.name) for name, thing in things.items() if name == item.id), item.id)


def _summary(library: Library, tree: Tree, own: TreeNumbers) -> list[str]:
    words = words_of(library)
    ahead = own.ahead
    figures = {"cured": ahead.cured, "handed": ahead.escalation}
    rest = 1 - sum(figures.values())
    if rest >= _LEAST_TOLD:
        figures["rest"] = rest
    outcome = words.say(
        "numbers.outcome_rest" if "rest" in figures else "numbers.outcome",
        **{name: words.in_ten(chance) for name, chance in figures.items()},
        **{f"{name}_percent": words.percent(chance) for name, chance in figures.items()},
    )
    told = [
        words.say(
            "numbers.visit",
            time=words.minutes(ahead.minutes),
            checks=words.count("count.checks", max(1, round(ahead.checks))),
            worst=words.minutes(ahead.worst),
        ),
        outcome[:1].upper() + outcome[1:],
    ]
    if ahead.waiting >= 1:
        told.append(words.say("numbers.waiting", time=words.minutes(ahead.waiting)))
    if own.dropped:
        told.append(words.say("numbers.dropped", causes="; ".join(_text(library, tree, name) for name in own.dropped)))
    return told


def field_words(library: Library, tree: Tree) -> str:
    """Say how many visit records the shares of a tree rest on; empty where none found a cause."""
    found = sum(found_causes(library, tree).values())
    if not found:
        return ""
    words = words_of(library)
    strength = words.figure(prior_strength(library))
    return words.say("numbers.field", records=words.count("count.records", found), strength=strength)


def _causes(library: Library, tree: Tree, causes: Mapping[str, float]) -> list[Row]:
    """Return a line for each cause, and one for all rarer ones; links into one tree are one line."""
    words = words_of(library)
    shares: dict[str, float] = {}
    named: dict[str, list[str]] = {}
    for name, share in causes.items():
        text = _text(library, tree, name)
        shares[text] = shares.get(text, 0.0) + share
        named.setdefault(text, []).append(name)
    notes = _ranges(library, tree, named)
    ranked = sorted(shares, key=lambda text: -round(shares[text], 9))
    rows = [
        Row(text, f"#{named[text][0]}", words.percent(shares[text]), round(100 * shares[text]), notes.get(text, ""))
        for text in ranked[:MOST_ROWS]
    ]
    others = sum(shares[text] for text in ranked[MOST_ROWS:])
    if others:
        rows.append(Row(words.say("numbers.other_causes"), "", words.percent(others), round(100 * others)))
    return rows


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
    words = words_of(library)
    known = share_interval(counts, before, prior_strength(library) * sum(before))
    return {
        text: words.say(
            "numbers.range",
            low=words.percent(low),
            high=words.percent(high),
            times=words.count("count.times", number),
        )
        for text, number, (_, low, high) in zip(named, counts, known, strict=True)
    }


def _text(library: Library, tree: Tree, name: str) -> str:
    step = tree.steps[name]  # type: ignore[index]
    if step.kind == "link" and step.link:
        linked = library.trees.get(step.link.partition("/")[0])
        return words_of(library).say("numbers.goes_on_in", tree=linked.title) if linked else str(step.link)
    return plain(step.text) if step.text else name


def _swap(library: Library, graph: StepGraph, own: TreeNumbers, steps: Mapping[str, int]) -> str:
    words, found = words_of(library), best_swap(graph, library, own)
    if found is None:
        return words.say("numbers.no_swap")
    first, second = steps[found.first], steps[found.second]
    time = words.minutes(found.saves)
    return words.say("numbers.swap", first=first, second=second, time=time, answer=found.over)
