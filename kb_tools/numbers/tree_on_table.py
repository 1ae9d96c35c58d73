"""What a tree costs on the evidence table that judges it: minutes of checks, every cause played through the tree.

The cost is that of `order_problem`: minutes of checks alone, with isolation and putting back once a
stay; mending, proofs and waiting are left out. A check of the table, known in the tree by its id or
by its words, is answered by what the cause shows, each of several answers equally likely. A check
that the table lacks is answered by a way on which the cause can still come to its own fix; where
there are several, or none, by the tree's odds. Its minutes count too, and are told apart. A play
stops at the cause's own fix, or at another end. The fix of another cause does not cure: the play
goes on.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from kb_tools.model.graph import UNINFORMED
from kb_tools.model.table_play import own_fixes
from kb_tools.model.tables import shown_by
from kb_tools.model.values import folded

if TYPE_CHECKING:
    from collections.abc import Mapping

    from kb_tools.model.entities import Library, Step, Table, Tree
    from kb_tools.model.graph import Node, StepGraph, Way
    from kb_tools.model.tables import Shown
    from kb_tools.model.values import Word
    from kb_tools.numbers.odds import TreeNumbers
    from kb_tools.numbers.order_problem import Problem

_LEAST = 1e-9
"""Chances below are rounding."""
_QUESTIONS = ("check", "measure")


@dataclass(slots=True)
class Elsewhere:
    """An end of a cause's play that is not its own fix."""

    end: str
    """The step, as `tree/step`."""
    chance: float
    """Chance that a visit with this cause ends there."""
    path: tuple[str, ...]
    """A way there, as `tree/step`."""


@dataclass(slots=True)
class Played:
    """What playing one cause through the tree came to."""

    cause: str
    minutes: float = 0.0
    """Expected minutes of checks."""
    beside: float = 0.0
    """Minutes among these of checks that the table lacks."""
    home: float = 0.0
    """Chance that it ends at its own fix; 0 for a cause without one."""
    has_fix: bool = False
    elsewhere: list[Elsewhere] = field(default_factory=list)


@dataclass(slots=True)
class TreeOnTable:
    """What a tree costs on its table."""

    causes: list[Played]
    minutes: float
    """Expected minutes of checks over all causes."""
    beside: float
    """Minutes among these of checks that the table lacks."""


def tree_on_table(
    table: Table, problem: Problem, library: Library, graph: StepGraph, numbers: Mapping[str, TreeNumbers]
) -> TreeOnTable | None:
    """Play every cause of a table through the tree that it judges.

    Args:
        table: A table that names a tree of the library.
        problem: What `problem_of` makes of it.
        library: The library.
        graph: Its graph, without loops.
        numbers: Tree -> its numbers, of the table's tree and of all that links lead to from it.

    Returns:
        None where the table names no tree.

    """
    tree = library.trees.get(table.tree) if table.tree else None
    if tree is None or graph.order is None:
        return None
    shown = shown_by(table, library.doubts)
    own = own_fixes(table, tree, graph, library)
    stays = {hazard: _stay(library, hazard) for hazard in library.hazards}
    asked = {folded(row.check or row.measure or ""): str(name) for name, row in table.checks.items()}
    plays = [_Player(cause, shown, own, tree, graph, numbers, stays, asked).run() for cause in table.causes]
    return TreeOnTable(
        plays,
        sum(weight * one.minutes for weight, one in zip(problem.weights, plays, strict=True)),
        sum(weight * one.beside for weight, one in zip(problem.weights, plays, strict=True)),
    )


def _stay(library: Library, name: str) -> float:
    hazard = library.hazards[name]  # type: ignore[index]
    return sum(time.minutes for time in (hazard.isolate_takes, hazard.restore_takes) if time)


@dataclass
class _Player:
    """One cause on its way through the tree."""

    cause: Word
    shown: Shown
    own: Mapping[Word, frozenset[str]]
    tree: Tree
    graph: StepGraph
    numbers: Mapping[str, TreeNumbers]
    stays: Mapping[Word, float]
    asked: Mapping[str, str]
    """Words of a check of the table -> the check."""

    def run(self) -> Played:
        """Play it, in the order of the graph, over pairs of a step and what is isolated."""
        homes = self.own.get(self.cause, frozenset())
        result = Played(str(self.cause), has_fix=bool(homes))
        order = self.graph.order or []
        self.leads_home = self._leading_home(order, homes)
        here: dict[str, dict[frozenset[str], float]] = defaultdict(lambda: defaultdict(float))
        here[f"{self.tree.id}/{self.tree.start}"][frozenset()] = 1.0
        ends: dict[str, float] = {}
        before: dict[str, str] = {}
        for key in order:
            for isolated, chance in here.pop(key, {}).items():
                node = self.graph.nodes[key]
                if key in homes:
                    result.home += chance
                    continue
                cost, after = self._ask(node.step, isolated)
                result.minutes += chance * cost
                if self._check(node) is None:
                    result.beside += chance * cost
                ways = self._ways(node)
                for way, odds in ways:
                    here[str(way.target)][after] += chance * odds
                    before.setdefault(str(way.target), key)
                if not ways:
                    ends[key] = ends.get(key, 0.0) + chance
        if homes:
            strays = sorted(((end, chance) for end, chance in ends.items() if chance > _LEAST), key=_likelier)
            result.elsewhere = [Elsewhere(end, chance, _path(before, end)) for end, chance in strays]
        return result

    def _ask(self, step: Step, isolated: frozenset[str]) -> tuple[float, frozenset[str]]:
        """Return what a step costs and what is isolated after it, as an order of checks counts it."""
        if step.kind not in _QUESTIONS:
            return 0.0, isolated
        exposed = frozenset(map(str, step.exposes))
        cost = step.minutes + sum(self.stays.get(hazard, 0.0) for hazard in exposed - isolated)  # type: ignore[call-overload]
        return cost, (isolated | exposed) - frozenset(map(str, (*step.needs, *step.works_live)))

    def _check(self, node: Node) -> str | None:
        """Return the check of the table that a step is."""
        if node.step.kind not in _QUESTIONS:
            return None
        if node.tree is self.tree and node.name in self.shown.outcomes:
            return str(node.name)
        return self.asked.get(folded(node.step.text or ""))

    def _answers(self, node: Node) -> frozenset[str] | None:
        """Return what the cause shows at a check of the table; None elsewhere."""
        return self.shown.cells.get((str(self.cause), self._check(node) or ""))

    def _told(self, node: Node) -> list[Way]:
        """Return the ways that the cause may take at a step."""
        ways = [way for way in node.ways if way.target and way.kind not in UNINFORMED]
        answers = self._answers(node)
        if answers is None:
            return ways
        return [way for way in ways if folded(way.label) in answers]

    def _leading_home(self, order: list[str], homes: frozenset[str]) -> set[str]:
        """Return the steps from which the cause can come to its own fix."""
        found = set(homes)
        for key in reversed(order):
            if any(way.target in found for way in self._told(self.graph.nodes[key])):
                found.add(key)
        return found

    def _ways(self, node: Node) -> list[tuple[Way, float]]:
        """Return the ways that are taken at a step, with their odds."""
        ways = self._told(node)
        if self._answers(node) is None:
            ways = [way for way in ways if way.target in self.leads_home] or ways
            given = dict(zip(map(id, node.ways), self.numbers[node.tree.id].steps[str(node.name)].odds, strict=True))
            weights = [given[id(way)] for way in ways]
        else:
            weights = [1.0] * len(ways)
        total = sum(weights)
        if not total:
            weights, total = [1.0] * len(ways), float(len(ways))
        return [(way, weight / total) for way, weight in zip(ways, weights, strict=True)]


def _likelier(one: tuple[str, float]) -> tuple[float, str]:
    return -one[1], one[0]


def _path(before: Mapping[str, str], end: str) -> tuple[str, ...]:
    """Return a way on which a play came to an end."""
    path = [end]
    while path[-1] in before:
        path.append(before[path[-1]])
    return tuple(reversed(path))
