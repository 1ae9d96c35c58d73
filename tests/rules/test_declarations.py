"""Rules that look at what single steps declare: each key counts, wherever it stands."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import pytest

from kb_tools.model.entities import Answer, Caution
from kb_tools.rules import (
    anyone_step_safe,
    caution_shown,
    contract,
    effect_on_answer,
    fix_proven,
    live_controlled,
)
from making import HERE, answer, findings_of, library, step, tree, word

if TYPE_CHECKING:
    from pathlib import Path

    from kb_tools.findings import Finding
    from kb_tools.model.entities import Step

HAZARDS = {"power": False}


def found_by(rule: Any, *steps: Step, warned: bool = False) -> list[Finding]:  # noqa: ANN401 - a rule's module
    """Return what a rule finds in a tree of these steps."""
    one = library([tree("t", "s0", {f"s{number}": made for number, made in enumerate(steps)})], HAZARDS)
    if warned:
        texts = {"text": word("t"), "consequence": word("c"), "avoid": word("a")}
        one.cautions[word("power")] = Caution(HERE, word("WARNING"), **texts, hazard=word("power"))
    return list(rule.check(contract.subject_of(one, date(2026, 11, 25))))


def two_ways(**keys: Any) -> tuple[Answer, ...]:  # noqa: ANN401 - as the answer's keys
    """Return two answers; the second has these keys."""
    return answer("s0", "Yes"), answer("s0", "No", **keys)


@pytest.mark.parametrize("key", ["exposes", "works_live"])
def test_a_hazard_that_is_met_needs_a_caution(key: str) -> None:
    """Exposing and working live both count; isolating alone meets nothing."""
    met = step("check", answers=two_ways(), **{key: ["power"]})
    assert [one.place for one in found_by(caution_shown, met)] == [HERE]
    assert found_by(caution_shown, met, warned=True) == []
    assert found_by(caution_shown, step("do", isolates=["power"], then="s0")) == []


@pytest.mark.parametrize("key", ["exposes", "works_live", "isolates", "restores", "tools"])
def test_a_step_for_anyone_is_harmless(key: str) -> None:
    """Each dangerous key of a step is refused; on an answer, isolating and restoring too."""
    asked = {"who": "anyone", "say": "Please look"}
    harmful = step("check", answers=two_ways(), **asked, **{key: ["power"]})
    assert len(found_by(anyone_step_safe, harmful)) == 1
    assert found_by(anyone_step_safe, step("check", answers=two_ways(), **{key: ["power"]})) == []
    if key in ("isolates", "restores"):
        ways = two_ways(**{key: ["power"]})
        assert len(found_by(anyone_step_safe, step("check", answers=ways, **asked))) == 1
    assert found_by(anyone_step_safe, step("check", answers=two_ways(), **asked)) == []


@pytest.mark.parametrize("key", ["isolates", "confirms", "restores"])
def test_an_effect_belongs_to_its_way(key: str) -> None:
    """Each effect on a whole step is refused where several ways lead on, and right where one does."""
    effect = {key: ["power"]}
    assert len(found_by(effect_on_answer, step("check", answers=two_ways(), **effect))) == 1
    assert found_by(effect_on_answer, step("check", answers=two_ways(**effect))) == []
    assert found_by(effect_on_answer, step("check", answers=(answer("s0"),), **effect)) == []
    assert found_by(effect_on_answer, step("do", then="s0", cannot="s0", **effect)) == []


def test_live_work_is_for_technicians_who_are_told_why_and_how() -> None:
    """Each of the three is a finding of its own."""
    said = {"live_because": "a voltage", "controls": "one hand"}
    live: dict[str, Any] = {"answers": two_ways(), "works_live": ["power"]}
    assert found_by(live_controlled, step("check", **live, **said)) == []
    for key in said:
        rest = {name: text for name, text in said.items() if name != key}
        assert len(found_by(live_controlled, step("check", **live, **rest))) == 1
    assert len(found_by(live_controlled, step("check", **live, **said, who="anyone"))) == 1


def test_a_fix_without_anything_is_found_twice() -> None:
    """The proof and the way on are two things to mend."""
    assert len(found_by(fix_proven, step("fix"))) == 2
    assert found_by(fix_proven, step("fix", proof="stops", not_cured="s0")) == []


SHARED = """other-check:
  check: Is the plug warm?
  who: anyone
  tools: [meter]
  works_live: [live-harness]
  answers:
    - {answer: 'Yes'}
    - {answer: 'No'}
chair-lit:
  check: Is the chair's own display lit?
  answers: [{answer: Lit}, {answer: Dark}, {answer: Cannot tell}]
"""
USING = """title: The plug is warm
reviewed: 2026-11-20
start: first
steps:
  first:
    check: {use: other-check}
    answers: [{answer: 'Yes', to: second}, {answer: 'No', to: desk}]
  second:
    check: {use: other-check}
    say: Please feel the plug
    answers: [{answer: 'Yes', to: desk}, {answer: 'No', to: desk}]
  desk:
    escalate: Ask the maker's service desk
"""


def test_what_is_wrong_with_a_shared_body_is_told_once(tmp_path: Path) -> None:
    """Two steps use it: its own mistakes stand in the shared file, each once, the missing words in the tree."""
    checks = "trees/shared/checks.yml"
    findings = findings_of(tmp_path, {checks: SHARED, "trees/area/plug-warm.yml": USING})
    told = sorted((one.place.file, one.place.line, one.rule) for one in findings)
    assert told == [
        ("trees/area/plug-warm.yml", 6, "anyone-step-safe"),
        (checks, 3, "live-controlled"),
        (checks, 4, "anyone-step-safe"),
        (checks, 5, "anyone-step-safe"),
        (checks, 5, "live-controlled"),
        (checks, 5, "live-controlled"),
    ]
