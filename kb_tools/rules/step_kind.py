"""Every step says what it is, once.

The keys that say so are `check`, `measure`, `do`, `fix`, `escalate`, `done` and `link`. A `check`
is answered in words, a `measure` with a number, a `do` is an action with one way on. A `fix` mends
the fault, an `escalate` hands the case over, a `done` ends without a fault, and a `link` goes on in
another tree. A step with none of these keys cannot be shown, one with two of them cannot be
understood.

A step that uses a shared item is of the same kind as that item.

To mend it, add the key that is missing, or make two steps of one that does two things.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Severity
from kb_tools.rules._relay import found_while_reading

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.findings import Finding
    from kb_tools.rules.contract import Subject

ID = "step-kind"
SEVERITY = Severity.ERROR
SUMMARY = "Every step says what it is, once."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield what reading the library found."""
    return found_while_reading(subject, ID)
