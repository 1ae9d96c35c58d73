"""What an evidence table says: which answers each cause may show, and which causes that tells apart.

Two causes can be told apart when some check has no answer that both may show. This is no
equivalence once causes may show several answers: b may look like a and like c while a and c
differ.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from kb_tools.model.values import folded

if TYPE_CHECKING:
    from kb_tools.model.doubts import Doubts
    from kb_tools.model.entities import Table
    from kb_tools.model.values import Word

Answers = frozenset[str]
"""Answers, each `folded`: in a table and in its tree they may differ in case and spaces."""


@dataclass(frozen=True)
class Shown:
    """The answers that each cause may show to each check."""

    causes: tuple[Word, ...]
    checks: tuple[Word, ...]
    outcomes: dict[str, Answers]
    """Check -> all its answers; one without any is left out, and then no cause is sure."""
    cells: dict[tuple[str, str], Answers]
    """(cause, check) -> what the cause may show there; absent when that cannot be told, because an
    id or an answer in its row does not exist or could not be read."""

    def is_sure(self, cause: str) -> bool:
        """Tell whether everything that a cause shows is known."""
        return all((cause, check) in self.cells for check in self.checks)

    @cached_property
    def _packed(self) -> tuple[dict[str, int], int, int]:
        """Each sure cause's answers as one number, with what finds a check that has none left.

        Every check has a field of bits, one for each answer and one above them that stays clear.
        A field of x that is not zero carries into the bit above when all-ones are added to it.
        """
        shift, ones, tops = 0, 0, 0
        bits: dict[str, dict[str, int]] = {}
        for check, answers in self.outcomes.items():
            bits[check] = {answer: 1 << shift + number for number, answer in enumerate(sorted(answers))}
            ones |= ((1 << len(answers)) - 1) << shift
            shift += len(answers)
            tops |= 1 << shift
            shift += 1
        packed = {
            str(cause): sum(bits[check][answer] for check in self.outcomes for answer in self.cells[cause, check])
            for cause in self.causes
            if self.is_sure(cause)
        }
        return packed, ones, tops

    def can_tell_apart(self, one: str, other: str) -> bool:
        """Tell whether some check tells two causes apart; also when that cannot be judged."""
        packed, ones, tops = self._packed
        if one not in packed or other not in packed:
            return True
        return ((packed[one] & packed[other]) + ones) & tops != tops

    def groups(self) -> list[tuple[Word, ...]]:
        """Return groups of causes of which no check tells any two apart, two or more in each.

        Together they cover every such pair. A cause may be in several.
        """
        packed, ones, tops = self._packed
        alike: dict[int, list[Word]] = {}
        for cause in self.causes:
            if cause in packed:
                alike.setdefault(packed[cause], []).append(cause)
        rows = list(alike)
        near = {row: {row} for row in rows}
        for number, row in enumerate(rows):
            for other in rows[number + 1 :]:
                if ((row & other) + ones) & tops == tops:
                    near[row].add(other)
                    near[other].add(row)
        return [
            tuple(cause for row in clique for cause in alike[row])
            for clique in _cliques(rows, near)
            if sum(len(alike[row]) for row in clique) > 1
        ]


def _cliques(rows: list[int], near: dict[int, set[int]]) -> list[list[int]]:
    """Cover all pairs of near rows with groups in which every two are near, greedily."""
    order = {row: number for number, row in enumerate(rows)}
    covered: set[tuple[int, int]] = set()
    cliques: list[list[int]] = []
    for row in rows:
        partners = sorted(near[row], key=order.__getitem__)
        if partners == [row]:
            cliques.append([row])
        for partner in partners:
            if order[partner] <= order[row] or (row, partner) in covered:
                continue
            clique = [row, partner]
            common = near[row] & near[partner]
            for third in sorted(common - {row, partner}, key=order.__getitem__):
                if near[third].issuperset(clique):
                    clique.append(third)
            clique.sort(key=order.__getitem__)
            covered.update((one, other) for one in clique for other in clique)
            cliques.append(clique)
    return cliques


def shown_by(table: Table, doubts: Doubts) -> Shown:
    """Return what each cause of a table may show.

    What a cause's row leaves out may be any answer. What was written there and cannot be told is
    in doubt: an answer that the check does not have, or anything left out in a row that names a
    check which does not exist.
    """
    outcomes = {
        str(name): frozenset(folded(answer) for answer in row.outcomes)
        for name, row in table.checks.items()
        if row.outcomes
    }
    cells: dict[tuple[str, str], Answers] = {}
    if not any(doubts.key(table.place, key) for key in ("shows", "checks", "causes")):
        strays = any(cause not in table.causes for cause in table.shows)
        for cause in table.causes:
            row = table.shows.get(cause)
            if row is None and strays:
                continue  # its row may be the one that names no cause
            _add_row(str(cause), row or {}, outcomes, cells)
    return Shown(tuple(table.causes), tuple(table.checks), outcomes, cells)


def _add_row(
    cause: str,
    row: dict[Word, tuple[Word, ...]],
    outcomes: dict[str, Answers],
    cells: dict[tuple[str, str], Answers],
) -> None:
    strays = any(check not in outcomes for check in row)
    for check, answers in outcomes.items():
        written = row.get(check)  # type: ignore[call-overload]
        if written is None:
            if not strays:
                cells[cause, check] = answers
            continue
        shown = frozenset(folded(answer) for answer in written)
        if shown and shown <= answers:
            cells[cause, check] = shown
