"""Which earlier steps may have isolated a hazard that a step lays open."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Mapping

    from kb_tools.model.entities import Step, Tree
    from kb_tools.model.graph import Way

Isolators: TypeAlias = "dict[str, dict[str, list[str]]]"
"""Step -> hazard -> the steps of the same tree that may have isolated it on the way there."""


def isolators(tree: Tree, ways: Mapping[str, list[Way]], numbers: Mapping[str, int]) -> Isolators:
    """Return, for each step and each hazard it exposes, the steps that may have isolated it.

    One pass in the order of the numbers, in which every way leads forward.

    Args:
        tree: A tree without loops.
        ways: Step id -> its ways on.
        numbers: Step id -> its number.

    """
    before: dict[str, dict[str, set[str]]] = defaultdict(dict)
    found: Isolators = {}
    steps: dict[str, Step] = dict(tree.steps.items())
    for name in numbers:
        state = before.pop(name, {})
        exposed = {hazard: state.get(hazard, set()) for hazard in steps[name].exposes}
        if exposed:
            found[name] = {hazard: sorted(steps, key=numbers.__getitem__) for hazard, steps in exposed.items()}
        for way in ways.get(name, ()):
            if way.kind == "link" or way.named not in numbers:
                continue
            _join(before[way.named], _after(way, name, state))
    return found


def _after(way: Way, name: str, state: dict[str, set[str]]) -> dict[str, set[str]]:
    """Return the isolating steps of each hazard after a way."""
    if not way.isolates and not way.restores:
        return state
    after = dict(state)
    for hazard in way.isolates:
        after.setdefault(hazard, {name})
    for hazard in way.restores:
        after.pop(hazard, None)
    return after


def _join(into: dict[str, set[str]], state: dict[str, set[str]]) -> None:
    for hazard, steps in state.items():
        into[hazard] = into.get(hazard, set()) | steps
