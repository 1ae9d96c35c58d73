"""Compare a copied site with the list of its edition: what is missing, changed or extra."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kb_tools.carriers.folder import EDITION
from kb_tools.findings import UsageError

if TYPE_CHECKING:
    from pathlib import Path

CHUNK = 1 << 20


@dataclass(frozen=True, slots=True)
class Comparison:
    """How a folder differs from its edition; paths are POSIX and relative to the folder."""

    edition: str
    number: int | None
    date: str | None
    files: int
    """How many files the edition has, its list included."""
    missing: list[str]
    changed: list[str]
    extra: list[str]

    @property
    def whole(self) -> bool:
        """Whether every file is there and none differs; extra files do no harm but are told."""
        return not (self.missing or self.changed)


def verify(site: Path) -> Comparison:
    """Compare the folder `site` with its own edition list.

    Raises:
        UsageError: when the folder holds no edition list, or one that cannot be read.

    """
    listing = site / EDITION
    try:
        listed = json.loads(listing.read_text("utf-8"))
        files = dict(listed["files"])
        edition, number, date = str(listed["edition"]), listed["number"], listed["date"]
    except OSError as error:
        raise UsageError(_without_list(site, error)) from error
    except (ValueError, KeyError, TypeError) as error:
        raise UsageError(f"{listing} is no list of an edition; copy the site anew") from error
    there = {path.relative_to(site).as_posix(): path for path in site.rglob("*") if path.is_file()}
    return Comparison(
        edition,
        number,
        date,
        len(files) + 1,
        missing=sorted(set(files) - set(there)),
        changed=sorted(name for name, wanted in files.items() if name in there and _hash(there[name]) != wanted),
        extra=sorted(set(there) - set(files) - {EDITION}),
    )


def _without_list(site: Path, error: OSError) -> str:
    """Say why the list of the edition cannot be read, and how to mend it."""
    if not isinstance(error, FileNotFoundError):
        remedy = "give yourself read permission on it, or copy the site anew"
        return f"{site / EDITION} cannot be read ({error.strerror}); {remedy}"
    if (site / "index.html").is_file():
        return (
            f"{EDITION}, the list of the edition, is missing in {site}, so nothing can be compared. Copy the whole "
            "site anew, the folder kb/ with it; a site made by `mkdocs build` has no such list, `kb build` writes it"
        )
    remedy = "Name the folder that `kb build` wrote, the one with index.html"
    return f"{site} is no built site: it holds no {EDITION}. {remedy}"


def _hash(path: Path) -> str:
    """Return the file's SHA-256, or an empty text when it cannot be read."""
    digest = hashlib.sha256()
    try:
        with path.open("rb") as stream:
            while chunk := stream.read(CHUNK):
                digest.update(chunk)
    except OSError:
        return ""
    return digest.hexdigest()
