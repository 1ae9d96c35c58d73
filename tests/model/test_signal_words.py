"""The signal words of cautions."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from kb_tools.model.entities import SIGNAL_WORDS
from making import findings_of

if TYPE_CHECKING:
    from pathlib import Path

CAUTION = """live-harness:
  signal: {signal}
  hazard: live-harness
  text: Power on the harness
  consequence: A short circuit burns skin and cable
  avoid: Unplug the battery first
moving-chair:
  signal: CAUTION
  hazard: moving-chair
  text: The chair may move by itself
  consequence: Crushed feet
  avoid: Nobody seated, clear floor
"""


def test_the_signal_words_are_those_of_the_standard() -> None:
    """ANSI Z535.6 (instructions and manuals) has these four, gravest first; from memory."""
    assert SIGNAL_WORDS == ("DANGER", "WARNING", "CAUTION", "NOTICE")


@pytest.mark.parametrize("signal", SIGNAL_WORDS)
def test_each_signal_word_is_read(signal: str, tmp_path: Path) -> None:
    """Each of the four may stand in a caution."""
    assert findings_of(tmp_path, {"trees/shared/cautions.yml": CAUTION.format(signal=signal)}) == []


@pytest.mark.parametrize("signal", ["Danger", "ATTENTION", "warning", "IMPORTANT"])
def test_other_words_are_refused(signal: str, tmp_path: Path) -> None:
    """Another word, or another case, is a finding that names the four."""
    (found,) = findings_of(tmp_path, {"trees/shared/cautions.yml": CAUTION.format(signal=signal)})
    assert found.rule == "value-type"
    assert all(word in f"{found.message} {found.remedy}" for word in SIGNAL_WORDS)
