"""Every value is of the kind that its key asks for.

A list where a list belongs, a number where a number belongs, a date as in `2026-10-14`, a span of
time as in `5 min`, an id in small letters, digits and hyphens that starts with a letter.

Texts are texts, whatever they look like: `answer: Yes` means the word Yes, and `answer: 010` means
010. Numbers have a decimal point. `true` and `false` are the only two words for a yes-or-no key.

To mend it, write the value as the message says. A list is written `[one, two]`, or with a line and
a hyphen for each entry; a single entry still needs its brackets or hyphen.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Severity
from kb_tools.rules._relay import found_while_reading

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.findings import Finding
    from kb_tools.rules.contract import Subject

ID = "value-type"
SEVERITY = Severity.ERROR
SUMMARY = "Every value is of the kind that its key asks for."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield what reading the library found."""
    return found_while_reading(subject, ID)
