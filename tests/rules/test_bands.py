"""Bands of measurements against brute force: every number, and each in one band."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING

from hypothesis import given, settings
from hypothesis import strategies as st

from kb_tools.model.entities import Band
from kb_tools.model.values import Number
from kb_tools.rules import bands_cover
from kb_tools.rules.contract import subject_of
from kb_tools.rules.example_files import TODAY
from making import HERE, library, step, tree, word

if TYPE_CHECKING:
    from kb_tools.findings import Finding

Limits = tuple[int | None, int | None]
LIMIT = st.none() | st.integers(-3, 3)


def number(value: int | None) -> Number | None:
    """Return a limit as the reader makes it."""
    if value is None:
        return None
    made = Number(value)
    made.word = word(str(value))
    return made


def problems_with(bands: list[Limits]) -> list[Finding]:
    """Return what the rule says of a measurement with these bands."""
    made = tuple(
        Band(HERE, word(f"B{at}"), word("s"), number(low), number(high)) for at, (low, high) in enumerate(bands)
    )
    one = tree("t", "s", {"s": step("measure", unit="V", bands=made)})
    return list(bands_cover.check(subject_of(library([one]), TODAY)))


def held_by(value: float, bands: list[Limits]) -> int:
    """Return how many bands hold a value."""
    return sum(
        (-math.inf if low is None else low) <= value < (math.inf if high is None else high) for low, high in bands
    )


HALVES = [half / 2 for half in range(-8, 9)]
"""Every limit that is drawn, a value between any two, and one beyond them on either side."""


@settings(max_examples=1500, deadline=None)
@given(st.lists(st.tuples(LIMIT, LIMIT), min_size=1, max_size=4))
def test_bands_are_sound_just_when_each_value_is_in_one(bands: list[Limits]) -> None:
    """No finding means that every value is held once and no band is empty, and the reverse."""
    empty = any(low is not None and high is not None and low >= high for low, high in bands)
    sound = not empty and all(held_by(value, bands) == 1 for value in HALVES)
    assert (not problems_with(bands)) == sound


@settings(max_examples=500, deadline=None)
@given(st.lists(st.integers(-3, 3), unique=True, max_size=4), st.randoms())
def test_bands_that_follow_each_other_are_sound_in_any_order(edges: list[int], chance: object) -> None:
    """Bands cut at any edges and shuffled are sound; with one left out, just the gap is found."""
    cuts: list[int | None] = [None, *sorted(edges), None]
    bands: list[Limits] = list(pairwise(cuts))
    chance.shuffle(bands)  # type: ignore[attr-defined]
    assert not problems_with(bands)
    if len(bands) > 1:
        low, high = bands.pop()
        [gap] = problems_with(bands)
        for limit in (low, high):
            assert limit is None or str(limit) in gap.message
