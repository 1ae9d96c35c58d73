"""Every key is one that the format knows, at the place where it stands.

A key that is misspelt would otherwise be passed over without a word, and with it a caution, a
limit or a way on. So an unknown key is an error, and the nearest known key is named.

Some keys belong to some kinds of step only: `bands` to a `measure`, `then` to a `do`, `proof` to a
`fix` or a `done`. A step that takes its body from a shared file (`fix: {use: ID}`) may only set the
keys that differ from tree to tree; the rest is set in the shared file, once for all.

To mend it, correct the key's spelling, move it to where it belongs, or delete it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Severity
from kb_tools.rules._relay import found_while_reading

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.findings import Finding
    from kb_tools.rules.contract import Subject

ID = "key-known"
SEVERITY = Severity.ERROR
SUMMARY = "Every key is one that the format knows at that place."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield what reading the library found."""
    return found_while_reading(subject, ID)
