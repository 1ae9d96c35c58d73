"""Questions in the terminal whose answers are judged at once: what does not fit is told, and asked again."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import click

from kb_tools.model.records import nearest
from kb_tools.model.values import folded, is_id

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable

NONE = "-"
"""What is typed for none where Enter takes something else."""
_SPAN = re.compile(r"(\d+(?:\.\d+)?)\s*(s|min|h)?")
_SHOWN = 12
"""So many known ids are listed in a question; of more the nearest is named when one is wrong."""


def ask(question: str, wrong: Callable[[str], str], default: str = "") -> str:
    """Ask until an answer fits.

    Args:
        question: The question, without the colon.
        wrong: Takes an answer and says what is wrong with it; empty when it fits.
        default: What Enter takes.

    Returns:
        The answer, without spaces around it.

    """
    while True:
        given = str(click.prompt(question, default=default, show_default=bool(default))).strip()
        problem = wrong(given)
        if not problem:
            return given
        click.echo(f"  {problem}")


def text(question: str, default: str = "") -> str:
    """Ask for words that there must be."""
    return ask(question, lambda given: "" if given else "This cannot be left out", default)


def optional(question: str) -> str | None:
    """Ask for words that there may be."""
    return ask(f"{question} (empty: none)", lambda _: "") or None


def number(question: str, default: str = "") -> float | None:
    """Ask for a number; None where Enter is pressed and there is no default."""

    def wrong(given: str) -> str:
        try:
            return "" if not given or float(given) == float(given) else "That is no number"
        except ValueError:
            return f"{given!r} is no number; write it as in 4.5"

    given = ask(question, wrong, default)
    return float(given) if given else None


def span(question: str) -> str | None:
    """Ask for minutes hands on; a plain number is taken for minutes."""

    def wrong(given: str) -> str:
        return "" if not given or _SPAN.fullmatch(given) else "Write minutes, as in 4, or 30 s, 5 min, 1 h"

    match = _SPAN.fullmatch(ask(f"{question} (empty: as assumed)", wrong))
    return f"{match[1]} {match[2] or 'min'}" if match else None


def missing(given: str, known: Collection[str], what: str, *, shown: bool = False) -> str:
    """Return in words that something is not known, with the nearest that is, else with all unless they were shown."""
    close = nearest(given, known)
    rest = "" if shown else f"; there is {', '.join(known) or 'none'}"
    return f"There is no {what} {given!r}{f'; did you mean {close}?' if close else rest}"


def one_of(question: str, known: Collection[str], what: str, default: str = "", *, needed: bool = True) -> str:
    """Ask for one of the known words; empty where it is not needed and Enter is pressed."""

    def wrong(given: str) -> str:
        if not given:
            return f"Name one: {', '.join(known)}" if needed else ""
        return "" if _meant(given, known) else missing(given, known, what, shown=bool(_list(known)))

    given = ask(f"{question}{_list(known)}{'' if needed else ' (empty: none)'}", wrong, default)
    return _meant(given, known)


def several(question: str, known: Collection[str], what: str, default: Iterable[str] = ()) -> tuple[str, ...]:
    """Ask for any of the known ids, by commas or spaces; Enter takes the default, or none."""

    def wrong(given: str) -> str:
        shown = bool(_list(known))
        return next((missing(one, known, what, shown=shown) for one in _split(given) if one not in known), "")

    offered = ", ".join(default)
    none = f"{NONE} for none" if offered else "empty: none"
    return tuple(dict.fromkeys(_split(ask(f"{question}{_list(known)} ({none})", wrong, offered))))


def new_id(question: str, taken: Collection[str], default: str) -> str:
    """Ask for an id that is not taken."""

    def wrong(given: str) -> str:
        if not is_id(given):
            return "An id is made of small letters, digits and hyphens, a letter first"
        return f"There is a step {given} already; give another id" if given in taken else ""

    return ask(question, wrong, default)


def _meant(given: str, known: Iterable[str]) -> str:
    """Return the known word that was typed, but for capitals and spaces."""
    return next((one for one in known if folded(one) == folded(given)), "") if given else ""


def _split(given: str) -> list[str]:
    return [] if given == NONE else given.replace(",", " ").split()


def _list(known: Collection[str]) -> str:
    return f" ({', '.join(known)})" if len(known) <= _SHOWN else ""
