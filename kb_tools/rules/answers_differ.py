"""The answers of a step differ, case and spaces apart.

Two answers that read alike cannot be told apart on a telephone, in a visit record or in a case.
Answers count as alike when they differ in capital letters and spaces only: `Yes` and `yes`, or
`Not lit` and `not  lit`. The same goes for the bands of a measurement, for the answers of a shared
check and for those of an evidence table.

An answer of a step that uses a shared check must be one of the answers of that check.

To mend it, word one of them differently; where two answers lead to the same step, one answer may do.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity
from kb_tools.model.values import folded
from kb_tools.rules._relay import found_while_reading

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from kb_tools.model.values import Word
    from kb_tools.rules.contract import Subject

ID = "answers-differ"
SEVERITY = Severity.ERROR
SUMMARY = "The answers of a step differ, case and spaces apart."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each answer or band that reads like an earlier one of its step."""
    library = subject.library
    yield from found_while_reading(subject, ID)
    for node in subject.graph.nodes.values():
        yield from _alike(item.answer for item in node.step.answers or node.step.bands or ())
    for shared in library.checks.values():
        yield from _alike(item.answer for item in shared.shared_answers)
    for table in library.tables.values():
        for table_check in table.checks.values():
            yield from _alike(table_check.outcomes)


def _alike(answers: Iterable[Word]) -> Iterator[Finding]:
    seen: dict[str, Word] = {}
    for answer in answers:
        if not answer:
            continue
        first = seen.setdefault(folded(answer), answer)
        if first is not answer:
            yield Finding(
                answer.place,
                ID,
                SEVERITY,
                f"The answer {answer!r} reads like {first!r}, which stands here already",
                "Word one of the two differently",
                notes=((first.place, "the first stands here"),),
            )
