"""What a new edition is compared with before it is published, and what must be accepted.

A site carries the sources that it was made from, those of the edition before, and what was accepted.
A build over it compares with the sources in place, where those are of another number; with those
carried from the edition before, where the number is the same. So a second build of the same sources
over its own site compares with the same edition again, and gives the same bytes.
"""

from __future__ import annotations

import json
import zipfile
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from kb_tools.author.compare import Change, Comparison, Kind, compare
from kb_tools.author.editions import opened, opened_sources
from kb_tools.source.archive import sources_of, unpacked
from kb_tools.source.files import ACCEPTED, CARRIED, PREVIOUS, TREES

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from kb_tools.model.entities import Library

_Sources = dict[str, bytes]
_Key = tuple[str, str, str, str]


@dataclass(slots=True)
class Publication:
    """What is to be said of an edition that is about to be published."""

    since: str = ""
    """What it is compared with, in words; empty: with nothing."""
    comparison: Comparison = field(default_factory=Comparison)
    accepted: list[tuple[Change, str]] = field(default_factory=list)
    """What got less safe and may be published all the same, with the reasons."""
    open: list[Change] = field(default_factory=list)
    """What got less safe and nobody has accepted."""
    previous: _Sources = field(default_factory=dict)
    """The sources of what it is compared with."""
    titles: dict[str, str] = field(default_factory=dict)
    """Tree -> its title, of the trees before."""
    warnings: list[str] = field(default_factory=list)
    """What an author easily forgets: number and date of the edition."""


@dataclass(slots=True)
class _Site:
    """What the site in place carries."""

    sources: _Sources
    previous: _Sources
    accepted: dict[_Key, str]


def publication(root: Path, library: Library, out: Path, since: str = "", reason: str = "") -> Publication:
    """Compare a library with the edition before.

    Args:
        root: The folder that holds trees/.
        library: The library of `root`.
        out: The folder of the site; one that stands there is the last edition.
        since: What to compare with in its place: a folder, a site or a revision in git.
        reason: Why what got less safe is accepted; empty: it is not.

    Raises:
        UsageError: when `since` names nothing.

    """
    site, sources = _site(out), sources_of(root)
    told, new = Publication(), _published(library)
    with ExitStack() as stack:
        against: list[Library] = []
        in_place = stack.enter_context(opened_sources(site.sources)) if site and site.sources != sources else None
        if in_place:
            told.warnings = _forgotten(in_place, library)
        same = site is not None and (in_place is None or _number(in_place) == _number(library) is not None)
        if since:
            against.append(stack.enter_context(opened(since, root)))
            told.previous = sources_of(against[0].root)
        elif site and same and site.previous:
            against.append(stack.enter_context(opened_sources(site.previous)))
            told.previous = site.previous
        elif in_place and site:
            told.previous = site.sources
        if in_place:
            against.append(in_place)
        known = site.accepted if site and same else {}
        if not against:
            return _settle(told, [], known, reason)
        before = _published(against[0])
        told.since, told.titles = _called(before), {tree.id: str(tree.title) for tree in before.trees.values()}
        found = [compare(_published(one), new) for one in against]
        told.comparison = found[0]
        grave = {_key(change): change for one in found for change in one.grave}
        if in_place:
            # What was accepted and mended since is past.
            known = {key: why for key, why in known.items() if key in grave}
        return _settle(told, list(grave.values()), known, reason)


def _settle(told: Publication, grave: list[Change], known: Mapping[_Key, str], reason: str) -> Publication:
    """Tell what is accepted, by this build or an earlier one of the same edition, and what is open."""
    known = dict(known)
    for change in grave:
        key = _key(change)
        if reason:
            known.setdefault(key, reason)
        if key not in known:
            told.open.append(change)
    told.accepted = [(Change(Kind(kind), *rest), why) for (kind, *rest), why in sorted(known.items())]
    return told


def _key(change: Change) -> _Key:
    return (str(change.kind), change.tree, change.step, change.text)


def _site(out: Path) -> _Site | None:
    """Return what a site carries, or None where there is none, or none that can be read."""
    try:
        sources = unpacked(out / CARRIED)
        previous = unpacked(out / PREVIOUS) if (out / PREVIOUS).is_file() else {}
        told: list[dict[str, Any]] = (
            json.loads((out / ACCEPTED).read_text("utf-8")) if (out / ACCEPTED).is_file() else []
        )
        accepted = {(one["kind"], one["tree"], one["step"], one["text"]): str(one["reason"]) for one in told}
    except (OSError, zipfile.BadZipFile, ValueError, KeyError, TypeError):
        # Not a site, or damaged: a build over it is as good as a first one.
        return None
    return _Site(sources, previous, accepted)


def _published(library: Library) -> Library:
    """Return a library without its drafts, which are no part of an edition."""
    return replace(library, trees={name: tree for name, tree in library.trees.items() if not tree.is_draft})


def _number(library: Library) -> int | None:
    return library.settings.edition if library.settings else None


def _forgotten(in_place: Library, library: Library) -> list[str]:
    """Tell where number and date do not say that this is another edition than the site in place."""
    before, now = in_place.settings, library.settings
    if not (before and now and before.edition and now.edition):
        return []
    mend = f"raise `edition` and `date` in {TREES}/shared/library.yml before it is handed out"
    if now.edition < before.edition:
        return [f"the site in place is {_called(in_place)}, and this is edition {now.edition}: {mend}"]
    if now.edition == before.edition:
        return [f"the site in place is {_called(in_place)} too, with other content: {mend}"]
    if now.date and before.date and now.date.date < before.date.date:
        return [f"the site in place is {_called(in_place)}, and this one is dated {now.date.date.isoformat()}: {mend}"]
    return []


def _called(library: Library) -> str:
    """Return what an edition is called."""
    settings = library.settings
    name = f"edition {settings.edition}" if settings and settings.edition else "an edition without a number"
    return f"{name} of {settings.date.date.isoformat()}" if settings and settings.date else name
