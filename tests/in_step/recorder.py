"""Every path of a tree, walked in Python, with what the browser's engine is to do and to find."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from in_step.engines import Trees, said
from kb_tools.model.resume import resume
from kb_tools.model.stand import onward
from kb_tools.model.walk import Walk

if TYPE_CHECKING:
    from kb_tools.model.compiled import CompiledTree

BRIEF = ("tree", "step", "kind", "causes", "minutes", "isolated", "stop_use", "ended")
MOST_PATHS = 300
"""Trees of more paths are walked with paths joined."""
RESUMED = 11
"""Python resumes the code of each so many path; the browser that of every one."""


def paths_of(tree: CompiledTree) -> int:
    """Return how many paths a tree has, each to an end, or into another tree."""
    counts: dict[str, int] = {}
    for name in reversed(onward(tree, tree["start"])):
        step = tree["steps"][name]
        further = sum(counts[way["to"]] for way in step["ways"] if way["via"] != "link")
        counts[name] = further + (step["kind"] in ("fix", "done", "escalate", "link"))
    return counts[tree["start"]]


class Recorder:
    """Walks every path of a tree in Python and notes the operations for the browser, and what is to come out."""

    def __init__(self, trees: Trees, tree: str, joined: set[str] | None = None) -> None:
        """Begin a walk in `tree`; `joined` holds where other paths have come to, None where no paths are joined."""
        self.trees = trees
        self.walk = Walk(trees, tree)
        self.operations: list[list[Any]] = [["load", tree], ["start", tree]]
        self.expected: list[Any] = [None, None]
        self.paths = 0
        self.joined = joined

    def do(self, operation: list[Any], result: Any = None) -> None:  # noqa: ANN401 - JSON
        """Note an operation and its result."""
        self.operations.append(operation)
        self.expected.append(result)

    def look(self) -> tuple[dict[str, Any], bool]:
        """Note what is seen where the walk stands; return it, and whether another path has come to the same."""
        state = self.walk.state()
        brief = {key: state[key] for key in BRIEF}
        self.do(["brief"], brief | {"code": self.walk.code()})
        if self.joined is None:
            return state, False
        key = json.dumps(brief)
        known = key in self.joined
        self.joined.add(key)
        return state, known

    def answer(self, step: str, value: str) -> None:
        """Answer a step."""
        self.walk.answer(step, value)
        self.do(["go", step, value])

    def every_path(self, *, deep: bool = True) -> None:
        """Walk every path from where the walk stands, to its end or into another tree."""
        state, known = self.look()
        step = self.trees[state["tree"]]["steps"][state["step"]]
        values = said(step)
        proven = state["ended"] and state["trail"] and state["trail"][-1]["answer"] == "cured"
        if proven or not values or not deep or known:
            self.paths += 1
            self.do(["roundTrip"], result=True)
            if self.paths % RESUMED == 0:
                assert resume(self.trees, self.walk.link()).state() == state
            return
        for value in values:
            self.answer(state["step"], value)
            self.every_path(deep=step["kind"] != "link")
            self.walk.back()
            self.do(["back"])
