"""The safety proofs against brute force over all simple paths of random libraries.

A library has two trees that may link to each other, and no loop. Brute force knows nothing of the
package's graph: it lists every path from every start with networkx and walks along it.
"""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kb_tools.model.entities import Band, Library, Step
from kb_tools.rules import contract, end_stated, isolate_before_expose, restore_before_need
from making import HERE, answer, library, step, tree, word, words

if TYPE_CHECKING:
    from collections.abc import Iterator

HAZARDS = {"power": True, "motion": False}
"""Hazard -> whether its isolation must be confirmed."""
PROOF = "stops"
NO_EFFECT: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Effect:
    """What a way or an end does."""

    isolates: frozenset[str] = NO_EFFECT
    confirms: frozenset[str] = NO_EFFECT
    restores: frozenset[str] = NO_EFFECT

    def apply(self, hazard: str, level: int) -> int:
        """Return 0 present, 1 isolated, 2 confirmed, after this."""
        if hazard in self.restores:
            return 0
        level = max(level, int(hazard in self.isolates))
        return 2 if level == 1 and hazard in self.confirms else level

    @property
    def keys(self) -> dict[str, frozenset[str]]:
        """The effect as keys of a step, answer or band."""
        return {"isolates": self.isolates, "confirms": self.confirms, "restores": self.restores}


@dataclass
class Plan:
    """A library, and the same as a graph for brute force."""

    library: Library
    graph: nx.MultiDiGraph[str] = field(default_factory=nx.MultiDiGraph)
    """An edge for each way, its effect under `effect`."""
    starts: list[str] = field(default_factory=list)
    steps: dict[str, Step] = field(default_factory=dict)

    def runs(self, goal: str) -> Iterator[tuple[tuple[str, ...], list[Effect]]]:
        """Yield every path from a start to `goal`: its steps, and the effects on it."""
        for start in self.starts:
            if start == goal:
                yield (goal,), []
                continue
            for edges in nx.all_simple_edge_paths(self.graph, start, goal):
                ways: list[Any] = list(edges)
                path = (start, *(way[1] for way in ways))
                yield path, [self.graph.edges[way]["effect"] for way in ways]

    def levels(self, goal: str, hazard: str) -> dict[tuple[str, ...], set[int]]:
        """Return the states of a hazard with which each path may come to `goal`."""
        found: dict[tuple[str, ...], set[int]] = {}
        for path, effects in self.runs(goal):
            level = 0
            for effect in effects:
                level = effect.apply(hazard, level)
            found.setdefault(path, set()).add(level)
        return found


Choose = Callable[[int], int]
"""Returns a number from 0 to below its argument."""


def make_plan(choose: Choose) -> Plan:
    """Make a library of two to eight steps in one or two trees; ways lead to later steps only."""
    homes = "a" + "".join("ab"[choose(2)] for _ in range(1 + choose(7)))
    keys = [f"{home}/s{number}" for number, home in enumerate(homes)]
    plan = Plan(library([]))
    plan.graph.add_nodes_from(keys)
    for number, key in enumerate(keys):
        own = [later for later in keys[number + 1 :] if later[0] == key[0]]
        other = [later for later in keys[number + 1 :] if later[0] != key[0]]
        plan.steps[key] = _step(choose, key, own, other, plan)
    trees = []
    for home in dict.fromkeys(homes):
        mine = {key[2:]: made for key, made in plan.steps.items() if key[0] == home}
        start = next(iter(mine))
        plan.starts.append(f"{home}/{start}")
        trees.append(tree(home, start, mine))
    plan.library = library(trees, HAZARDS, {PROOF: _hazards(choose)})
    return plan


def _hazards(choose: Choose) -> frozenset[str]:
    return (NO_EFFECT, frozenset({"power"}), frozenset({"motion"}), frozenset(HAZARDS))[choose(4)]


def _effect(choose: Choose) -> Effect:
    code = choose(16)  # most ways do something, few do everything
    if code < 6:
        return Effect()
    isolates, restores = _hazards(choose), _hazards(choose) if code > 12 else NO_EFFECT
    return Effect(isolates, isolates if code % 2 else NO_EFFECT, restores)


def _step(choose: Choose, key: str, own: list[str], other: list[str], plan: Plan) -> Step:
    kinds = ["escalate", "done", *(["link"] if other else [])]
    if own:
        kinds = ["check", "measure", "do", "fix", *kinds]
    kind = kinds[choose(len(kinds))]
    keys: dict[str, Any] = {}
    for name in ("exposes", "needs", "works_live"):
        keys[name] = NO_EFFECT if choose(3) else _hazards(choose)
    if kind in ("escalate", "done", "fix") and choose(2):
        keys["leave"] = "Unplugged"
    if kind in ("fix", "done") and choose(2):
        keys["proof"] = PROOF
    if kind in ("escalate", "done"):
        keys |= _effect(choose).keys
    elif kind == "link":
        keys["link"] = _way(choose, key, other, plan, keys)
    elif kind == "fix":
        keys["not_cured"] = _way(choose, key, own, plan, keys)[2:]
    elif kind == "do":
        keys["then"] = _way(choose, key, own, plan, keys)[2:]
        if choose(2):
            keys["cannot"] = _way(choose, key, own, plan, None)[2:]
    else:
        keys["answers" if kind == "check" else "bands"] = _ways(choose, key, own, plan, kind)
    return step(kind, **keys)


def _ways(choose: Choose, key: str, own: list[str], plan: Plan, kind: str) -> tuple[Any, ...]:
    ways: list[Any] = []
    for number in range(1 + choose(3)):
        effects: dict[str, Any] = {}
        target, label = _way(choose, key, own, plan, effects)[2:], f"Way {number}"
        if kind == "check":
            ways.append(answer(target, label, unsure=bool(choose(2)), **effects))
        else:
            lists: dict[str, Any] = {name: words(sorted(hazards)) for name, hazards in effects.items()}
            ways.append(Band(HERE, word(label), word(target), **lists))
    return tuple(ways)


def _way(choose: Choose, key: str, targets: list[str], plan: Plan, whole: dict[str, Any] | None) -> str:
    """Add a way to the plan's graph, and its effects to the keys `whole`; return where it leads."""
    target = targets[choose(len(targets))]
    effect = Effect() if whole is None else _effect(choose)
    plan.graph.add_edge(key, target, effect=effect)
    if whole is not None:
        whole |= effect.keys
    return target


Offending = dict[tuple[str, str], set[tuple[str, ...]]]
"""(step, hazard) -> the paths that offend; none where the set is empty."""


def found_by(rule: Any, plan: Plan, pattern: str) -> dict[tuple[str, str], tuple[str, ...]]:  # noqa: ANN401 - a rule's module
    """Return (step, hazard) -> path of what a rule finds; `pattern` finds hazards in messages."""
    found = {}
    for finding in rule.check(contract.subject_of(plan.library, date(2026, 11, 25))):
        hazard = re.search(pattern, finding.message)
        if hazard is not None:
            found[finding.path[-1], hazard[1]] = finding.path
    return found


def expect(found: dict[tuple[str, str], tuple[str, ...]], offending: Offending) -> None:
    """Check that just these are found, each with a path that really offends, and a shortest one."""
    assert set(found) == {key for key, paths in offending.items() if paths}
    for key, path in found.items():
        assert path in offending[key]
        assert len(path) == min(map(len, offending[key]))


def where(plan: Plan, key: str, hazard: str, wrong: Callable[[int], bool]) -> set[tuple[str, ...]]:
    """Return the paths to a step on which a hazard may come in a state that is `wrong`."""
    levels = plan.levels(key, hazard)
    return {path for path, some in levels.items() if any(wrong(level) for level in some)}


def bare_below(least: int) -> Callable[[int], bool]:
    """Return what tells whether a state is less than isolated (1), or confirmed (2)."""
    return lambda level: level < least


def after(made: Step, hazard: str) -> Callable[[int], bool]:
    """Return what tells whether a hazard is isolated after a step's own effects."""
    own = Effect(*(frozenset(each) for each in (made.isolates, made.confirms, made.restores)))
    return lambda level: own.apply(hazard, level) > 0


def judge(plan: Plan) -> None:
    """Compare the three rules with brute force."""
    exposed: Offending = {}
    needed: Offending = {}
    proved: Offending = {}
    left: Offending = {}
    for key, made in plan.steps.items():
        for hazard in made.exposes:
            exposed[key, hazard] = where(plan, key, hazard, bare_below(2 if HAZARDS[hazard] else 1))
        for hazard in made.needs + made.works_live:
            needed[key, hazard] = where(plan, key, hazard, lambda level: level > 0)
        if made.proof is not None:
            for hazard in plan.library.proofs[made.proof].needs:
                proved[key, hazard] = where(plan, key, hazard, after(made, hazard))
        if made.kind in ("fix", "escalate", "done") and not made.leave:
            for each in HAZARDS:
                paths = where(plan, key, each, after(made, each))
                if paths:
                    left[key, each] = paths
                    break  # the path that is printed is for the first
    expect(found_by(isolate_before_expose, plan, "^The step .* exposes `(.*?)`"), exposed)
    expect(found_by(restore_before_need, plan, "^The step .* (?:needs|live on) `(.*?)`"), needed)
    expect(found_by(restore_before_need, plan, "^The proof .* needs `(.*?)`"), proved)
    expect(found_by(end_stated, plan, "^The end .* with `(.*?)`"), left)


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    """Draw a plan that hypothesis can make smaller when it fails."""
    return make_plan(lambda size: draw(st.integers(0, size - 1)))


@settings(max_examples=300, deadline=None)
@given(plans())
def test_the_proofs_are_brute_force(plan: Plan) -> None:
    """Just what some path breaks is reported, with a path that breaks it, and a shortest one."""
    judge(plan)


@pytest.mark.parametrize("block", range(4))
def test_the_proofs_are_brute_force_a_thousand_times(block: int) -> None:
    """The same on a thousand random libraries a block, the same ones in every run."""
    for seed in range(1000 * block, 1000 * (block + 1)):
        judge(make_plan(random.Random(seed).randrange))
