"""Commands that carry a library elsewhere: on paper, and into the formats of other programs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from kb_tools.author.publish import publication
from kb_tools.carriers.export_dita import export_dita
from kb_tools.carriers.export_json import export_json
from kb_tools.carriers.folder import SITE
from kb_tools.carriers.paper import PAPER, print_book
from kb_tools.cli._common import existing, library_option, quiet_option, sound, strict_option, tell, today_option
from kb_tools.cli._completing import FileId
from kb_tools.cli._publishing import accept_option, accepted, since_option
from kb_tools.pages.wording import counted
from kb_tools.source.writing import write_whole

if TYPE_CHECKING:
    from datetime import date


@click.command()
@click.argument("trees", nargs=-1, metavar="[TREE]...", type=FileId("tree"))
@library_option
@strict_option
@today_option
@quiet_option
@click.option("--out", type=click.Path(path_type=Path), help=f"The file (default: {PAPER} in the library).")
@since_option
@accept_option
def paper(  # noqa: PLR0913 - one for each option
    trees: tuple[str, ...],
    library_dir: Path,
    today: date | None,
    out: Path | None,
    since: str,
    reason: str,
    *,
    strict: bool,
) -> None:
    """Check the library, then write it as a book for the glove box: a PDF of size A5, in black and white.

    TREE is the id of a tree to print; left out, all are printed but drafts. "Go to step 7" carries
    the page in this book. What got less safe since the site in `site/` stops it as it stops `kb build`,
    unless it was accepted there or is here.
    """
    root = existing(library_dir)
    subject = sound(root, today, strict=strict)
    accepted(root, subject.library, root / SITE, since, reason)
    target = out or root / PAPER
    printed = print_book(root, target, subject, trees)
    for warning in printed.warnings:
        click.echo(f"warning: {warning}", err=True)
    tell(f"{target}: {printed.pages} pages, {printed.size / 1e6:.1f} MB, {counted(printed.trees, 'tree')}")


_EXPORTS = {"json": "library.json", "dita": "dita"}
"""Form -> where it goes when nothing else is said, below the library's root."""


@click.command()
@library_option
@strict_option
@today_option
@quiet_option
@click.option("--to", "form", type=click.Choice(list(_EXPORTS)), required=True, help="The form.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="The file of json (- prints it), the folder of dita (default: library.json or dita/ in the library).",
)
def export(library_dir: Path, today: date | None, form: str, out: Path | None, *, strict: bool) -> None:
    """Check the library, then write it in a form that other programs read.

    json is one file with all that authors wrote and what follows from it; `kb schema export` prints
    its schema. dita is a folder of DITA 1.3 topics with a map. What got less safe since the site in
    `site/` and was not accepted is noted, and stops nothing.
    """
    root = existing(library_dir)
    subject = sound(root, today, strict=strict)
    edition = publication(root, subject.library, root / SITE)
    if edition.open:
        changes = counted(len(edition.open), "change")
        click.echo(
            f"note: {changes} since {edition.since} made the library less safe; `kb compare` tells them", err=True
        )
    target = out or root / _EXPORTS[form]
    trees = counted(len(subject.library.trees), "tree")
    if form == "dita":
        written = export_dita(root, target, subject)
        told = f"{counted(written.topics, 'topic')}, {counted(written.pictures, 'picture')}"
        tell(f"{target}: {trees}, {told}")
        return
    text = export_json(subject)
    if str(target) == "-":
        click.echo(text, nl=False)
        return
    write_whole(target, text)
    tell(f"{target}: {trees}, {len(text.encode()) / 1e3:.0f} KB")
