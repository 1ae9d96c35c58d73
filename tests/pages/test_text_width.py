"""Wrapping of texts in drawings."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from kb_tools.pages.text_width import SLACK, width, wrap


def test_widths_of_helvetica() -> None:
    """Advance widths of Helvetica: `i` 222, `W` 944, a digit 556 thousandths (its AFM file, from memory)."""
    for char, thousandths in (("i", 222), ("W", 944), ("7", 556), (" ", 278), ("m", 833)):
        assert abs(width(char, 1000) / SLACK - thousandths) < 1e-6


@given(st.text(max_size=120), st.integers(1, 5), st.sampled_from([40.0, 90.0, 140.0]))
def test_lines_fit(text: str, lines: int, room: float) -> None:
    """No more lines than allowed, none wider than the room unless it is one single character."""
    wrapped = wrap(text, 14, room, lines)
    assert len(wrapped) <= lines
    assert all(width(line, 14) <= room or len(line) <= 2 for line in wrapped)


@given(st.lists(st.text("abcde", min_size=1, max_size=8), min_size=1, max_size=12))
def test_nothing_is_lost_where_there_is_room(words: list[str]) -> None:
    """With lines enough, the words come out as they went in."""
    assert " ".join(wrap(" ".join(words), 14, 140.0, 99)).split() == words


def test_what_is_left_over_is_cut_visibly() -> None:
    """A text that is too long ends in an ellipsis."""
    assert wrap("one two three four five six seven", 14, 60.0, 2)[-1].endswith("…")
