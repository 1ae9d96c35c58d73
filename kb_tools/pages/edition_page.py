"""The page "new in this edition": what it is, what changed, and what was accepted although it got less safe."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from kb_tools.pages.rich_text import html
from kb_tools.pages.words import words_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from markupsafe import Markup

    from kb_tools.model.entities import Library, Settings, Tree
    from kb_tools.pages.words import Words

EDITION_PAGE = "edition.md"


@dataclass(frozen=True, slots=True)
class Accepted:
    """Something that got less safe, and why it was published all the same."""

    kind: str
    tree: str
    step: str
    text: str
    reason: str


@dataclass(frozen=True, slots=True)
class NewsLine:
    """One difference from the edition before."""

    kind: str
    """What kind of change, in words."""
    tree: str
    step: str
    """The step that changed; empty for a whole tree."""
    text: str
    title: str = ""
    """The tree's title."""


@dataclass(frozen=True, slots=True)
class FiguresLine:
    """Minutes and odds of a tree, before and after."""

    tree: str
    title: str
    minutes: tuple[float, float]
    worst: tuple[float, float]
    odds: Mapping[str, tuple[float, float]]


@dataclass(frozen=True, slots=True)
class EditionNews:
    """What is new, handed in by who compared the editions."""

    since: str = ""
    """What it is compared with, in words; empty: with nothing."""
    lines: Sequence[NewsLine] = ()
    """Differences, in the order to tell them."""
    figures: Sequence[FiguresLine] = ()
    accepted: Sequence[Accepted] = ()
    previous: Mapping[str, bytes] = field(default_factory=dict)
    """The sources of what it is compared with: the site carries them on."""


@dataclass(frozen=True, slots=True)
class Row:
    """A line of the page."""

    where: str
    href: str
    text: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class FiguresRow:
    """Minutes and odds of a tree on the page."""

    where: str
    href: str
    expected: str
    worst: str
    odds: list[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class EditionPage:
    """What the page shows."""

    head: str
    """Its number and date, in a sentence."""
    note: Markup | None
    since: str
    accepted: list[Row]
    groups: list[tuple[str, list[Row]]]
    """Kinds of change and their lines."""
    figures: list[FiguresRow]


def edition_page(library: Library, trees: Sequence[Tree], news: EditionNews | None) -> EditionPage:
    """Return what the page shows.

    Args:
        library: The library.
        trees: The trees that have pages.
        news: What changed, where that was looked at.

    """
    settings, told, words = library.settings, news or EditionNews(), words_of(library)
    shown = {tree.id: tree for tree in trees}
    groups: dict[str, list[Row]] = {}
    for line in told.lines:
        groups.setdefault(line.kind, []).append(
            Row(_where(line.tree, line.step, line.title, shown, words), _href(line.tree, line.step, shown), line.text)
        )
    return EditionPage(
        head=_head(settings, words),
        note=html(settings.note, "") if settings and settings.note else None,
        since=told.since,
        accepted=[
            Row(_where(one.tree, one.step, "", shown, words), _href(one.tree, one.step, shown), one.text, one.reason)
            for one in told.accepted
        ],
        groups=list(groups.items()),
        figures=[
            FiguresRow(
                _where(one.tree, "", one.title, shown, words),
                _href(one.tree, "", shown),
                _pair(words, *map(words.minutes, one.minutes)),
                _pair(words, *map(words.minutes, one.worst)),
                [(cause, _pair(words, *map(words.percent, chances))) for cause, chances in one.odds.items()],
            )
            for one in told.figures
        ],
    )


def _head(settings: Settings | None, words: Words) -> str:
    number, date = (settings.edition, settings.date) if settings else (None, None)
    if date:
        key = "edition.numbered_of" if number else "edition.unnumbered_of"
        return words.say(key, number=number, date=words.day(date.date))
    return words.say("edition.numbered" if number else "edition.unnumbered", number=number)


def _pair(words: Words, before: str, after: str) -> str:
    if before == after:
        return words.say("edition.as_before", after=after)
    return words.say("edition.before_now", before=before, after=after)


def _where(tree: str, step: str, title: str, shown: Mapping[str, Tree], words: Words) -> str:
    if tree == "shared":
        return words.say("edition.shared", name=step)
    name = shown[tree].title if tree in shown else title or tree
    return words.say("edition.at_step", tree=name, step=step) if step else str(name)


def _href(tree: str, step: str, shown: Mapping[str, Tree]) -> str:
    """Return the address of a tree or step, empty where there is none any more."""
    if tree not in shown:
        return ""
    return f"trees/{tree}.html#{step}" if step and step in shown[tree].steps else f"trees/{tree}.html"
