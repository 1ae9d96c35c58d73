"""The file is YAML, as far as the parser can tell.

A file that is not YAML cannot be read at all; the other files of the library still are.

The commonest slip is a text that needs quotes. Between braces or brackets a text that ends in a
question mark, or that holds a colon or a comma, must be quoted; so must, anywhere, a text that
holds a colon followed by a space, or that starts with one of `* & ! % @ [ { | > '` or a backtick.
When in doubt, quote: `'Is it lit?'`. A text over several lines goes below a bar: `how: |`.

A `#` behind a space starts a comment, so that of `avoid: Pull fuse #3` only "Pull fuse" would be
left. Where a letter or a digit follows the `#`, this is a warning: quote the text, or, if a comment is
meant, put a space behind the `#`.

Further slips: a tab where spaces belong, a quote that is opened and never closed, a line that is
indented further or less than its neighbours, and a second document in the same file.

To mend it, go to the line that is shown. Where something is opened and never closed, that line is
the one that opens it, not the one where the parser gave up.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Severity
from kb_tools.rules._relay import found_while_reading

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.findings import Finding
    from kb_tools.rules.contract import Subject

ID = "yaml-syntax"
SEVERITY = Severity.ERROR
SUMMARY = "The file is YAML."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield what reading the library found."""
    return found_while_reading(subject, ID)
