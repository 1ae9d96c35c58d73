"""What is surely isolated, and what may be isolated, before each step, over every path.

Per hazard a path is in one of three states: present (0), isolated (1), isolated and confirmed
(2). `isolates` lifts 0 to 1, `confirms` lifts 1 to 2, `restores` drops to 0: monotone functions
on a chain, for which taking the least over joining paths before or after a step gives the same
(the analysis is distributive), so the fixed point is exact over all paths and no path is listed.
See G. Kildall, "A unified approach to global program optimization", POPL 1973.

States of all hazards are kept as bit sets: one pass in topological order, linear in the graph.

An id that names no hazard, and a shared body that cannot be found, could do anything. Each is a
finding of its own; here it gets the benefit of the doubt, so that nothing is reported that only
follows from it.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

import networkx as nx

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from kb_tools.model.entities import Library, Step
    from kb_tools.model.graph import StepGraph, Way
    from kb_tools.model.values import Word

PRESENT, ISOLATED, CONFIRMED = 0, 1, 2


@dataclass(slots=True)
class State:
    """Hazards before a step, as bit sets over `Isolation.bits`."""

    surely: int
    """Isolated on every path."""
    confirmed: int
    """Isolated and confirmed on every path."""
    maybe: int
    """Isolated on at least one path."""


class Effects(NamedTuple):
    """What a way, or an end, does to the hazards: bit sets over `Isolation.bits`.

    The first three serve the proof that a hazard is isolated on every path, the others the proof
    that it is isolated on none; they differ only where an id names no hazard.
    """

    isolates: int
    confirms: int
    restores: int
    may_isolate: int
    may_restore: int


_Visit = tuple[str, int]
"""A step and the state of one hazard on entering it."""


@dataclass(slots=True)
class Isolation:
    """The result of the analysis; steps that no tree's start reaches are absent."""

    graph: StepGraph
    bits: dict[str, int]
    """Hazard id -> its bit."""
    before: dict[str, State] = field(default_factory=dict)
    """`tree/step` -> what holds on entering it."""
    _visits: dict[tuple[str, bool], dict[_Visit, tuple[int, _Visit | None]]] = field(default_factory=dict, repr=False)
    """Per hazard and proof: each visit that some path makes -> its distance, and the visit before."""

    def mask(self, hazards: Iterable[str]) -> int:
        """Return the bit set of the known ones among `hazards`."""
        bits = self.bits
        return sum({bits[hazard] for hazard in hazards if hazard in bits})

    def names(self, mask: int) -> list[str]:
        """Return the hazards of a bit set, in the order they are declared."""
        return [hazard for hazard, bit in self.bits.items() if mask & bit]

    def effects(self, item: Way | Step) -> Effects:
        """Return what a way, or an end itself, does to the hazards."""
        isolates, confirms, restores = item.isolates, item.confirms, item.restores
        known_isolates, known_restores = self.mask(isolates), self.mask(restores)
        return Effects(
            self._in_favour(isolates, known_isolates, doubt=item.in_doubt),
            self._in_favour(confirms, self.mask(confirms), doubt=item.in_doubt),
            known_restores,
            known_isolates,
            self._in_favour(restores, known_restores, doubt=item.in_doubt),
        )

    def _in_favour(self, hazards: tuple[Word, ...], known: int, *, doubt: bool) -> int:
        """Return `known`, or every hazard when an id among `hazards` could mean any."""
        if doubt or any(hazard not in self.bits for hazard in hazards):
            return (1 << len(self.bits)) - 1
        return known

    def surely_isolated(self, step: str, hazard: str, *, confirmed: bool) -> bool:
        """Tell whether `hazard` is isolated (and confirmed) before `step` on every path."""
        state = self.before[step]
        return bool((state.confirmed if confirmed else state.surely) & self.bits[hazard])

    def maybe_isolated(self, step: str, hazard: str) -> bool:
        """Tell whether `hazard` is isolated before `step` on some path."""
        return bool(self.before[step].maybe & self.bits[hazard])

    def maybe_after(self, step: str) -> int:
        """Return the bit set of what may be isolated once an end's own effects have happened.

        For a fix this is the state in which its proof is made, for every end the state in which
        the chair is left.
        """
        effects = self.effects(self.graph.nodes[step].step)
        return (self.before[step].maybe | effects.may_isolate) & ~effects.may_restore

    def path_exposed(self, step: str, hazard: str, *, confirmed: bool) -> tuple[str, ...]:
        """Return a shortest path from a start to `step` where `hazard` is not isolated (and confirmed).

        Empty when there is none.
        """
        least = CONFIRMED if confirmed else ISOLATED
        return self._shortest(step, hazard, lambda level: level < least, every=True)

    def path_isolated(self, step: str, hazard: str) -> tuple[str, ...]:
        """Return a shortest path from a start to `step` where `hazard` is isolated, or an empty one."""
        return self._shortest(step, hazard, lambda level: level >= ISOLATED, every=False)

    def path_left(self, step: str, hazard: str) -> tuple[str, ...]:
        """Return a shortest path after which an end leaves `hazard` isolated; see `maybe_after`."""
        if self.effects(self.graph.nodes[step].step).may_isolate & self.bits[hazard]:
            return self.path_to(step)
        return self.path_isolated(step, hazard)

    def path_to(self, step: str) -> tuple[str, ...]:
        """Return a shortest path from a start to `step`, or an empty one."""
        return self._shortest(step, "", lambda _: True, every=True)

    def _shortest(self, goal: str, hazard: str, wanted: Callable[[int], bool], *, every: bool) -> tuple[str, ...]:
        """Follow the visits back from the nearest wanted one at `goal`."""
        visits = self._visits.get((hazard, every))
        if visits is None:
            visits = self._visits[hazard, every] = self._search(hazard, every=every)
        ends = [(goal, level) for level in (PRESENT, ISOLATED, CONFIRMED) if wanted(level)]
        found = [end for end in ends if end in visits]
        path: list[str] = []
        visit = min(found, key=lambda end: visits[end][0], default=None)
        while visit is not None:
            path.append(visit[0])
            visit = visits[visit][1]
        return tuple(reversed(path))

    def _search(self, hazard: str, *, every: bool) -> dict[_Visit, tuple[int, _Visit | None]]:
        """Search breadth first from all starts over pairs of a step and the state of `hazard`."""
        nodes, bit = self.graph.nodes, self.bits.get(hazard, 0)
        visits: dict[_Visit, tuple[int, _Visit | None]] = {(start, PRESENT): (0, None) for start in self.graph.starts}
        queue = deque(visits)
        while queue:
            here = queue.popleft()
            step, level = here
            distance = visits[here][0] + 1
            for way in nodes[step].ways:
                if way.target is None:
                    continue
                following = (way.target, self._after(way, bit, level, every=every))
                if following not in visits:
                    visits[following] = (distance, here)
                    queue.append(following)
        return visits

    def _after(self, way: Way, bit: int, level: int, *, every: bool) -> int:
        """Return the state of one hazard after a way, from its state before it."""
        if not _does_something(way):
            return level
        effects = self.effects(way)
        if (effects.isolates if every else effects.may_isolate) & bit:
            level = max(level, ISOLATED)
        if effects.confirms & bit and level == ISOLATED:
            level = CONFIRMED
        if (effects.restores if every else effects.may_restore) & bit:
            level = PRESENT
        return level


def _does_something(way: Way) -> bool:
    return bool(way.isolates or way.confirms or way.restores or way.in_doubt)


def analyse(graph: StepGraph, library: Library) -> Isolation:
    """Work out what is isolated before each step, on every path and on some path.

    Every tree's start is entered with nothing isolated; links carry the state. A library with
    loops is worked to the fixed point, so that the findings of its other trees still appear.
    """
    bits = {str(hazard): 1 << number for number, hazard in enumerate(library.hazards)}
    isolation = Isolation(graph, bits)
    before = isolation.before
    for start in graph.starts:
        before[start] = State(0, 0, 0)
    order = graph.order
    if order is None:
        order = list(nx.dfs_postorder_nodes(graph.digraph))[::-1]
    changed = True
    while changed:
        changed = _pass(order, isolation)
        if graph.order is not None:
            break
    return isolation


def _pass(order: list[str], isolation: Isolation) -> bool:
    """Carry the states over every way once; return whether anything changed."""
    changed = False
    before, nodes = isolation.before, isolation.graph.nodes
    for key in order:
        state = before.get(key)
        if state is None:
            continue
        for way in nodes[key].ways:
            if way.target is None:
                continue
            surely, confirmed, maybe = state.surely, state.confirmed, state.maybe
            if way.isolates or way.confirms or way.restores or way.in_doubt:
                effects = isolation.effects(way)
                surely |= effects.isolates
                confirmed = (confirmed | (effects.confirms & surely)) & ~effects.restores
                surely &= ~effects.restores
                maybe = (maybe | effects.may_isolate) & ~effects.may_restore
            known = before.get(way.target)
            if known is None:
                before[way.target] = State(surely, confirmed, maybe)
                changed = True
                continue
            joined = (known.surely & surely, known.confirmed & confirmed, known.maybe | maybe)
            if joined != (known.surely, known.confirmed, known.maybe):
                known.surely, known.confirmed, known.maybe = joined
                changed = True
    return changed
