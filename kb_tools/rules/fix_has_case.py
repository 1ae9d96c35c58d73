"""Every fix is the end of at least one case.

A case is a recorded or invented run with a known end. Cases are replayed with every check
(`case-ends`), so that a change which sends a known fault elsewhere is seen at once. A fix that no
case ends at is a fix that nobody would miss.

To mend it, write down a run that ends there, under `cases` of the tree: what was answered or read
at each step, and `ends_at`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity
from kb_tools.model.cases import end_of
from kb_tools.model.records import nearest
from kb_tools.rules._broken import named_in_broken_files

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.rules.contract import Subject

ID = "fix-has-case"
SEVERITY = Severity.WARNING
SUMMARY = "Every fix is the end of at least one case."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each fix of a tree that no case of any tree ends at."""
    nodes, trees = subject.graph.nodes, subject.library.trees.values()
    ends = {end_of(tree, case): case for tree in trees for case in tree.cases if case.ends_at}
    # A misspelt end is a finding of `case-ends`; the fix that it means has its case.
    doubtful: set[str] = set()
    for end in [end for end in ends if end not in nodes]:
        tree_id, _, name = end.partition("/")
        same_tree = [str(node.name) for node in nodes.values() if node.tree.id == tree_id]
        close = nearest(name, same_tree)
        ends[f"{tree_id}/{close}"] = ends[end]
        if not close:
            doubtful.add(tree_id)
    for tree in trees:
        if subject.library.doubts.key(tree.place, "cases") or tree.id in doubtful:
            continue
        for name, step in tree.steps.items():
            key = f"{tree.id}/{name}"
            if step.kind == "fix" and key not in ends and not named_in_broken_files(key, subject.library):
                yield Finding(
                    step.place,
                    ID,
                    SEVERITY,
                    f"No case ends at the fix `{name}`",
                    "Add a case to the tree: a run, recorded or invented, that ends there",
                )
