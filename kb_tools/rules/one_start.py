"""A tree has one first step, and it is there.

`start` names the step that the walk begins with. Without it nobody could begin, and a tree that
begins with a step that does not exist has no page that makes sense.

To mend it, name one of the tree's own steps. It is best one that anybody may do, since the support
desk walks the same tree with a caller.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity
from kb_tools.rules._names import meant

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.rules.contract import Subject

ID = "one-start"
SEVERITY = Severity.ERROR
SUMMARY = "A tree names its first step, and that step is there."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each tree whose first step is missing or unknown."""
    for tree in subject.library.trees.values():
        if tree.start is None:
            if not subject.library.doubts.key(tree.place, "start"):
                first = next(iter(tree.steps), "first-step")
                yield Finding(
                    tree.place,
                    ID,
                    SEVERITY,
                    "The tree does not say which step is the first",
                    f"Add `start:` and the id of the first step, for instance `start: {first}`",
                )
        elif tree.start not in tree.steps and (tree.steps or not subject.library.doubts.key(tree.place, "steps")):
            yield Finding(
                tree.start.place,
                ID,
                SEVERITY,
                f"There is no step `{tree.start}` to start with",
                meant(tree.start, tree.steps, "steps"),
            )
