"""The book: the library as a PDF of size A5, set by a typesetter that works inside this process."""

from __future__ import annotations

import dataclasses
import json
import re
from dataclasses import dataclass
from datetime import UTC, datetime, time
from importlib.metadata import version
from importlib.resources import files
from typing import TYPE_CHECKING, cast

import typst

from kb_tools.carriers.paper_book import book_of
from kb_tools.carriers.paper_drawings import FONT
from kb_tools.findings import BuildError, UsageError
from kb_tools.model.records import nearest
from kb_tools.pages.site_pages import SitePages
from kb_tools.source.writing import write_whole

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from typst import PDFStandards

    from kb_tools.carriers.paper_book import Book
    from kb_tools.model.entities import Tree
    from kb_tools.rules.contract import Subject

PAPER = "paper.pdf"
"""Where the book goes when nothing else is said, below the library's root."""
_ACCESSIBLE: PDFStandards = "ua-1"
"""PDF/UA-1 (ISO 14289-1): tagged, with text alternatives, and every sign of it in a font."""
_PAGE = re.compile(rb"/Type */Page\b")
_NO_SIGN = "could not be displayed"
_LICENCES = f"""\
The texts of this book are set in {FONT}, copyright the Libertinus Project Authors, and, where they are code, in \
DejaVu Sans Mono, copyright Bitstream, Inc. and the DejaVu authors. Both fonts are embedded in this file in part.
Libertinus Serif comes under the SIL Open Font License, version 1.1 (openfontlicense.org). A document made with the \
font, this book among them, does not come under that licence. DejaVu Sans Mono comes under the Bitstream Vera licence; \
the DejaVu authors put their changes into the public domain.
Set by typst {version("typst")}, Apache License 2.0, from the library by kb-tools {version("kb-tools")}, MIT License."""
"""A paragraph a line."""


@dataclass(frozen=True, slots=True)
class Printed:
    """What was written."""

    pages: int
    size: int
    """In bytes."""
    trees: int
    warnings: list[str]


def print_book(root: Path, out: Path, subject: Subject, tree_ids: Sequence[str] = ()) -> Printed:
    """Write the book of a library; what stood there stays until the new one is whole.

    Args:
        root: The folder that holds trees/ and content/.
        out: The file.
        subject: The library of `root`, read and found without errors.
        tree_ids: The trees to print; empty for all that are no drafts.

    Raises:
        UsageError: when there is no such tree.
        LibraryError: when it cannot be made or written.

    """
    content, printed = book(root, subject, tree_ids)
    write_whole(out, content)
    return printed


def book(root: Path, subject: Subject, tree_ids: Sequence[str] = ()) -> tuple[bytes, Printed]:
    """Return the book as PDF, and what there is to tell of it; the same sources give the same bytes."""
    site = SitePages(subject, with_drafts=bool(tree_ids), with_reference=False, dot_program="")
    trees = _chosen(site.trees, tree_ids)
    shown = book_of(root, subject, site, trees, _LICENCES.splitlines())
    data = json.dumps(dataclasses.asdict(shown), ensure_ascii=False)
    when = datetime.combine(site.date, time(), UTC)
    warnings = []
    try:
        try:
            content = _set(root, data, when, _ACCESSIBLE)
        except typst.TypstError as error:
            if _NO_SIGN not in str(error):
                raise
            warnings.append(f"A text holds signs that no embedded font has, and they print as empty boxes: {error}")
            content = _set(root, data, when, None)
    except typst.TypstError as error:
        raise BuildError(f"The book cannot be set: {_bad_picture(root, shown)}{error}") from error
    return content, Printed(len(_PAGE.findall(content)), len(content), len(trees), warnings)


def _set(root: Path, data: str, when: datetime, standard: PDFStandards) -> bytes:
    """Return the PDF of a book's data; the template is code of ours, and all that it prints is data."""
    template = (files("kb_tools.carriers") / "paper_parts" / "book.typ").read_bytes()
    typesetter = typst.Compiler(template, root=root.resolve(), ignore_system_fonts=True, sys_inputs={"book": data})
    content = typesetter.compile(format="pdf", timestamp=when, pdf_standards=standard)
    return cast("bytes", content)  # a list of them comes of pictures only


def _bad_picture(root: Path, shown: Book) -> str:
    """Return the first picture of a book that the typesetter cannot read, with a colon; empty where all are well.

    The typesetter tells what is wrong, but not in which file.
    """
    for name in sorted({step["picture"][0] for tree in shown.trees for step in tree["steps"] if step["picture"]}):
        try:
            typst.Compiler(f"#image({json.dumps(name)})".encode() if name else b"", root=root.resolve()).compile()
        except typst.TypstError:
            return f"{name.lstrip('/')}: "
    return ""


def _chosen(trees: Sequence[Tree], tree_ids: Sequence[str]) -> list[Tree]:
    """Return the trees of these ids, all where none is named."""
    known = {tree.id: tree for tree in trees}
    for name in tree_ids:
        if name not in known:
            close = nearest(name, known)
            raise UsageError(f"There is no tree {name!r}. {f'Did you mean {close}?' if close else ''}".rstrip())
    if not known:
        raise BuildError("There is no tree to print: all are drafts")
    return [tree for tree in trees if tree.id in tree_ids] if tree_ids else list(trees)
