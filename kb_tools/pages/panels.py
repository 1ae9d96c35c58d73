"""Cautions and proofs as pages show them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from kb_tools.model.entities import signal_rank
from kb_tools.pages.rich_text import inline
from kb_tools.pages.words import words_of

if TYPE_CHECKING:
    from collections.abc import Iterable

    from markupsafe import Markup

    from kb_tools.model.entities import Library
    from kb_tools.model.values import Word


@dataclass(frozen=True, slots=True)
class Panel:
    """A caution: signal word, what the danger is, what it can do, how to avoid it (ANSI Z535.6)."""

    id: str
    signal: str
    text: Markup
    consequence: Markup
    avoid: Markup

    @property
    def is_alert(self) -> bool:
        """Whether the safety alert symbol stands beside the word: not where nobody can be hurt."""
        return self.signal != "NOTICE"


@dataclass(frozen=True, slots=True)
class ProofView:
    """A proof."""

    id: str
    title: str
    takes: str
    people: int
    needs: list[str]
    panels: list[Panel]
    items: list[tuple[Markup, bool]]
    """What must hold, and whether it may be passed over where the part is not fitted."""


def panels_of(ids: Iterable[Word], library: Library, root: str) -> list[Panel]:
    """Return the cautions of these ids, the gravest first; unknown ids are passed over."""
    known = [(name, library.cautions[name]) for name in ids if name in library.cautions]
    known.sort(key=lambda pair: signal_rank(pair[1].signal))
    return [
        Panel(name, one.signal, inline(one.text, root), inline(one.consequence, root), inline(one.avoid, root))
        for name, one in known
    ]


def proof_view(proof_id: Word, library: Library, root: str) -> ProofView | None:
    """Return the proof of this id, or None where it is not declared."""
    proof = library.proofs.get(proof_id)
    if proof is None:
        return None
    return ProofView(
        proof_id,
        proof.title,
        words_of(library).minutes(proof.minutes) if proof.minutes else "",
        proof.people or 1,
        [str(library.hazards[hazard].name) for hazard in proof.needs if hazard in library.hazards],
        panels_of(proof.cautions, library, root),
        [(inline(item.item, root), item.optional) for item in proof.items],
    )
