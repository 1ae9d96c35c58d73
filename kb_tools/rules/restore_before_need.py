"""A step or proof that needs a hazard's power is never reached with it isolated, on any path.

A voltage cannot be read on a chair that is unplugged, and a functional check on a chair without
power proves nothing. This rule looks at every step that names a hazard in `needs` or in
`works_live`, and at the proof of every fix and `done`: on **no** path may the hazard still be
isolated there. For a proof, what the fix or `done` itself `restores` is put back before it.

The finding prints one shortest path on which the hazard is still isolated.

To mend it, let the fix say `restores` (and `put_back` how), put a `do` step with `restores` on
that path, or lead the path elsewhere.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity
from kb_tools.rules._places import seen_from

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.model.entities import TableCheck
    from kb_tools.model.graph import Node
    from kb_tools.model.values import Word
    from kb_tools.rules.contract import Subject

ID = "restore-before-need"
SEVERITY = Severity.ERROR
SUMMARY = "A step or proof that needs a hazard's power is never reached with it isolated."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each step and hazard that some path reaches without the power it needs."""
    isolation = subject.isolation
    for key, state in isolation.before.items():
        node = subject.graph.nodes[key]
        step = node.step
        if state.maybe and (step.needs or step.works_live):
            yield from _steps(node, subject)
        if step.proof and (state.maybe or step.isolates):
            yield from _proofs(node, subject)
    for table in subject.library.tables.values():
        for name, row in table.checks.items():
            yield from _contradictions(name, row)


def _contradictions(name: Word, row: TableCheck) -> Iterator[Finding]:
    """Judge a check of a table: what it exposes is isolated, so that it cannot need its power."""
    for hazard in dict.fromkeys((*row.needs, *row.works_live)):
        if hazard in row.exposes:
            yield Finding(
                hazard.place,
                ID,
                SEVERITY,
                f"The check `{name}` exposes `{hazard}`, which is isolated for that, and needs its power",
                f"Take `{hazard}` out of one of the two, or make two checks of it",
            )


def _steps(node: Node, subject: Subject) -> Iterator[Finding]:
    """Judge what the step itself needs, on entering it."""
    isolation, step = subject.isolation, node.step
    wanted = [(hazard, "works live on") for hazard in step.works_live]
    wanted += [(hazard, "needs") for hazard in step.needs if hazard not in step.works_live]
    for hazard, verb in wanted:
        if hazard not in isolation.bits or not isolation.maybe_isolated(node.key, hazard):
            continue
        place, notes = seen_from(node, hazard, f"`{hazard}` is named here")
        yield Finding(
            place,
            ID,
            SEVERITY,
            f"The step `{node.name}` {verb} `{hazard}`, which is still isolated on this path to it",
            f"Put a `do` step that restores `{hazard}` on this path, before the step",
            isolation.path_isolated(node.key, hazard),
            notes,
        )


def _proofs(node: Node, subject: Subject) -> Iterator[Finding]:
    """Judge what the proof needs, after the step has put back what it restores."""
    isolation, step = subject.isolation, node.step
    named = step.proof
    library = subject.library
    if named is None or named not in library.proofs or step.in_doubt:
        return
    if library.doubts.key(step.place, "restores"):
        return
    left = isolation.maybe_after(node.key)
    for hazard in dict.fromkeys(library.proofs[named].needs):
        if not left & isolation.bits.get(hazard, 0):
            continue
        yield Finding(
            named.place if named.file == node.tree.file else step.place,
            ID,
            SEVERITY,
            f"The proof `{named}` needs `{hazard}`, which is still isolated after the step `{node.name}` on this path",
            f"Let the step say `restores: [{hazard}]`, or restore it on this path before",
            isolation.path_left(node.key, hazard),
            ((hazard.place, f"the proof needs `{hazard}`"),),
        )
