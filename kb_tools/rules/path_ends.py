"""Every step that is no end has a way on, so that every path comes to an end.

A `check` needs answers, a `measure` needs bands, a `do` needs `then`. The ends are `fix`,
`escalate` and `done`; a `link` goes on in another tree.

A `check` that takes its question from the shared file says where each of the shared answers leads:
an answer that the shared file offers and the tree passes over would be a dead end.

Together with `no-loop` this proves that whoever walks a tree comes to an end, whatever they answer.

To mend it, add the ways on. Where nobody knows how to go on, lead to an `escalate` step.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.findings import Place
    from kb_tools.model.entities import Library, Step
    from kb_tools.rules.contract import Subject

ID = "path-ends"
SEVERITY = Severity.ERROR
SUMMARY = "Every step that is no end has a way on."

_WAYS_ON = {
    "check": ("answers", "no answers", "Add `answers`, each with the step it leads to"),
    "measure": ("bands", "no bands", "Add `bands`, each with the step it leads to"),
    "do": ("then", "no way on", "Add `then` and the step that follows"),
}


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each step without a way on, and each shared answer that leads nowhere."""
    for node in subject.graph.nodes.values():
        step = node.step
        if step.kind not in _WAYS_ON:
            continue
        key, none, remedy = _WAYS_ON[step.kind]
        if not getattr(step, key):
            if not _may_have(step, key, subject.library):
                yield _finding(step.place, f"The step `{node.name}` has {none}: it leads nowhere", remedy)
        elif step.shared_answers:
            yield from _left_out(step, subject.library)


def _may_have(step: Step, key: str, library: Library) -> bool:
    """Tell whether the ways on are written and could not be read."""
    return library.doubts.key(step.place, key)


def _left_out(step: Step, library: Library) -> Iterator[Finding]:
    if _may_have(step, "answers", library):
        return
    own = {answer.answer for answer in step.answers or ()}
    if own - {shared.answer for shared in step.shared_answers}:
        return  # one is worded otherwise, says `answers-differ`: it may be the one that seems left out
    for shared in step.shared_answers:
        if shared.answer and shared.answer not in own:
            yield _finding(
                step.place,
                f"The answer `{shared.answer}` of the shared check `{step.use}` leads nowhere here",
                f"Add {{answer: {shared.answer}, to: <step>}}",
            )


def _finding(place: Place, message: str, remedy: str) -> Finding:
    return Finding(place, ID, SEVERITY, message, remedy)
