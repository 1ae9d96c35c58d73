"""The folder: a site built beside the old one and swapped in when it is whole."""

from __future__ import annotations

import hashlib
import json
import shutil
import tempfile
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kb_tools.carriers.licences import licences
from kb_tools.carriers.webapp import write_app
from kb_tools.findings import BuildError
from kb_tools.pages.mkdocs_plugin import build_site
from kb_tools.source.archive import packed, sources_of
from kb_tools.source.files import ACCEPTED, CARRIED, PREVIOUS

if TYPE_CHECKING:
    from kb_tools.model.entities import Settings
    from kb_tools.pages.edition_page import EditionNews
    from kb_tools.rules.contract import Subject

EDITION = "kb/edition.json"
LICENCES = "kb/licences.txt"
SITE = "site"
"""Where a site goes when nothing else is said, below the library's root."""


@dataclass(frozen=True, slots=True)
class Built:
    """What a build made."""

    out: Path
    edition: str
    """Hash over every file of the site."""
    files: int
    bytes: int
    warnings: list[str]
    """What MkDocs warned of."""


def build(
    root: Path, out: Path, subject: Subject, config_file: Path | None = None, news: EditionNews | None = None
) -> Built:
    """Build the site of a library into `out`; what stood there stays until the new one is whole.

    Args:
        root: The folder that holds trees/.
        out: The folder of the site.
        subject: The library of `root`, read and found without errors.
        config_file: The mkdocs.yml; left out: the one in `root`.
        news: What the edition's page tells of what is new; left out: nothing.

    Raises:
        BuildError: when the site cannot be built; `out` is as it was.

    """
    out = out.resolve()
    recover(out)
    _refuse(root.resolve(), out)
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        fresh = Path(tempfile.mkdtemp(prefix=f".{out.name}.new-", dir=out.parent))
    except OSError as error:
        raise BuildError(f"{out.parent} cannot be written to: {error.strerror}") from error
    try:
        fresh.chmod(0o755)
        site = build_site(config_file or root / "mkdocs.yml", fresh, subject, news)
        settings = subject.library.settings
        write_app(fresh, subject.library)
        (fresh / CARRIED).write_bytes(packed(sources_of(root)))
        if news:
            _carry(news, fresh)
        (fresh / LICENCES).write_text(licences(site.theme), "utf-8", newline="\n")
        listed = _write_edition(fresh, settings)
        swap(fresh, out)
    except OSError as error:
        raise BuildError(f"The site cannot be written: {error.strerror or error} ({error.filename})") from error
    finally:
        shutil.rmtree(fresh, ignore_errors=True)
    size = sum(path.stat().st_size for path in out.rglob("*") if path.is_file())
    return Built(out, listed["edition"], len(listed["files"]) + 1, size, site.warnings)


def _carry(news: EditionNews, site: Path) -> None:
    """Write what the next build needs to know: the sources of the edition before, and what was accepted."""
    if news.previous:
        (site / PREVIOUS).write_bytes(packed(news.previous))
    if news.accepted:
        told = json.dumps([asdict(one) for one in news.accepted], indent=1, ensure_ascii=False, sort_keys=True)
        (site / ACCEPTED).write_text(f"{told}\n", "utf-8", newline="\n")


def _refuse(root: Path, out: Path) -> None:
    """Refuse a folder that a swap would rob of something else than a site."""
    sources = [root / name for name in ("trees", "content")]
    if any(folder.is_relative_to(out) or out.is_relative_to(folder) for folder in (*sources, root / "mkdocs.yml")):
        raise BuildError(f"{out} holds or lies in the library's own files; name another folder for the site")
    if out.is_dir() and any(out.iterdir()) and not (out / EDITION).is_file():
        raise BuildError(f"{out} holds something that is no site of `kb build`; empty it or name another folder")
    if out.exists() and not out.is_dir():
        raise BuildError(f"{out} is a file; name another folder for the site")


def _write_edition(site: Path, settings: Settings | None) -> dict[str, Any]:
    """Write the list of all files with their hashes, and return it."""
    files = {
        path.relative_to(site).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(site.rglob("*"))
        if path.is_file()
    }
    files = dict(sorted(files.items()))
    whole = hashlib.sha256("".join(f"{name}\n{digest}\n" for name, digest in files.items()).encode("utf-8"))
    listed = {
        "date": settings.date.date.isoformat() if settings and settings.date else None,
        "edition": whole.hexdigest(),
        "files": files,
        "number": settings.edition if settings else None,
    }
    text = json.dumps(listed, indent=0, sort_keys=True, ensure_ascii=False)
    (site / EDITION).write_text(f"{text}\n", "utf-8", newline="\n")
    return listed


def _aside(out: Path) -> Path:
    """Return where the old site waits while the new one takes its place."""
    return out.parent / f".{out.name}.old"


def swap(fresh: Path, out: Path) -> None:
    """Put the new site in the old one's place; a failure in between puts the old one back."""
    old = _aside(out)
    had_old = out.exists()
    if had_old:
        out.rename(old)
    try:
        fresh.rename(out)
    except OSError:
        if had_old:
            old.rename(out)
        raise
    shutil.rmtree(old, ignore_errors=True)


def recover(out: Path) -> None:
    """Put back the site that a build left aside which was stopped in the middle of a swap; else do nothing.

    Raises:
        BuildError: when it cannot be put back.

    """
    old = _aside(out)
    if not old.is_dir():
        return
    try:
        if out.exists():
            shutil.rmtree(old)
        else:
            old.rename(out)
    except OSError as error:
        raise BuildError(f"{old} was left by a build that was stopped and cannot be moved: {error.strerror}") from error
