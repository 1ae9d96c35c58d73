"""Every file below `trees/` can be read as text and belongs where it lies.

Files are UTF-8 without a byte-order mark and without NUL bytes, and hold something. A tree lies in
the folder of its area, `trees/<area>/<id>.yml`; shared files have fixed names in `trees/shared/`;
tables lie in `trees/tables/`, maps in `trees/maps/`. A library must be whole when its folder is
copied to a stick, so no link may lead out of it.

A library without any tree is a finding too: whoever checks the wrong folder by mistake must not be
told that all is well.

Nothing is reported that only follows from a file that could not be read: while `hazards.yml`
cannot be read, nobody's hazards are called unknown.

To mend it, save the file as UTF-8 in the editor, put it where it belongs, or give yourself read
permission on it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Severity
from kb_tools.rules._relay import found_while_reading

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.findings import Finding
    from kb_tools.rules.contract import Subject

ID = "file-readable"
SEVERITY = Severity.ERROR
SUMMARY = "Every file of the library can be read and belongs where it lies."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield what reading the library found."""
    return found_while_reading(subject, ID)
