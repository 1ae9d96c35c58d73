"""Numbers of steps: they begin at the start, and every way leads forward."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from kb_tools.pages.numbering import step_numbers
from making import answer, step, tree, word
from random_trees import random_trees, read_library, seeded

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize("seed", range(5))
def test_every_way_leads_forward(seed: int, tmp_path: Path) -> None:
    """In forty random trees every number is given once; from what the start reaches, ways lead to greater ones."""
    library = read_library(tmp_path, random_trees(seeded(seed), 40, most_steps=14))
    for one in library.trees.values():
        numbers = step_numbers(one)
        assert sorted(numbers.values()) == list(range(1, len(one.steps) + 1))
        reached, waiting = {str(one.start)}, [str(one.start)]
        for name in waiting:
            made = one.steps[word(name)]
            named = [*(way.to for way in made.answers or ()), *(way.to for way in made.bands or ())]
            named += [to for to in (made.then, made.cannot, made.not_cured) if to]
            assert all(numbers[name] < numbers[to] for to in named), f"{one.id}/{name}"
            waiting += [to for to in dict.fromkeys(named) if to not in reached]
            reached.update(named)
        assert sorted(numbers[name] for name in reached) == list(range(1, len(reached) + 1))


def test_the_first_branch_follows_its_question() -> None:
    """The first answer's branch comes before the second's, and what both reach comes last."""
    made = tree(
        "t",
        "first",
        {
            "end": step("done"),
            "second": step("check", answers=(answer("end"),)),
            "branch": step("check", answers=(answer("end"),)),
            "first": step("check", answers=(answer("branch", "Yes"), answer("second", "No"))),
        },
    )
    assert list(step_numbers(made)) == ["first", "branch", "second", "end"]


def test_steps_out_of_reach_come_last() -> None:
    """A step that nothing leads to is numbered behind the others, and a loop does no harm."""
    made = tree(
        "t",
        "a",
        {
            "lost": step("check", answers=(answer("a"),)),
            "a": step("check", answers=(answer("b"),)),
            "b": step("check", answers=(answer("a"),)),
        },
    )
    assert step_numbers(made) == {"a": 1, "b": 2, "lost": 3}
