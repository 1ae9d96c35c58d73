"""One run through trees made by hand: odds, isolation, going back, changing, jumping, ends."""

from __future__ import annotations

import copy
from typing import TYPE_CHECKING, Any

import pytest

from in_step.engines import Trees, compiled
from kb_tools.model.code import WalkProblem
from kb_tools.model.reading import number_text, reading
from kb_tools.model.resume import restore, resume
from kb_tools.model.units import UnitProblem, accepted, read_reading, unit_of
from kb_tools.model.walk import Walk, start
from random_trees import read_library, seeded

if TYPE_CHECKING:
    from collections.abc import Mapping

FIRST: dict[str, Any] = {
    "title": "It is dark",
    "reviewed": "2026-10-14",
    "start": "display",
    "steps": {
        "display": {
            "check": "Is the display lit?",
            "answers": [
                {"answer": "Lit", "to": "volts"},
                {"answer": "Dark", "to": "story"},
                {"answer": "Cannot tell", "to": "volts", "unsure": True},
            ],
        },
        "story": {
            "check": "What changed?",
            "answers": [
                {"answer": "Rain", "to": "desk", "stop_use": "Wet. *Nobody* drives."},
                {"answer": "Nothing", "to": "volts"},
            ],
        },
        "volts": {
            "measure": "Voltage",
            "unit": "V",
            "plausible": [0, 60],
            "source": "made up",
            "bands": [{"below": 18, "answer": "Low", "to": "part"}, {"from": 18, "answer": "High", "to": "onward"}],
        },
        "part": {
            "do": "Pull the plug",
            "then": "wires",
            "isolates": ["power"],
            "confirms": ["power"],
            "cannot": "desk",
        },
        "wires": {
            "check": "Is a wire loose?",
            "exposes": ["power"],
            "answers": [{"answer": "Yes", "to": "mend"}, {"answer": "No", "to": "fuse"}],
        },
        "mend": {
            "fix": "Mend the wire",
            "share": 60,
            "cures": 0.8,
            "takes": "10 min",
            "restores": ["power"],
            "proof": "drives",
            "not_cured": "again",
        },
        "again": {"check": "Still dark?", "answers": [{"answer": "Yes", "to": "desk"}, {"answer": "No", "to": "fine"}]},
        "fuse": {"fix": "Change the fuse", "share": 20, "proof": "quick", "not_cured": "desk"},
        "fine": {"done": "It is fine", "proof": "drives"},
        "desk": {"escalate": "Ask the desk", "share": 10, "stop_use": "Out of use"},
        "onward": {"link": "t1", "share": 10},
    },
}
SECOND: dict[str, Any] = {
    "title": "It beeps",
    "reviewed": "2026-10-14",
    "cautions": ["look"],
    "stop_use": "Keep off.",
    "start": "tone",
    "steps": {
        "tone": {
            "check": "Which tone?",
            "answers": [{"answer": "High", "to": "reset"}, {"answer": "Low", "to": "end"}],
        },
        "reset": {"fix": "Reset it", "proof": "quick", "not_cured": "end"},
        "end": {"escalate": "Ask"},
    },
}


@pytest.fixture(scope="module")
def trees(tmp_path_factory: pytest.TempPathFactory) -> Trees:
    """Return the two trees as the browser gets them."""
    return compiled(read_library(tmp_path_factory.mktemp("library"), {"t0": FIRST, "t1": SECOND}))[0]


def walked(trees: Trees, *answers: tuple[str, str | float]) -> Walk:
    """Return a walk in the first tree with some answers given."""
    walk = start(trees, "t0")
    for step, value in answers:
        walk.answer(step, value)
    return walk


def odds(walk: Walk) -> dict[str, float]:
    """Return the causes still possible."""
    return {cause["id"]: cause["odds"] for cause in walk.state()["causes"]}


TO_WIRES = (("display", "Lit"), ("volts", 3), ("part", "done"))


def test_odds_follow_the_answers(trees: Trees) -> None:
    """Each answer leaves the causes behind it; a fix that did not cure stays possible; an unsure way tells nothing."""
    # The paths to the desk: over rain; over lit or not, no wire, wrong fuse; over lit or not, wrong wire, again.
    assert odds(start(trees, "t0")) == pytest.approx({"mend": 0.6, "fuse": 0.2, "desk": 0.1, "onward": 0.1})
    low = {"mend": 30, "fuse": 10, "desk": 4}
    assert odds(walked(trees, *TO_WIRES)) == pytest.approx({name: part / 44 for name, part in low.items()})
    unsure = walked(trees, ("display", "Cannot tell"), *TO_WIRES[1:])
    assert odds(unsure) == pytest.approx({name: part / 44 for name, part in low.items()})
    # Not cured: 30 of mend at 0.2, and the desk's path over the wrong wire.
    uncured = walked(trees, *TO_WIRES, ("wires", "Yes"), ("mend", "not cured"))
    assert odds(uncured) == pytest.approx({"mend": 6 / 8, "desk": 2 / 8})
    # At `again` all of the desk's weight goes by "Yes", so the uncured go there too.
    uncured.answer("again", "Yes")
    assert odds(uncured) == pytest.approx({"mend": 6 / 8, "desk": 2 / 8})
    assert odds(walked(trees, ("display", "Dark"), ("story", "Rain"))) == {"desk": 1}


def test_state_in_the_shape_of_the_contract(trees: Trees) -> None:
    """A state names tree, step, kind, trail, causes, minutes, isolation, advice and end."""
    walk = walked(trees, ("display", " lit "), ("volts", "2500 mV"), ("part", "Done"))
    state = walk.state()
    assert {key: state[key] for key in ("tree", "step", "kind", "isolated", "stop_use", "ended")} == {
        "tree": "t0",
        "step": "wires",
        "kind": "check",
        "isolated": ["power"],
        "stop_use": None,
        "ended": None,
    }
    assert [(entry["value"], entry["answer"]) for entry in state["trail"]] == [
        ("Lit", "Lit"),
        ("2500 mV", "Low"),
        ("done", "done"),
    ]
    assert state["minutes"]["worst"] == 1 + 10 + 6 + 1 + 6
    by = walk.isolated_by("power")
    assert by is not None
    assert (by["at"], by["step"]) == (2, "part")
    assert walk.isolated_by("motion") is None


def test_ends(trees: Trees) -> None:
    """A fix ends by `cured` and puts back what it restores; an escalation ends on arrival; a done end can be proven."""
    walk = walked(trees, *TO_WIRES, ("wires", "Yes"))
    assert walk.state()["ended"] is None
    walk.answer("mend", "cured")
    state = walk.state()
    assert state["ended"] == {"how": "cured", "proven": True}
    assert (state["step"], state["isolated"], state["minutes"]["expected"]) == ("mend", [], 0)
    assert state["causes"] == [{"id": "mend", "odds": 1}]
    with pytest.raises(WalkProblem, match="ended"):
        walk.answer("mend", "not cured")
    walk.back()
    walk.answer("mend", "not cured")
    walk.answer("again", "No")
    assert walk.state()["ended"] == {"how": "done", "proven": False}
    walk.answer("fine", "cured")
    assert walk.state()["ended"] == {"how": "done", "proven": True}
    walk.back()
    walk.back()
    walk.answer("again", "Yes")
    assert walk.state()["ended"] == {"how": "escalate", "proven": False}
    assert walk.state()["stop_use"] == "Out of use"


def test_advice_stays_from_the_moment_it_is_given(trees: Trees) -> None:
    """Advice of answers, ends and trees is kept in order as plain text, the last one apart; back takes it away."""
    walk = walked(trees, ("display", "Dark"), ("story", "Rain"))
    assert [one["text"] for one in walk.state()["advice"]] == ["Wet. Nobody drives.", "Out of use"]
    walk.back()
    assert walk.state()["stop_use"] is None
    walk.answer("story", "Nothing")
    walk.answer("volts", 25)
    walk.answer("onward", "go")
    assert walk.state()["stop_use"] == "Keep off."


def test_links_lead_in_and_back_leads_out(trees: Trees) -> None:
    """A link goes on in the other tree, whose causes count from there; back leads out again."""
    walk = walked(trees, ("display", "Lit"), ("volts", 25), ("onward", "go"))
    state = walk.state()
    assert (state["tree"], state["step"]) == ("t1", "tone")
    assert odds(walk) == pytest.approx({"reset": 0.5, "end": 0.5})
    walk.answer("t1/tone", "High")
    walk.back()
    walk.back()
    assert (walk.state()["tree"], walk.state()["step"]) == ("t0", "onward")


@pytest.mark.parametrize(
    ("step", "value", "code"),
    [
        ("volts", "3 V", "wrong-step"),
        ("t1/display", "Lit", "wrong-step"),
        ("display", "Bright", "unknown-answer"),
        ("display", "", "unknown-answer"),
        ("display", "cured", "unknown-answer"),
    ],
)
def test_what_does_not_fit_changes_nothing(trees: Trees, step: str, value: str, code: str) -> None:
    """A wrong step or answer raises an error of its own code, and the walk stands where it stood."""
    walk = walked(trees)
    with pytest.raises(WalkProblem) as caught:
        walk.answer(step, value)
    assert caught.value.code == code
    assert walk.state() == start(trees, "t0").state()


def test_an_implausible_reading_is_doubted(trees: Trees) -> None:
    """A reading outside the plausible range takes no way, in whatever unit it is given."""
    for value in (60.1, "61000 mV", "-0.1 V"):
        walk = walked(trees, ("display", "Lit"))
        with pytest.raises(WalkProblem) as caught:
            walk.answer("volts", value)
        assert caught.value.code == "out-of-range"
        assert walk.state()["step"] == "volts"


def reopened(walk: Walk, at: int, value: str | float) -> None:
    """Open an earlier answer again and change it; later answers come back where they still hold."""
    trail = walk.state()["trail"]
    for _ in trail[at:]:
        walk.back()
    walk.answer(trail[at]["step"], value)
    walk.jump({f"{entry['tree']}/{entry['step']}": entry["value"] for entry in trail[at + 1 :]})


def test_a_changed_answer_keeps_what_still_holds(trees: Trees) -> None:
    """Later answers stay up to the first step that isolates; what no longer lies on the way is dropped."""
    walk = walked(trees, ("display", "Dark"), ("story", "Nothing"), ("volts", "3 V"), ("part", "done"))
    reopened(walk, 0, "Lit")
    state = walk.state()
    assert [(entry["step"], entry["value"]) for entry in state["trail"]] == [("display", "Lit"), ("volts", "3 V")]
    assert (state["step"], state["isolated"]) == ("part", [])
    reopened(walk, 1, "30 V")
    assert walk.state()["step"] == "onward"


def test_going_back_over_an_isolation_asks_for_it_again(trees: Trees) -> None:
    """After going back over a step that put something back, what counts as isolated is asked again."""
    walk = walked(trees, *TO_WIRES, ("wires", "Yes"))
    walk.back()
    assert walk.asks_again() == []
    walk.answer("wires", "Yes")
    walk.answer("mend", "not cured")
    walk.back()
    assert walk.asks_again() == ["power"]
    walk.still_isolated("power")
    assert walk.asks_again() == []
    walk.back()
    walk.back()
    walk.answer("part", "done")
    assert walk.asks_again() == []


def test_a_jump_answers_harmless_questions_only(trees: Trees) -> None:
    """Stated facts lead to the deepest step that they determine, never past an isolating step or a caution."""
    walk = start(trees, "t0")
    walk.jump({"display": "lit", "t0/volts": "2 V", "part": "done", "wires": "Yes", "story": "Rain"})
    assert walk.state()["step"] == "part"
    walk = start(trees, "t1")
    walk.jump({"tone": "High"})
    assert walk.state()["step"] == "tone"
    assert walk.cautions_due() == ["look"]
    walk.acknowledge("look")
    walk.jump({"tone": "High"})
    assert walk.state()["step"] == "reset"
    walk = start(trees, "t0")
    with pytest.raises(WalkProblem):
        walk.jump({"display": "Lit", "volts": "99 V"})
    assert walk.state()["trail"] == []


def test_facts_in_any_order_leave_what_goes_with_them(trees: Trees) -> None:
    """Answers to checks further on, in any order, weigh as when they are walked; unsure tells nothing."""
    walk = start(trees, "t0")

    def possible(facts: Mapping[str, str | float]) -> dict[str, float]:
        return {cause["id"]: cause["odds"] for cause in walk.known(facts)}

    # The desk's weight lies on five paths: one over rain, two over each of mend and fuse.
    assert possible({"wires": "No", "volts": 3}) == pytest.approx({"fuse": 20 / 26, "desk": 6 / 26})
    assert possible({"t0/wires": "No", "volts": "3 V", "display": "Lit"}) == pytest.approx(
        {"fuse": 10 / 12, "desk": 2 / 12}
    )
    assert possible({"display": "Cannot tell"}) == odds(walk)
    assert possible({"part": "done"}) == odds(walk)
    assert possible({"display": "Dark", "story": "Rain", "wires": "Yes"}) == {"desk": 1}
    walk = walked(trees, ("display", "Lit"))
    assert possible({"volts": 25}) == {"onward": 1}
    assert walk.state()["trail"][1:] == []


def test_cautions_are_due_where_they_stand(trees: Trees) -> None:
    """A tree's cautions are due at its first step, a hazard's where it is exposed, a proof's at its fix."""
    walk = walked(trees, *TO_WIRES)
    assert walk.cautions_due() == ["power"]
    walk.acknowledge("power")
    assert walk.cautions_due() == []
    walk.answer("wires", "No")
    assert walk.cautions_due() == ["look"]
    with pytest.raises(WalkProblem):
        walk.acknowledge("thunder")
    walk.back()
    assert walk.cautions_due() == []
    walk.back()
    walk.answer("part", "done")
    assert walk.cautions_due() == ["power"]


def test_a_walk_is_gone_on_with(trees: Trees) -> None:
    """Code, link and kept form lead to the same step; readings come with the last two; isolations are asked again."""
    walk = walked(trees, ("display", "Lit"), ("volts", "3,5 V"), ("part", "done"))
    state = walk.state()
    by_code, by_link, kept = resume(trees, walk.code()), resume(trees, walk.link()), restore(trees, walk.to_json())
    assert by_link.state() == kept.state() == state
    assert [entry["value"] for entry in by_code.state()["trail"]] == ["Lit", "Low", "done"]
    assert by_code.state() | {"trail": state["trail"]} == state
    for other in (by_code, by_link, kept):
        assert other.asks_again() == ["power"]
        assert other.cautions_due() == ["power"]
    assert walk.peek("Yes")["step"] == "mend"
    assert walk.state() == state


def test_readings_are_those_of_the_units_module(trees: Trees) -> None:
    """In every unit that a walk offers, a reading means what `units.read_reading` (pint) says it means."""
    rng = seeded(11)
    for own in ("V", "A", "ohm", "mm", "N m", "degC", "Hz", "kPa", "kg", "m/s", "1"):
        unit = unit_of(own)
        offered = accepted(unit)
        step = copy.deepcopy(trees["t0"]["steps"]["volts"])
        step["unit"], step["units"] = own, [[name, *line] for name, line in offered.items()]
        del step["plausible"], step["ways"][0]["below"]
        for name in offered:
            for _ in range(40):
                number = f"{rng.uniform(-500, 500):.{rng.randrange(6)}f}".replace(".", rng.choice(".,"))
                text = number if name == "1" else f"{number}{rng.choice(['', ' ', '  '])}{name}"
                try:
                    wanted: float | None = read_reading(text, unit)
                except UnitProblem:
                    wanted = None
                try:
                    found: float | None = reading(step, text).value
                except WalkProblem:
                    found = None
                assert found == wanted, text


@pytest.mark.parametrize(
    ("number", "text"),
    # ECMA-262, Number::toString, worked out by hand.
    [
        (0.0, "0"),
        (-0.0, "0"),
        (25.1, "25.1"),
        (-5, "-5"),
        (1e20, "100000000000000000000"),
        (1e21, "1e+21"),
        (1.5e300, "1.5e+300"),
        (1e-6, "0.000001"),
        (1.25e-7, "1.25e-7"),
        (123456.789, "123456.789"),
    ],
)
def test_numbers_are_written_as_the_browser_writes_them(number: float, text: str) -> None:
    """Numbers in links look the same from both engines."""
    assert number_text(number) == text
