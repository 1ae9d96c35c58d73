"""Names that name nothing: which known one is offered, and which slips keep it near."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb_tools.model.entities import Answer, Band, Step, Tree
from kb_tools.model.records import keys_of, nearest

KEYS = [sorted(keys_of(entity)) for entity in (Step, Answer, Band, Tree)]
_LEAST = 3
"""Letters of the shortest words; of two letters a slip leaves too little."""


@given(st.data())
def test_a_single_slip_keeps_a_key_near(data: st.DataObject) -> None:
    """A letter too many, too few, another one or two exchanged: a key is offered all the same."""
    keys = data.draw(st.sampled_from(KEYS))
    key = data.draw(st.sampled_from([key for key in keys if len(key) >= _LEAST]))
    at = data.draw(st.integers(0, len(key) - 1))
    letter = data.draw(st.sampled_from("abcdefghijklmnopqrstuvwxyz"))
    more, other = key[:at] + letter + key[at:], key[:at] + letter + key[at + 1 :]
    exchanged = key[:at] + key[at + 1 : at + 2] + key[at] + key[at + 2 :]
    fewer = key[:at] + key[at + 1 :]
    for slip in (more, other, exchanged, *([fewer] if len(key) > _LEAST else [])):
        assert nearest(slip, keys)


@pytest.mark.parametrize(
    ("word", "meant"),
    [("unsrue", "unsure"), ("TO", "to"), ("Answer", "answer"), ("stop-use", "stop_use"), ("confrims", "confirms")],
)
def test_the_word_that_was_meant_is_offered(word: str, meant: str) -> None:
    """Letters exchanged, in capitals, or parted otherwise."""
    assert nearest(word, keys_of(Answer)) == meant


@pytest.mark.parametrize("word", ["to_value", "label", "summary", "danger", "goto", "retry", "x"])
def test_what_only_shares_some_letters_is_not_offered(word: str) -> None:
    """A word of another kind brings the list of what there is, not a wrong guess."""
    assert nearest(word, keys_of(Answer)) == ""
