"""Hints as whole words, against one plain pattern a hint."""

from __future__ import annotations

import re
from datetime import date
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kb_tools.rules import contract, hazard_undeclared
from making import answer, library, step, tree, words

if TYPE_CHECKING:
    from kb_tools.model.entities import Step

HINTS = {
    "power": ("fuse", "fuse holder", "bare wire", "battery", "24 V+"),
    "motion": ("drive wheel", "fuse holder cover", "wire end"),
}


def hinted(*steps: Step) -> set[tuple[int, str]]:
    """Return (number of the step, hazard) for what the rule finds in a tree of these steps."""
    kept = {f"s{number}": one for number, one in enumerate(steps)}
    one = library([tree("t", "s0", kept)], dict.fromkeys(HINTS, False))
    for hazard, entry in one.hazards.items():
        entry.hints = words(HINTS[hazard])
    for number, made in enumerate(steps):
        for text in filter(None, (made.text, made.how, made.say, made.confirm)):
            text.line = number
    found = hazard_undeclared.check(contract.subject_of(one, date(2026, 11, 25)))
    return {(finding.place.line, hazard) for finding in found for hazard in HINTS if f"`{hazard}`" in finding.message}


def asking(text: str, **keys: object) -> Step:
    """Return a check with this text in its `how`."""
    return step("check", how=text, answers=(answer("s0"),), **keys)


@pytest.mark.parametrize(
    ("text", "hazards"),
    [
        ("Take the fuse out", {"power"}),
        ("FUSES blow", {"power"}),
        ("The fuse's strip", {"power"}),
        ("A fuse-holder, open", {"power"}),
        ("two bare  wires", {"power"}),
        ("two bare\nwires", {"power"}),
        ("both batteries", {"power"}),
        ("on the +24 V+ side", {"power"}),
        ("the fuse holder cover", {"power", "motion"}),
        ("a bare wire end", {"power", "motion"}),
        ("It was refused, confused", set()),
        ("fuselage", set()),
        ("a bare copper wire", set()),
        ("drivewheel", set()),
        ("", set()),
    ],
)
def test_hints_are_whole_words(text: str, hazards: set[str]) -> None:
    """Case, hyphens, line breaks and simple plurals do not hide a hint; parts of words are none."""
    assert hinted(asking(text)) == {(0, hazard) for hazard in hazards}


@pytest.mark.parametrize(
    "declaring",
    [
        asking("the fuse", exposes=["power"]),
        asking("the fuse", works_live=["power"]),
        asking("the fuse", needs=["power"]),
        asking("the fuse", isolates=["power"]),
        asking("the fuse", restores=["power"]),
        step("check", how="the fuse", answers=(answer("s0", isolates=["power"]),)),
        step("check", how="the fuse", answers=(answer("s0", confirms=["power"]),)),
        asking("the fuse", exposes=["pwoer"]),
        step("escalate", how="the fuse"),
        step("link", link="t", how="the fuse"),
    ],
)
def test_a_step_that_declares_something_is_left_alone(declaring: Step) -> None:
    """Any declaration counts, on an answer or misspelt too; handing over is no work."""
    assert hinted(declaring) == set()
    assert hinted(declaring, asking("the fuse")) == {(1, "power")}


def test_each_step_is_told_once_a_hazard() -> None:
    """A hint that comes again in the same step adds nothing."""
    twice = step("do", how="The fuse, and the fuse", confirm="fuse", say="fuse", then="s1")
    assert hinted(twice, asking("drive wheels")) == {(0, "power"), (1, "motion")}


def plainly(text: str) -> set[str]:
    """Return the hazards hinted at in a text, by one pattern for each hint."""
    found = set()
    for hazard, hints in HINTS.items():
        for hint in hints:
            spelt = r"[\s-]+".join(re.escape(part) for part in hint.split())
            forms = [f"{spelt}(?:s|es)?"]
            if hint.endswith("y"):
                forms.append(f"{spelt[:-1]}ies")
            if any(re.search(rf"(?<!\w){form}(?!\w)", text, re.IGNORECASE) for form in forms):
                found.add(hazard)
    return found


PIECES = "fuse fuses Fuse holder holders cover bare wire wires end ends battery batteries drive wheel x".split()


@settings(max_examples=700, deadline=None)
@given(st.lists(st.lists(st.sampled_from([*PIECES, " ", " ", "-", "\n", "s", "."]), max_size=8), max_size=3))
def test_one_pass_finds_what_one_pattern_a_hint_finds(texts: list[list[str]]) -> None:
    """Overlapping hints, hints within hints and neighbouring texts are told apart."""
    joined = ["".join(pieces) for pieces in texts]
    expected = {(number, hazard) for number, text in enumerate(joined) for hazard in plainly(text)}
    assert hinted(*(asking(text) for text in joined)) == expected
