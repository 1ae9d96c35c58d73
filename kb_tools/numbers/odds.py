"""Odds and minutes of a tree, by linear dynamic programming over its graph.

The model: shares are weights of the causes (the tree's fixes, escalations, dones and links),
normalised; `shares` says where they come from. A cause's share is split evenly over its *plain*
paths, those from the start that use no `unsure` and no `cannot` way; parallel answers are separate
paths, and a path may lead over `not_cured` of wrong fixes. After its own fix a cause is cured with
`cures`; what is not cured goes over `not_cured` and on by the odds of each way, past every later
fix, whatever end it comes to.

With F(v) the number of plain paths from the start to v, s(c) = share(c) / F(c) and
A(v) = s(v) + the sum of A over the plain ways on, the odds of a way v -> w are A(w) / A(v), and
F(v) A(v) is the chance of passing v with a cause not yet met. No path is ever listed.

F grows exponentially with the number of steps, so F is a whole number and A a fixed-point one with
128 bits to spare; quotients of whole numbers are rounded once.

Checked against listing all paths with networkx (`tests/numbers/test_odds.py`).
"""

from __future__ import annotations

import sys
from collections import defaultdict
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING

import networkx as nx

from kb_tools.findings import LibraryError
from kb_tools.model.graph import UNINFORMED
from kb_tools.numbers.shares import weights_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from kb_tools.model.entities import Library, Step, Tree
    from kb_tools.model.graph import Node, StepGraph, Way

_SPARE_BITS = 128
"""Bits of A that the least likely path has left for its weight."""
_CHECKS = ("check", "measure")

Shares = dict[str, float]
"""Cause -> weight."""


@dataclass(slots=True)
class Ahead:
    """What lies ahead from a step on, the step itself included; linked trees are counted on."""

    minutes: float = 0.0
    """Expected minutes hands on, proofs included."""
    worst: float = 0.0
    """Minutes hands on along the longest way."""
    waiting: float = 0.0
    """Expected minutes that only pass."""
    checks: float = 0.0
    """Expected number of checks and measurements."""
    escalation: float = 0.0
    """Chance that it ends in an escalation."""
    cured: float = 0.0
    """Chance that it ends cured; a fault that its own fix did not cure counts as not cured."""


@dataclass(slots=True)
class StepNumbers:
    """The numbers of one step."""

    reach: float = 0.0
    """Chance that a visit that starts at the tree's symptom passes it."""
    own: float = 0.0
    """Of that, the chance that it comes with its cause still ahead; the rest comes over a fix that did not cure."""
    odds: tuple[float, ...] = ()
    """Odds of each way on, in the order of the ways; of `not_cured`: the chance that the fix does not cure."""
    mass: float = 0.0
    """A: the weight of one path that has come here, with its cause still ahead."""
    stop: float = 0.0
    """Chance that the cause is this step, on a path that has come here with its cause still ahead."""
    own_onward: float = 1.0
    """Of a fix: the chance that the cause lies behind it, on such a path; 1 where no cause is ahead."""
    cured: float = 0.0
    """Of a fix: the chance that it cures, when it is made."""
    ahead: Ahead = field(default_factory=Ahead)

    @property
    def unmet(self) -> float:
        """Chance that the cause is still ahead, of a visit that passes the step; 1 where none does."""
        return min(self.own / self.reach, 1.0) if self.reach else 1.0


@dataclass(slots=True)
class TreeNumbers:
    """The numbers of one tree."""

    tree: str
    start: str
    causes: Shares
    """Cause -> normalised share, in the order written; causes without a share are left out."""
    steps: dict[str, StepNumbers]
    """Step -> its numbers, every step before those it leads to."""
    dropped: tuple[str, ...] = ()
    """Causes with a share that no plain path reaches; the others are normalised without them."""

    @property
    def ahead(self) -> Ahead:
        """What lies ahead at the start."""
        return self.steps[self.start].ahead


def tree_numbers(
    graph: StepGraph, library: Library, tree_id: str, shares: Mapping[str, float] | None = None
) -> TreeNumbers:
    """Return the numbers of one tree; minutes go on through the trees that it links to.

    Args:
        graph: The library's graph.
        library: The library.
        tree_id: Which tree.
        shares: Cause -> weight, in place of the shares written in this tree; missing ones are 0.

    Raises:
        LibraryError: when the tree, or one that it links to, has no start or runs in a loop.

    """
    return tree_numbers_with_links(graph, library, tree_id, shares)[tree_id]


def tree_numbers_with_links(
    graph: StepGraph, library: Library, tree_id: str, shares: Mapping[str, float] | None = None
) -> dict[str, TreeNumbers]:
    """Return the numbers of a tree and of all that links lead to from it, as `tree_numbers` does."""
    wanted = _linked_trees(graph, library, tree_id)
    given = {} if shares is None else {tree_id: shares}
    return _numbers(graph, library, wanted, given)


def library_numbers(
    graph: StepGraph, library: Library, shares: Mapping[str, Mapping[str, float]] | None = None
) -> dict[str, TreeNumbers]:
    """Return the numbers of every tree that has a start, by its id.

    Args:
        graph: The library's graph.
        library: The library.
        shares: Tree -> cause -> weight, in place of the shares written in the trees.

    Raises:
        LibraryError: when the trees run in a loop.

    """
    wanted = [tree.id for tree in library.trees.values() if tree.start in tree.steps]
    return _numbers(graph, library, wanted, shares or {})


def causes_at(graph: StepGraph, numbers: TreeNumbers, step: str) -> Shares:
    """Return the causes still possible at a step, however it was come to, with their odds.

    A fix before the step stays possible with what it does not cure. Likeliest first, ties by id;
    empty where the step is only come to by ways that tell nothing and no share lies behind it.
    """
    steps, here = numbers.steps, numbers.steps[step]
    order = list(steps)
    met = _met(graph, numbers, step)
    # Chance of coming from a step to this one, uncured.
    arrives: dict[str, float] = {step: 1.0}
    found: dict[str, float] = defaultdict(float)
    for name in reversed(order[: order.index(step)]):
        node = graph.nodes[f"{numbers.tree}/{name}"]
        odds = (1.0,) * len(node.ways) if node.step.kind == "fix" else steps[name].odds
        chance = sum(part * arrives.get(_step_of(way), 0.0) for way, part in zip(node.ways, odds, strict=True))
        arrives[name] = chance
        if node.step.kind == "fix" and name in numbers.causes:
            found[name] += numbers.causes[name] * (1 - cures_of(node.step)) * chance
    # Where nothing arrives, the chances of those ahead stand alone.
    share = here.own or 1.0
    for name, part in met.items():
        found[name] += part * share
    total = sum(found.values())
    ranked = sorted(((name, part) for name, part in found.items() if part > 0), key=lambda item: (-item[1], item[0]))
    return {name: part / total for name, part in ranked}


def _met(graph: StepGraph, numbers: TreeNumbers, step: str) -> dict[str, float]:
    """Return the chances of the causes that lie ahead of a step, given that one of them is the cause."""
    steps = numbers.steps
    flow: dict[str, float] = defaultdict(float)
    found: dict[str, float] = {}
    if steps[step].mass:
        flow[step] = 1.0
    for name in list(steps)[list(steps).index(step) :]:
        here = flow.get(name, 0.0)
        if not here:
            continue
        node, own = graph.nodes[f"{numbers.tree}/{name}"], steps[name]
        if own.stop:
            found[name] = here * own.stop
        odds = (own.own_onward,) * len(node.ways) if node.step.kind == "fix" else own.odds
        for way, part in zip(node.ways, odds, strict=True):
            flow[_step_of(way)] += here * part
    return found


def _step_of(way: Way) -> str:
    """Return the step of the same tree that a way leads to; an empty text where it leads out."""
    return "" if way.kind == "link" or not way.target else way.target.partition("/")[2]


def cures_of(step: Step) -> float:
    """Return the chance that a fix cures the fault when this was the cause."""
    return 1.0 if step.cures is None else float(step.cures)


def _linked_trees(graph: StepGraph, library: Library, tree_id: str) -> list[str]:
    """Return a tree and all that links lead to from it."""
    found = {tree_id: None}
    for name in (queue := [tree_id]):
        tree = library.trees.get(name)
        if tree is None or tree.start not in tree.steps:
            raise LibraryError(f"The tree `{name}` has no start, so nothing can be counted in it.")
        for step in tree.steps:
            for way in graph.nodes[f"{name}/{step}"].ways:
                other = way.target.partition("/")[0] if way.target else name
                if other not in found:
                    found[other] = None
                    queue.append(other)
    return list(found)


def _order(graph: StepGraph, wanted: Iterable[str]) -> list[Node]:
    """Return the steps of the wanted trees, each before those it leads to."""
    trees = set(wanted)
    order = graph.order
    if order is None:
        keys = [key for key, node in graph.nodes.items() if node.tree.id in trees]
        try:
            order = list(nx.topological_sort(graph.digraph.subgraph(keys)))
        except nx.NetworkXUnfeasible:
            raise LibraryError("The trees run in a loop, so nothing can be counted in them.") from None
    return [graph.nodes[key] for key in order if graph.nodes[key].tree.id in trees]


def _numbers(
    graph: StepGraph, library: Library, wanted: Sequence[str], shares: Mapping[str, Mapping[str, float]]
) -> dict[str, TreeNumbers]:
    order = _order(graph, wanted)
    by_tree: dict[str, list[Node]] = {name: [] for name in wanted}
    for node in order:
        by_tree[node.tree.id].append(node)
    numbers = {
        name: _Counting(nodes, _weights(nodes[0].tree, library, shares.get(name))).numbers()
        for name, nodes in by_tree.items()
    }
    _look_ahead(order, numbers, library)
    return numbers


def _weights(tree: Tree, library: Library, given: Mapping[str, float] | None) -> dict[str, Fraction]:
    """Return the weights of a tree's causes, in the order written: those given, or what is known of them."""
    known = weights_of(tree, library)
    return known if given is None else {name: Fraction(given.get(name, 0)) for name in known}


class _Counting:
    """The odds of one tree."""

    def __init__(self, order: list[Node], weights: dict[str, Fraction]) -> None:
        self.order = order
        self.tree = order[0].tree
        self.paths = self._count_paths()
        self.dropped: tuple[str, ...] = ()
        self.shares = self._share_out(weights)
        most = max(self.paths.values())
        self.one = 1 << (most.bit_length() + _SPARE_BITS)
        """What stands for a weight of 1."""
        self.own = {name: self._own(name) for name in self.shares}
        self.mass = self._masses()

    def _count_paths(self) -> dict[str, int]:
        """Return F."""
        paths = dict.fromkeys((str(node.name) for node in self.order), 0)
        paths[str(self.tree.start)] = 1
        for node in self.order:
            for way in node.ways:
                if way.kind not in UNINFORMED and (target := _step_of(way)):
                    paths[target] += paths[node.name]
        return paths

    def _share_out(self, weights: dict[str, Fraction]) -> dict[str, Fraction]:
        """Return the normalised shares, in the order written."""
        reached = {name: weight for name, weight in weights.items() if self.paths[name]}
        self.dropped = tuple(name for name, weight in weights.items() if weight and name not in reached)
        if not any(reached.values()):
            reached = dict.fromkeys(reached, Fraction(1))
        total = sum(reached.values())
        return {name: weight / total for name, weight in reached.items() if weight}

    def _own(self, name: str) -> int:
        """Return s of a cause."""
        share = self.shares[name]
        return share.numerator * self.one // (share.denominator * self.paths[name])

    def _masses(self) -> dict[str, int]:
        """Return A."""
        mass: dict[str, int] = {"": 0}
        for node in reversed(self.order):
            onward = sum(mass[_step_of(way)] for way in node.ways if way.kind not in UNINFORMED)
            mass[str(node.name)] = self.own.get(node.name, 0) + onward
        return mass

    def numbers(self) -> TreeNumbers:
        """Return the tree's numbers, without what lies ahead."""
        uncured: dict[str, float] = defaultdict(float)
        steps: dict[str, StepNumbers] = {}
        for node in self.order:
            name = str(node.name)
            steps[name] = self._step(node, uncured)
        causes = {name: float(share) for name, share in self.shares.items()}
        return TreeNumbers(self.tree.id, str(self.tree.start), causes, steps, self.dropped)

    def _step(self, node: Node, uncured: dict[str, float]) -> StepNumbers:
        """Return the numbers of a step, and send on what arrives there uncured."""
        name = str(node.name)
        mass, arrives = self.mass[name], uncured[name]
        own = self.paths[name] * mass / self.one
        numbers = StepNumbers(
            reach=own + arrives,
            own=own,
            # However small, not nothing: nothing means that no cause lies ahead.
            mass=max(mass / self.one, sys.float_info.min) if mass else 0.0,
            stop=self.own.get(name, 0) / mass if mass else 0.0,
        )
        if node.step.kind == "fix":
            share, cures = float(self.shares.get(name, 0)), cures_of(node.step)
            numbers.cured = min(share * cures / numbers.reach, 1.0) if numbers.reach else 0.0
            numbers.odds = (1 - numbers.cured,) * len(node.ways)
            targets = [_step_of(way) for way in node.ways]
            numbers.own_onward = sum(self.mass[target] for target in targets) / mass if mass else 1.0
            for target in targets:
                uncured[target] += share * (1 - cures) + arrives
        else:
            numbers.odds = self._odds(node)
            for way, part in zip(node.ways, numbers.odds, strict=True):
                uncured[_step_of(way)] += arrives * part
        return numbers

    def _odds(self, node: Node) -> tuple[float, ...]:
        """Return the odds of the ways on from a step that is no fix."""
        ways = node.ways
        plain = [way.kind not in UNINFORMED for way in ways]
        if node.step.kind == "link":
            return (1.0,) * len(ways)
        mass = self.mass[str(node.name)]
        if mass:
            onward = (self.mass[_step_of(way)] if told else 0 for way, told in zip(ways, plain, strict=True))
            return tuple(weight / mass for weight in onward)
        even = sum(plain) or len(ways)
        return tuple(1 / even if told or not any(plain) else 0.0 for told in plain)


def _look_ahead(order: list[Node], numbers: dict[str, TreeNumbers], library: Library) -> None:
    """Add up what lies ahead of each step, the last steps first.

    A fault that its own fix did not cure passes every later fix uncured, so what lies ahead of a step
    depends on whether the cause was met. Each is added up apart; a step's figure is their mean over
    the visits that pass it.
    """
    unmet: dict[str, Ahead] = {}
    met: dict[str, Ahead] = {}
    for node in reversed(order):
        step, own = node.step, numbers[node.tree.id].steps[node.name]
        proof = library.proofs.get(step.proof) if step.proof else None
        minutes = step.minutes + (proof.minutes if proof else 0.0)
        before, after = (
            Ahead(
                minutes=minutes,
                waiting=step.wait.minutes if step.wait else 0.0,
                checks=float(step.kind in _CHECKS),
                escalation=float(step.kind == "escalate"),
            )
            for _ in range(2)
        )
        worst = 0.0
        for way, odds in zip(node.ways, own.odds, strict=True):
            if way.target is None or way.target not in unmet:
                continue
            goes_on, goes_uncured, passes = odds, 0.0, odds
            if step.kind == "fix":
                goes_on, goes_uncured, passes = own.own_onward, own.stop * (1 - cures_of(step)), 1.0
            elif step.kind == "link":
                # Coming into the middle of a tree, one is as far as others who pass there.
                tree_id, _, name = way.target.partition("/")
                goes_on = numbers[tree_id].steps[name].unmet
                goes_uncured = 1 - goes_on
            _add(before, unmet[way.target], goes_on)
            _add(before, met[way.target], goes_uncured)
            _add(after, met[way.target], passes)
            worst = max(worst, unmet[way.target].worst)
        if step.kind == "fix":
            before.cured += own.stop * cures_of(step)
        before.worst = after.worst = minutes + worst
        unmet[node.key], met[node.key] = before, after
        _add(own.ahead, before, own.unmet)
        _add(own.ahead, after, 1 - own.unmet)
        own.ahead.worst = before.worst


def _add(ahead: Ahead, onward: Ahead, chance: float) -> None:
    """Add what lies further on, but for the longest way."""
    ahead.minutes += chance * onward.minutes
    ahead.waiting += chance * onward.waiting
    ahead.checks += chance * onward.checks
    ahead.escalation += chance * onward.escalation
    ahead.cured += chance * onward.cured
