"""Where a row of answers leads on the data that the browser gets, and what is possible from there.

The twin of the browser's `stand.js`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, TypeAlias

from kb_tools.model.code import WalkProblem
from kb_tools.model.compiled import CompiledStep, CompiledTree, CompiledWay
from kb_tools.model.reading import SPACE, number_text, reading, trimmed

Trees: TypeAlias = Mapping[str, CompiledTree]
EFFECTS: tuple[Literal["isolates"], Literal["confirms"], Literal["restores"]] = ("isolates", "confirms", "restores")
"""Keys of what a way does to hazards."""
_PLAIN_TAGS = ("strong", "em", "code", "a")
_INFORMED = ("answer", "band", "then")
_TYING = 1e9
"""Odds that agree to nine digits are a tie."""


@dataclass(slots=True)
class Pick:
    """One answer."""

    tree: str
    step: str
    value: str | float
    """What was given: a reading, or the answer itself."""
    pick: int
    """Which of the step's choices, from 0."""


@dataclass(slots=True)
class Stand:
    """Where a row of answers leads."""

    tree: CompiledTree
    id: str = ""
    isolated: list[str] = field(default_factory=list)
    advice: list[dict[str, str]] = field(default_factory=list)
    since: int = 0
    """The first answer in the present tree."""
    entered: list[str] = field(default_factory=list)
    cured: bool = False

    @property
    def step(self) -> CompiledStep:
        """The step where it stands."""
        return self.tree["steps"][self.id]

    def enter(self, tree: CompiledTree, step: str) -> None:
        """Come into a tree."""
        self.tree = tree
        self.entered.append(tree["id"])
        if tree.get("stop_use"):
            self.advice.append({"tree": tree["id"], "step": step, "text": text_of(tree["stop_use"])})
        self.come(step)

    def come(self, step: str) -> None:
        """Come to a step of the present tree."""
        if step not in self.tree["steps"]:
            raise WalkProblem("changed", f"The tree {self.tree['id']} has no step {step}.")
        self.id = step
        self.advise(self.step.get("stop_use"))

    def advise(self, blocks: Sequence[Any] | None) -> None:
        """Keep advice to stop using the chair."""
        if blocks:
            self.advice.append({"tree": self.tree["id"], "step": self.id, "text": text_of(blocks)})


def text_of(blocks: Sequence[Any]) -> str:
    """Return the plain text of rendered Markdown."""

    def flat(node: Any) -> str:  # noqa: ANN401 - a block
        if isinstance(node, str):
            return node
        inner = "".join(map(flat, node[-1])) if isinstance(node[-1], list) else ""
        return inner if node[0] in _PLAIN_TAGS else f"{inner} "

    return trimmed(re.sub(f"[{SPACE}]+", " ", "".join(map(flat, blocks))))


def choices(step: CompiledStep) -> list[CompiledWay]:
    """Return what can be answered at a step: its ways; where something is proven, `cured` first."""
    if step["kind"] != "fix" and (step["kind"] != "done" or not step.get("proof")):
        return step["ways"]
    cured: CompiledWay = {
        "via": "cured",
        "label": "cured",
        "odds": 0,
        "isolates": step.get("isolates", []),
        "confirms": [],
        "restores": step.get("restores", []),
    }
    return [cured, *step["ways"]]


def tree_of(trees: Trees, name: str) -> CompiledTree:
    """Return a tree, which must be loaded."""
    if name not in trees:
        raise WalkProblem("not-loaded", f"The tree {name} is not loaded.")
    return trees[name]


def follow(trees: Trees, first: str, picks: Sequence[Pick]) -> Stand:
    """Return where a row of answers leads."""
    tree = tree_of(trees, first)
    stand = Stand(tree)
    stand.enter(tree, tree["start"])
    for at, pick in enumerate(picks):
        step = stand.step
        way = choices(step)[pick.pick]
        stand.advise(way.get("stop_use"))
        added = [hazard for hazard in way["isolates"] if hazard not in stand.isolated]
        stand.isolated = [hazard for hazard in stand.isolated + added if hazard not in way["restores"]]
        link = step.get("link")
        if way["via"] == "cured":
            stand.cured = True
        elif way["via"] == "link" and link:
            stand.since = at + 1
            stand.enter(tree_of(trees, link["tree"]), link["step"])
        else:
            stand.come(way.get("to", ""))
    return stand


def _within(step: CompiledStep) -> list[CompiledWay]:
    """Return the ways of a step within its tree."""
    return [way for way in step["ways"] if way.get("to") and way["via"] != "link"]


def _possible(step: CompiledStep, told: int | None) -> list[CompiledWay]:
    """Return the ways within the tree that are left when an answer is known; an unsure one tells nothing."""
    if told is None or step["ways"][told]["via"] == "unsure":
        return _within(step)
    return [step["ways"][told]]


def onward(tree: CompiledTree, start: str) -> list[str]:
    """Return the steps of a tree from one of them on, each before those it leads to."""
    steps = tree["steps"]
    order: list[str] = []
    seen = {start}
    stack = [(start, iter(_within(steps[start])))]
    while stack:
        name, ways = stack[-1]
        target = next((way["to"] for way in ways if way["to"] not in seen), None)
        if target is None:
            stack.pop()
            order.append(name)
        else:
            seen.add(target)
            stack.append((target, iter(_within(steps[target]))))
    return order[::-1]


def causes(stand: Stand, picks: Sequence[Pick], known: Mapping[str, int] | None = None) -> list[dict[str, Any]]:
    """Return the causes still possible, likeliest first; see `numbers.odds` for the model.

    Args:
        stand: Where the walk stands.
        picks: The answers that led there.
        known: Step further on -> which of its answers is known.

    """
    steps, here = stand.tree["steps"], stand.step
    if stand.cured and here["kind"] == "fix":
        return [{"id": stand.id, "odds": 1}]
    left: dict[str, float] = {}
    for pick in picks[stand.since : len(picks) - stand.cured]:
        step = steps[pick.step]
        way = choices(step)[pick.pick]
        if way["via"] in _INFORMED:
            left = {cause: weight * way["odds"] for cause, weight in left.items()}
        if step["kind"] == "fix" and step.get("stop"):
            left[pick.step] = step["mass"] * step["stop"] * (1 - step.get("cures", 1))
    ahead = here["mass"] if _sum(left) else 1
    flow: dict[str, float] = {stand.id: 1}
    for name in onward(stand.tree, stand.id):
        arrives, step = flow.get(name), steps[name]
        if not arrives or not step["mass"]:
            continue
        if step.get("stop"):
            left[name] = left.get(name, 0) + ahead * arrives * step["stop"]
        for way in _possible(step, (known or {}).get(name)):
            flow[way["to"]] = flow.get(way["to"], 0) + arrives * way.get("onward", way["odds"])
    total = _sum(left)
    found = [{"id": name, "odds": weight / total} for name, weight in left.items() if weight > 0]
    return sorted(found, key=lambda cause: (-math.floor(cause["odds"] * _TYING + 0.5), cause["id"]))


def _sum(weights: Mapping[str, float]) -> float:
    """Return the sum, term after term: `sum` rounds less from Python 3.12 on, and the browser does not."""
    total = 0.0
    for weight in weights.values():
        total += weight
    return total


def pick_for(trees: Trees, stand: Stand, value: str | float) -> Pick:
    """Return what an answer picks at the step where a walk stands."""
    step, ways = stand.step, choices(stand.step)
    if stand.cured or not ways:
        raise WalkProblem("ended", "The walk has ended here.")
    given = trimmed(value) if isinstance(value, str) else value
    text = given if isinstance(given, str) else number_text(given)
    labels = [way["label"] for way in ways]
    pick = labels.index(text) if text in labels else -1
    if pick < 0:
        pick = next((at for at, label in enumerate(labels) if _folded(label) == _folded(text)), -1)
    read = False
    if step["kind"] == "measure":
        try:
            pick, read = reading(step, given).pick, True
        except WalkProblem as problem:
            # A band may be given by its name where nobody knows the reading.
            if pick < 0 or problem.code == "out-of-range":
                raise
    if pick < 0:
        raise WalkProblem("unknown-answer", f"This can be answered by: {', '.join(labels)}.")
    if ways[pick]["via"] == "link":
        tree_of(trees, step["link"]["tree"] if "link" in step else "")
    return Pick(stand.tree["id"], stand.id, given if read else labels[pick], pick)


def _folded(text: str) -> str:
    return trimmed(re.sub(f"[{SPACE}]+", " ", text)).lower()


def end_of(stand: Stand) -> dict[str, Any] | None:
    """Return how the walk ended, or None."""
    kind = stand.step["kind"]
    if stand.cured:
        return {"how": "cured" if kind == "fix" else "done", "proven": bool(stand.step.get("proof"))}
    return {"how": kind, "proven": False} if kind in ("escalate", "done") else None
