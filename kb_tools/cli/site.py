"""Commands that make what people read: the site, its preview, the pocket file; and that judge a copy."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from kb_tools.carriers.folder import SITE, recover
from kb_tools.carriers.folder import build as build_folder
from kb_tools.carriers.pocket import POCKET
from kb_tools.carriers.pocket import pack as pack_library
from kb_tools.carriers.verify import verify as verify_site
from kb_tools.cli._common import (
    existing,
    library_at,
    library_option,
    quiet_option,
    sound,
    strict_option,
    tell,
    today_option,
)
from kb_tools.cli._news import news_of
from kb_tools.cli._publishing import accept_option, accepted, since_option
from kb_tools.findings import UsageError
from kb_tools.pages.mkdocs_plugin import serve_site
from kb_tools.pages.wording import counted

if TYPE_CHECKING:
    from datetime import date


@click.command()
@library_option
@strict_option
@today_option
@quiet_option
@click.option("--out", type=click.Path(path_type=Path), help="The folder of the site (default: site/ in the library).")
@click.option(
    "--config", "config_file", type=click.Path(path_type=Path), help="The site configuration (default: mkdocs.yml)."
)
@since_option
@accept_option
def build(  # noqa: PLR0913 - one for each option
    library_dir: Path,
    today: date | None,
    out: Path | None,
    config_file: Path | None,
    since: str,
    reason: str,
    *,
    strict: bool,
) -> None:
    """Check the library, then build its site beside the old one and swap it in.

    A library with errors, or a build that fails, leaves the old site as it was. The page "New in this
    edition" tells what changed since the edition before: the site in place, or the one that it was
    compared with where the number is the same. A caution that is gone, a hazard newly exposed or a proof
    that is gone stops the build, until `--accept` gives the reason, which that page tells.
    """
    root = existing(library_dir)
    config = _configuration(config_file or root / "mkdocs.yml")
    site = out or root / SITE
    recover(site.resolve())
    subject = sound(root, today, strict=strict)
    told = accepted(root, subject.library, site, since, reason)
    built = build_folder(root, site, subject, config, news_of(told, subject.library))
    for warning in (*built.warnings, *told.warnings):
        click.echo(f"warning: {warning}", err=True)
    tell(f"{built.files} files, {built.bytes / 1e6:.1f} MB, edition {built.edition[:12]}")
    tell(f"Open {built.out / 'index.html'} in a browser")


@click.command()
@library_option
@strict_option
@today_option
@quiet_option
@click.option("--out", type=click.Path(path_type=Path), help=f"The file (default: {POCKET} in the library).")
@since_option
@accept_option
def pack(library_dir: Path, today: date | None, out: Path | None, since: str, reason: str, *, strict: bool) -> None:
    """Check the library, then write it as one HTML file: trees, drawings, finder and walk.

    What got less safe since the site in `site/` stops it as it stops `kb build`, unless it was accepted
    there or is here.
    """
    root = existing(library_dir)
    subject = sound(root, today, strict=strict)
    accepted(root, subject.library, root / SITE, since, reason)
    size = pack_library(root, out or root / POCKET, subject)
    tell(f"{out or root / POCKET}: {size / 1e3:.0f} KB, {counted(len(subject.library.trees), 'tree')}")


@click.command()
@library_option
@quiet_option
@click.option("--address", default="127.0.0.1:8000", show_default=True, help="Host and port to serve at.")
@click.option("--open", "open_browser", is_flag=True, help="Open the site in the browser.")
def preview(library_dir: Path, address: str, *, open_browser: bool) -> None:
    """Show the site on this machine and build it anew on each change of a tree or page.

    What is wrong with the library stands at the steps where it belongs, and at the top of its pages;
    drafts are shown too.
    """
    root = library_at(library_dir)
    config = _configuration(root / "mkdocs.yml")
    tell(f"Serving at http://{address}/ - Ctrl-C ends it", err=True)
    serve_site(config, address, open_browser=open_browser)


@click.command()
@quiet_option
@click.argument("site", type=click.Path(path_type=Path))
def verify(site: Path) -> None:
    """Compare a copied SITE with its edition: name what is missing, changed or extra."""
    found = verify_site(site)
    for word, names in (("missing", found.missing), ("changed", found.changed), ("extra", found.extra)):
        for name in names:
            click.echo(f"{word:<8} {name}")
    told = f"edition {found.number or '-'} of {found.date or 'no date'} ({found.edition[:12]}), {found.files} files"
    tell(f"{told}: {'complete' if found.whole else 'NOT complete, copy it anew'}")
    sys.exit(0 if found.whole else 1)


def _configuration(path: Path) -> Path:
    """Return the site's configuration, which must be there."""
    if not path.is_file():
        raise UsageError(f"{path} does not exist; a site needs it (`kb start` writes one)")
    return path
