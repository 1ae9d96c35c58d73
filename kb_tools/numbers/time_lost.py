"""Where a tree's time goes, and which two neighbouring checks would better change places.

Swapping is the exchange argument of sequential testing: of two checks that each may end the
search, the one with more chance of that per minute goes first (for a series of tests see
L. G. Mitten, "An analytic solution to the least cost testing sequence problem", Journal of
Industrial Engineering 11:17, 1960).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from kb_tools.model.entities import Library
    from kb_tools.model.graph import Node, StepGraph
    from kb_tools.numbers.odds import TreeNumbers

_QUESTIONS = ("check", "measure")
_USUAL = 0.5
"""Of a screening question the usual answer is at least as likely as all others together."""
_LEAST_SAVED = 0.01
"""Minutes; less is not worth a word."""


@dataclass(frozen=True, slots=True)
class Spent:
    """A step and what it costs the average visit."""

    step: str
    minutes: float
    """Expected minutes a visit: the chance of passing it times its minutes, its proof included."""
    reach: float


@dataclass(frozen=True, slots=True)
class Swap:
    """Two neighbouring checks that would better change places."""

    first: str
    """The step that comes first now."""
    second: str
    over: str
    """The answer to `second` after which `first` would still be asked.

    Faults that `first` tells apart now must show this answer to `second`: the tree does not say
    so, its author must.
    """
    saves: float
    """Expected minutes a visit."""


def time_spent(graph: StepGraph, library: Library, numbers: TreeNumbers) -> list[Spent]:
    """Return the steps of a tree that cost time, the costliest first."""
    spent = []
    for name, own in numbers.steps.items():
        minutes = own.reach * _minutes(graph.nodes[f"{numbers.tree}/{name}"], library)
        if minutes > 0:
            spent.append(Spent(name, minutes, own.reach))
    return sorted(spent, key=lambda one: (-one.minutes, one.step))


def best_swap(graph: StepGraph, library: Library, numbers: TreeNumbers) -> Swap | None:
    """Return the swap of two neighbouring checks that saves most, or None where none saves.

    Both are screening questions: most answers go on, the others tell something apart. The second is
    come to from the first alone; neither touches a hazard, shows a caution or gives advice to stop
    use, and both may be done by the same people: a swap changes nothing about safety.

    The first takes t1 minutes and goes on to the second with chance p, the second takes t2 and goes
    on with chance q. Swapped, the second comes always and the first with chance 1 - p (1 - q),
    since faults that the first tells apart now would show the second's usual answer. That saves
    t1 p (1 - q) - t2 (1 - p) minutes each time.
    """
    nodes = {name: graph.nodes[f"{numbers.tree}/{name}"] for name in numbers.steps}
    found = []
    for node in nodes.values():
        for target in dict.fromkeys(way.target for way in node.ways if way.target):
            second = graph.nodes[target]
            # The graph is that of the whole library: a link from another tree would be among them.
            alone = list(graph.digraph.predecessors(target)) == [node.key]
            if alone and second.step.who == node.step.who and _is_harmless(node) and _is_harmless(second):
                found += _swaps(node, second, library, numbers)
    return min(found, key=lambda one: (-one.saves, one.first, one.second), default=None)


def _swaps(first: Node, second: Node, library: Library, numbers: TreeNumbers) -> list[Swap]:
    """Return the swap of two checks, if it saves anything."""
    own = numbers.steps[first.name]
    on = sum(odds for way, odds in zip(first.ways, own.odds, strict=True) if way.target == second.key)
    ways = zip(second.ways, numbers.steps[second.name].odds, strict=True)
    stays, over = max(((odds, way) for way, odds in ways), key=lambda pair: pair[0])
    if not (_USUAL <= on < 1 and _USUAL <= stays < 1):
        return []
    each = _minutes(first, library) * on * (1 - stays) - _minutes(second, library) * (1 - on)
    saves = own.reach * each
    return [Swap(str(first.name), str(second.name), str(over.label), saves)] if saves >= _LEAST_SAVED else []


def _is_harmless(node: Node) -> bool:
    """Tell whether a step is a question that has nothing to do with safety."""
    step = node.step
    touched = (*step.exposes, *step.works_live, *step.needs, *step.cautions)
    touched += tuple(hazard for way in node.ways for hazard in (*way.isolates, *way.confirms, *way.restores))
    return step.kind in _QUESTIONS and not touched and not any(way.stop_use for way in node.ways)


def _minutes(node: Node, library: Library) -> float:
    proof = library.proofs.get(node.step.proof) if node.step.proof else None
    return node.step.minutes + (proof.minutes if proof else 0.0)
