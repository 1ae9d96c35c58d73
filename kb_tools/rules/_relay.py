"""Rules about reading are applied while reading; their modules hand the findings on."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.findings import Finding
    from kb_tools.rules.contract import Subject


def found_while_reading(subject: Subject, rule: str) -> Iterator[Finding]:
    """Yield the findings of `rule` that reading the library made."""
    return (finding for finding in subject.library.findings if finding.rule == rule)
