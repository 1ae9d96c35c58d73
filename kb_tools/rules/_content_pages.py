"""What the content pages of a library ask for: tables of figures, cautions, and rows that their links lead to."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from kb_tools.findings import Place
from kb_tools.model.figures import Mark, marks_of
from kb_tools.source.files import CONTENT

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.model.entities import Library


def content_marks(library: Library) -> Iterator[tuple[Place, Mark]]:
    """Yield what each Markdown page below content/ asks for, and where; pages that cannot be read ask nothing."""
    root = library.root
    folders = os.walk(root / CONTENT)  # passes over what may not be entered
    for path in sorted(Path(folder, name) for folder, _, names in folders for name in names if name.endswith(".md")):
        name = path.relative_to(root).as_posix()
        try:
            text = library.texts.get(name) or path.read_text("utf-8")
        except (OSError, UnicodeDecodeError):
            continue
        for mark in marks_of(text):
            yield Place(name, mark.line, mark.column), mark
