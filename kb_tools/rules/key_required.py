"""Keys that nothing can do without are there.

A tree needs a title, steps and the date of its last review; an answer its text and where it leads;
a hazard its name, how it is isolated and how it is put back; a caution its signal word, the danger,
its consequence and how to avoid it; a measurement its unit; a picture its text alternative.

The ways on of a step are the business of the rule `path-ends`, the first step that of `one-start`.

To mend it, add the key. The message says what it is for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Severity
from kb_tools.rules._relay import found_while_reading

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.findings import Finding
    from kb_tools.rules.contract import Subject

ID = "key-required"
SEVERITY = Severity.ERROR
SUMMARY = "Keys that nothing can do without are there."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield what reading the library found."""
    return found_while_reading(subject, ID)
