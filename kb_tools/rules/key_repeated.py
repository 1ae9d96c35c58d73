"""No key stands twice in the same group.

YAML readers commonly keep the last of two equal keys and drop the first without a word: two steps
of one id become one, and a way that was meant for the first leads to the second.

To mend it, keep one of the two, or give one of two steps an id of its own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Severity
from kb_tools.rules._relay import found_while_reading

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.findings import Finding
    from kb_tools.rules.contract import Subject

ID = "key-repeated"
SEVERITY = Severity.ERROR
SUMMARY = "No key stands twice in the same group."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield what reading the library found."""
    return found_while_reading(subject, ID)
