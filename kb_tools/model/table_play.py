"""Play the causes of an evidence table through the tree that it judges.

A cause answers the steps that the table has with what it shows there; a step that the table lacks
may be answered any way. A check that a tree makes at several places bears numbers there (`lamp-2`).
What each step allows does not depend on the way to it, so the steps that a play may come to are those
that are reachable over allowed ways, and no path is listed.

A play stops at the cause's own fix. Any other fix does not cure it: the play goes on over
`not_cured`. Where that is the fix of another cause which some check of the table tells apart, the
play has gone wrong; among causes that nothing tells apart, trying one fix after the other is all
that a tree can do.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from kb_tools.model.entities import ENDS
from kb_tools.model.values import folded

if TYPE_CHECKING:
    from collections.abc import Mapping

    from kb_tools.model.entities import Library, Table, Tree
    from kb_tools.model.graph import Node, StepGraph, Way
    from kb_tools.model.tables import Shown
    from kb_tools.model.values import Word

_MENDS = ("fix", "done")
"""Kinds of step that are wrong for another cause. Handing over is right at any time."""


@dataclass(slots=True)
class Play:
    """Where a cause may come to in the tree."""

    cause: Word
    own: frozenset[str]
    """The steps that are its fix, as `tree/step`."""
    came_home: bool = False
    """Whether some way ends at its own fix."""
    wrong: dict[str, Word] = field(default_factory=dict)
    """Steps that it may come to and that are the fix of another cause -> that cause."""
    elsewhere: tuple[str, ...] = ()
    """A way to another end; of all such ways one on which the table says most of the answers."""
    in_doubt: bool = False
    """Whether some way leads to a step or an answer that does not exist."""
    before: dict[str, str | None] = field(default_factory=dict)
    """Each step that it may come to -> the step before it."""

    def path_to(self, step: str) -> tuple[str, ...]:
        """Return a shortest way on which the cause comes to `step`."""
        path: list[str] = []
        here: str | None = step
        while here is not None:
            path.append(here)
            here = self.before[here]
        return tuple(reversed(path))


def own_fixes(table: Table, tree: Tree, graph: StepGraph, library: Library) -> dict[Word, frozenset[str]]:
    """Return the steps, as `tree/step`, that mend each cause; causes without a known fix are left out.

    A shared fix is every step that uses it. So is a step of the tree that uses one: the same
    mending may stand in several places.
    """
    users: dict[str, set[str]] = {}
    for key, node in graph.nodes.items():
        if node.step.use is not None and node.step.kind == "fix":
            users.setdefault(node.step.use, set()).add(key)
    found: dict[Word, frozenset[str]] = {}
    for cause, entry in table.causes.items():
        name = entry.fix
        if name is None:
            continue
        if name in tree.steps:
            shared = tree.steps[name].use
            same = users.get(shared, set()) if shared else set()
            found[cause] = frozenset({f"{tree.id}/{name}", *same})
        elif name in library.fixes:
            found[cause] = frozenset(users.get(name, ()))
    return found


def checks_asked(table: Table, tree: Tree) -> dict[str, str]:
    """Return the steps of a tree that ask a check of its table -> that check.

    They have its id, or its id with a number and also its kind and words: `lamp-2` is `lamp`, asked
    at another place.
    """
    found = {str(name): str(name) for name in table.checks if name in tree.steps}
    for name, step in tree.steps.items():
        check, _, number = name.rpartition("-")
        row = table.checks.get(check) if number.isdigit() else None  # type: ignore[call-overload]
        if row is None or name in found or step.kind not in ("check", "measure"):
            continue
        text = row.check if step.kind == "check" else row.measure
        if text is not None and folded(text) == folded(step.text or ""):
            found[str(name)] = check
    return found


def play(
    cause: Word,
    shown: Shown,
    own: dict[Word, frozenset[str]],
    asked: Mapping[str, str],
    tree: Tree,
    graph: StepGraph,
) -> Play:
    """Play one cause through the tree.

    Args:
        cause: A cause with a known fix, of which `shown` is sure.
        shown: What the table says.
        own: What `own_fixes` found.
        asked: What `checks_asked` found.
        tree: The tree that the table judges.
        graph: The library's graph; links are followed.

    """
    others = {
        step: other
        for other, steps in own.items()
        if other != cause and shown.can_tell_apart(cause, other)
        for step in steps - own[cause]
    }
    result = Play(cause, own[cause])
    start = f"{tree.id}/{tree.start}"
    if start not in graph.nodes:
        result.in_doubt = True
        return result
    result.before[start] = None
    queue = deque([start])
    ways_out: list[tuple[str, str]] = []
    while queue:
        key = queue.popleft()
        node = graph.nodes[key]
        if key in result.own:
            result.came_home = True
            continue
        if key in others and node.step.kind in _MENDS:
            result.wrong[key] = others[key]
        for way in _allowed(node, result, shown, asked if node.tree is tree else {}):
            if way.target is None:
                result.in_doubt = True
                continue
            if graph.nodes[way.target].step.kind in ENDS and way.target not in result.own:
                ways_out.append((key, way.target))
            if way.target not in result.before:
                result.before[way.target] = key
                queue.append(way.target)
    told = {f"{tree.id}/{step}" for step, check in asked.items() if check in shown.outcomes}
    paths = [(*result.path_to(key), end) for key, end in ways_out]
    result.elsewhere = max(paths, key=lambda path: len(told.intersection(path)), default=())
    return result


def _allowed(node: Node, result: Play, shown: Shown, asked: Mapping[str, str]) -> list[Way]:
    """Return the ways that the cause may take at a step."""
    step = node.step
    if step.in_doubt or (not node.ways and step.kind not in ("escalate", "done")):
        result.in_doubt = True
    answers = shown.cells.get((result.cause, asked.get(node.name, "")))
    if answers is None or step.kind not in ("check", "measure"):
        return node.ways
    ways = [way for way in node.ways if folded(way.label) in answers]
    if len(ways) < len(answers):
        result.in_doubt = True
    return ways
