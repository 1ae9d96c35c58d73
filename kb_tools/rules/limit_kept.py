"""No file is larger, nested deeper or more often repeated by aliases than a person would write it.

A tree is a few kilobytes of text and nests seven deep. A file of more than 2,000,000 bytes, nesting
of more than 30 levels, or aliases (`*name`) that expand to more than 200,000 values were not
written by an author; they are refused before they cost time or memory.

To mend it, split a tree that has grown too large and join the parts by `link` steps; keep pictures
below `content/` and not in the YAML; write out what an alias repeats, or share it in
`trees/shared/checks.yml` and `trees/shared/fixes.yml`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Severity
from kb_tools.rules._relay import found_while_reading

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.findings import Finding
    from kb_tools.rules.contract import Subject

ID = "limit-kept"
SEVERITY = Severity.ERROR
SUMMARY = "No file is too large, nested too deep or full of aliases."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield what reading the library found."""
    return found_while_reading(subject, ID)
