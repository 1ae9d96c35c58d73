"""What to take along to a visit: the chance that each spare and tool is needed, and what a set is worth.

A visit starts at a tree's symptom, follows the odds and goes on through links. An item is needed
when a step that names it is passed. A visit that comes to a step whose spare or tool was left
behind does not end cured.

A fault that its own fix did not cure goes on differently from one that was not met yet, so each
step is counted twice, once for either; that makes the chances exact (a Markov chain over pairs of
a step and whether the cause was met). What a visit needs to end cured is kept as sets of items with
the chance of each: a set of items at hand cures what needs no others.

The browser's twin, for the visits of a day, is `view_visits.js`; `tests/in_step` holds the two together.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, TypeAlias

from kb_tools.numbers.odds import cures_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from kb_tools.model.entities import Step
    from kb_tools.model.graph import Node, StepGraph
    from kb_tools.numbers.odds import TreeNumbers

ENOUGH = 0.9
"""The smallest set reaches this chance of a cure, or this part of what all items together reach, where that is less."""
_MOST_TRIALS = 500
"""Sets that are tried before the smallest one found so far is taken."""
_MOST_SETS = 400
"""Sets of needed items that are told apart at a step; the rarest beyond are taken as one that needs all theirs."""
_LEAST_SHOWN = 5e-4
"""Chances that figures are off by at most, without a word: a tenth of what a whole percent is rounded by."""
_ROUNDING = 1e-12
_TYING = 1e9
"""Chances that agree to nine digits are a tie."""


@dataclass(frozen=True, slots=True, order=True)
class Item:
    """A spare or a tool."""

    id: str
    is_tool: bool


@dataclass(frozen=True, slots=True)
class Taken:
    """An item on the list of what to take along."""

    item: Item
    chance: float
    """Chance that it is needed; for several visits, that at least one needs it."""
    cured_with_first: float
    """Chance that the visit ends cured with this item and those before it; for several visits, the mean."""


@dataclass(frozen=True, slots=True)
class Packing:
    """What to take along."""

    items: tuple[Taken, ...]
    """Likeliest needed first."""
    cured_without: float
    """Chance that the visit ends cured with nothing taken along."""
    smallest: tuple[Item, ...]
    """The fewest items that are `ENOUGH`, in the order of the list."""
    is_smallest: bool
    """Whether no smaller set was left untried."""
    cured_with_smallest: float
    is_enough: bool
    """Whether all items together cure `ENOUGH` visits; otherwise the smallest set cures that part of what they do."""
    at_least: bool
    """Whether cures are only known to be at least as likely as said: too many sets of items to tell apart."""

    @property
    def cured_with_all(self) -> float:
        """Chance that the visit ends cured with everything taken along."""
        return self.items[-1].cured_with_first if self.items else self.cured_without


Cures: TypeAlias = "list[tuple[float, frozenset[Item]]]"
"""Sets of items that a visit needs to end cured, each with its chance; likelier sets first."""


Sets: TypeAlias = "list[tuple[float, frozenset[int]]]"
"""The same with each item as its place on the list of what to take along."""


class Visits:
    """What visits to a library's symptoms need; each symptom is worked out once."""

    def __init__(self, graph: StepGraph, numbers: Mapping[str, TreeNumbers]) -> None:
        """Take the library.

        Args:
            graph: The library's graph.
            numbers: Tree -> its numbers, of each symptom's tree and of all that links lead to from it.

        """
        self._graph, self.numbers = graph, numbers
        self._known: dict[str, Visit] = {}
        self._packed: dict[tuple[str, ...], Packing] = {}

    def to(self, symptom: str) -> Visit:
        """Return the visit to a symptom, named by its tree's id."""
        if symptom not in self._known:
            self._known[symptom] = Visit(self._graph, self.numbers, symptom)
        return self._known[symptom]

    def packing(self, symptoms: Sequence[str]) -> Packing:
        """Return what to take along; see `take_along`."""
        key = tuple(symptoms)
        if key not in self._packed:
            self._packed[key] = packed([self.to(symptom) for symptom in symptoms])
        return self._packed[key]


def take_along(graph: StepGraph, numbers: Mapping[str, TreeNumbers], symptoms: Sequence[str]) -> Packing:
    """Return what to take along to visits for some symptoms; the visits are independent of each other.

    Args:
        graph: The library's graph.
        numbers: Tree -> its numbers, of each symptom's tree and of all that links lead to from it.
        symptoms: A tree's id for each visit; the same one may come twice.

    """
    return Visits(graph, numbers).packing(symptoms)


def packed(visits: Sequence[Visit]) -> Packing:
    """Return what to take along to some visits.

    The chance that an item is needed at all is 1 less the chance that no visit needs it; a set's worth
    is the mean chance of a cure.
    """
    used = set[Item]().union(*(visit.needs for visit in visits))
    chances = {item: _any(visit.needs.get(item, 0.0) for visit in visits) for item in used}
    ranked = sorted(used, key=lambda item: (-round(chances[item] * _TYING), item.is_tool, item.id))
    cures = [(chance / len(visits), items) for visit in visits for chance, items in visit.cures]
    place = {item: at for at, item in enumerate(ranked)}
    # Numbers are looked up much faster than items, and the search looks up millions.
    sets = [(chance, frozenset(place[item] for item in items)) for chance, items in cures]
    worth = [0.0] * (len(ranked) + 1)
    for chance, places in sets:
        worth[max(places, default=-1) + 1] += chance
    for at in range(len(ranked)):
        worth[at + 1] += worth[at]
    taken = tuple(Taken(item, chances[item], value) for item, value in zip(ranked, worth[1:], strict=True))
    # Rounding must not decide.
    is_enough = worth[-1] >= ENOUGH - _ROUNDING
    target = ENOUGH if is_enough else ENOUGH * worth[-1]
    search = _Smallest(worth[-1] - target + _ROUNDING)
    search.leave(sets, range(len(ranked))[::-1], [], 0.0)
    smallest = [item for item in ranked if place[item] not in search.best]
    return Packing(
        taken,
        worth[0],
        tuple(smallest),
        search.tried <= _MOST_TRIALS,
        sum(chance for chance, items in cures if items.issubset(smallest)),
        is_enough,
        any(visit.at_least for visit in visits),
    )


def items_of(step: Step) -> list[Item]:
    """Return the spares and tools that a step names."""
    spares = [Item(str(name), is_tool=False) for name in step.spares]
    return spares + [Item(str(name), is_tool=True) for name in step.tools]


def _any(chances: Iterable[float]) -> float:
    """Return the chance that at least one of independent things happens."""
    none = 1.0
    for chance in chances:
        none *= 1 - chance
    return 1 - none


class _Smallest:
    """Looks for the most items that can stay at home, by branch and bound; items are numbers here.

    Lost is the chance of the sets that name an item left at home. Each set still alive is split evenly
    over those of its items that may yet stay at home; any choice of these loses at least the sum of
    its parts, which bounds how many more can stay.
    """

    def __init__(self, budget: float) -> None:
        """Take the chance that may be lost."""
        self.budget = budget
        self.best: list[int] = []
        self.tried = 0

    def leave(self, alive: Sets, left: Sequence[int], away: list[int], lost: float) -> None:
        """Try to leave more items at home.

        Args:
            alive: The sets of which no item was left at home.
            left: Items that may stay at home too, those needed least first.
            away: Items that were left at home.
            lost: The chance of the sets that name one of these.

        """
        self.tried += 1
        if self.tried > _MOST_TRIALS:
            return
        if len(away) > len(self.best):
            self.best = away
        room = self.budget - lost
        losses = {item: sum(chance for chance, items in alive if item in items) for item in left}
        open_ = [item for item in left if losses[item] <= room]
        if len(away) + self._most(alive, open_, room) <= len(self.best):
            return
        open_.sort(key=lambda item: round(losses[item] * _TYING))
        for at, item in enumerate(open_):
            if len(away) + len(open_) - at <= len(self.best):
                return
            rest = [(chance, items) for chance, items in alive if item not in items]
            self.leave(rest, open_[at + 1 :], [*away, item], lost + losses[item])

    @staticmethod
    def _most(alive: Sets, open_: Sequence[int], room: float) -> int:
        """Return a number of items that no choice can exceed."""
        parts = dict.fromkeys(open_, 0.0)
        for chance, items in alive:
            free = [item for item in open_ if item in items]
            for item in free:
                parts[item] += chance / len(free)
        total, number = 0.0, 0
        for part in sorted(parts.values()):
            total += part
            if total > room + _ROUNDING:
                break
            number += 1
        return number


class Visit:
    """A visit as a chain of states: a step, and whether the cause was met there or before.

    A state's value is its gain plus the weighted values of the states that follow, which all come
    before it in the list.
    """

    def __init__(self, graph: StepGraph, numbers: Mapping[str, TreeNumbers], tree: str) -> None:
        """Lay out the visit to a tree's symptom; see `Visits`."""
        start = f"{tree}/{numbers[tree].start}"
        self.items: list[frozenset[Item]] = []
        self.gains: list[float] = []
        self.onward: list[list[tuple[int, float]]] = []
        places: dict[str, int] = {}
        for node in _ordered(graph, start):
            own = numbers[node.tree.id].steps[node.name]
            ways = [(way.target, odds) for way, odds in zip(node.ways, own.odds, strict=True) if way.target]
            targets = [(places[target], odds) for target, odds in ways]
            places[node.key] = len(self.items)
            self.items += [frozenset(items_of(node.step))] * 2
            unmet, met = (
                [(place, odds) for place, odds in targets if odds],
                [(place + 1, odds) for place, odds in targets if odds],
            )
            gain = 0.0
            if node.step.kind == "fix":
                gain = own.stop * cures_of(node.step)
                unmet = [(place, own.own_onward) for place, _ in targets]
                unmet += [(place + 1, own.stop - gain) for place, _ in targets]
                met = [(place + 1, 1.0) for place, _ in targets]
            elif node.step.kind == "link":
                # Coming into the middle of a tree, one is as far as others who pass there.
                parts = [_unmet(numbers, target) for target, _ in ways]
                unmet = [(place, part) for (place, _), part in zip(targets, parts, strict=True)]
                unmet += [(place + 1, 1 - part) for (place, _), part in zip(targets, parts, strict=True)]
            self.gains += [gain, 0.0]
            self.onward += [unmet, met]

    @cached_property
    def needs(self) -> dict[Item, float]:
        """Item -> the chance that a step is passed that names it; items that no visit needs are left out."""
        used = sorted({item for items in self.items for item in items})
        chances = {item: self._needed(item) for item in used}
        return {item: chance for item, chance in chances.items() if chance > 0}

    def _needed(self, item: Item) -> float:
        values: list[float] = []
        for items, onward in zip(self.items, self.onward, strict=True):
            values.append(1.0 if item in items else sum(part * values[place] for place, part in onward))
        return values[-2]

    @cached_property
    def cures(self) -> Cures:
        """Sets of items that a visit needs to end cured, with their chances."""
        return self._sets[0]

    @property
    def rare(self) -> float:
        """The chance of a cure of the rarest sets, which were taken together; 0 where all were told apart."""
        return self._sets[1]

    @property
    def at_least(self) -> bool:
        """Whether that chance would show, so that cures are only known to be at least what they say."""
        return self.rare > _LEAST_SHOWN

    @cached_property
    def _sets(self) -> tuple[Cures, float]:
        """The sets, and the chance of a cure of those that were taken together."""
        values: list[dict[frozenset[Item], float]] = []
        together: list[float] = []
        for items, gain, onward in zip(self.items, self.gains, self.onward, strict=True):
            found: dict[frozenset[Item], float] = {items: gain} if gain else {}
            for place, part in onward:
                if not part:
                    continue
                for needed, chance in values[place].items():
                    key = needed | items
                    found[key] = found.get(key, 0.0) + part * chance
            loose = sum(part * together[place] for place, part in onward)
            if len(found) > _MOST_SETS:
                found, rare = _fewer(found)
                loose += rare
            values.append(found)
            together.append(loose)
        return [(chance, items) for items, chance in _by_chance(values[-2])], together[-2]


def _by_chance(sets: Mapping[frozenset[Item], float]) -> list[tuple[frozenset[Item], float]]:
    """Return sets with their chances, likelier first, ties by their items."""
    return sorted(sets.items(), key=lambda one: (-round(one[1] * _TYING), sorted(one[0])))


def _fewer(sets: Mapping[frozenset[Item], float]) -> tuple[dict[frozenset[Item], float], float]:
    """Take the rarest sets together as one that needs all their items; return also the chance of that one.

    Cures are then told too rare, not too likely.
    """
    ordered = _by_chance(sets)
    kept = dict(ordered[: _MOST_SETS - 1])
    rest = ordered[_MOST_SETS - 1 :]
    all_items = frozenset[Item]().union(*(items for items, _ in rest))
    rare = sum(chance for _, chance in rest)
    kept[all_items] = kept.get(all_items, 0.0) + rare
    return kept, rare


def _unmet(numbers: Mapping[str, TreeNumbers], key: str) -> float:
    tree, _, name = key.partition("/")
    return numbers[tree].steps[name].unmet


def _ordered(graph: StepGraph, start: str) -> list[Node]:
    """Return the steps that can be passed from a start on, each after all that it leads to."""
    order: list[Node] = []
    seen = {start}
    stack = [(graph.nodes[start], iter(graph.nodes[start].ways))]
    while stack:
        node, ways = stack[-1]
        target = next((way.target for way in ways if way.target and way.target not in seen), None)
        if target is None:
            stack.pop()
            order.append(node)
        else:
            seen.add(target)
            stack.append((graph.nodes[target], iter(graph.nodes[target].ways)))
    return order
