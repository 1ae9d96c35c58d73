"""Cases replayed: where they end, and each way to go astray."""

from __future__ import annotations

import pytest

from kb_tools.model.cases import Replay, end_of, replay
from kb_tools.model.entities import Band, Case, Library
from kb_tools.model.graph import build_graph
from kb_tools.model.values import Number
from making import HERE, answer, library, step, tree, word


def number(value: float) -> Number:
    """Return a number as it is read."""
    made = Number(value)
    made.word = word(str(value))
    return made


def made() -> Library:
    """Return two trees: `a` asks, measures, acts, mends and links to `b`."""
    first = {
        "lamp": step("check", answers=(answer("volts", "Not lit"), answer("other", "Lit"))),
        "volts": step(
            "measure",
            unit="V",
            plausible=(number(0), number(60)),
            bands=(
                Band(HERE, word("Low"), word("pull"), below=number(18)),
                Band(HERE, word("High"), word("mend"), start=number(18)),
            ),
        ),
        "pull": step("do", then="mend", cannot="desk"),
        "mend": step("fix", not_cured="desk"),
        "desk": step("escalate"),
        "other": step("link", link="b"),
    }
    second = {
        "lamp": step("check", answers=(answer("well", "Lit"), answer("well", "Dark"))),
        "well": step("done"),
    }
    return library([tree("a", "lamp", first), tree("b", "lamp", second)])


def replayed(given: dict[str, str], ends_at: str, in_library: Library | None = None) -> Replay:
    """Replay a case of tree `a`."""
    one = in_library or made()
    case = Case(HERE, word("a case"), {word(key): word(value) for key, value in given.items()}, word(ends_at))
    return replay(one, build_graph(one), one.trees["a"], case)


@pytest.mark.parametrize(
    ("given", "ends_at"),
    [
        ({"lamp": "Not lit", "volts": "12 V"}, "mend"),
        ({"lamp": "not  LIT", "volts": "17.999"}, "mend"),
        ({"lamp": "Not lit", "volts": "18 V"}, "mend"),
        ({"lamp": "Not lit", "volts": "12000 mV", "pull": "cannot"}, "desk"),
        ({"lamp": "Not lit", "volts": "Low", "pull": "done"}, "a/mend"),
        ({"a/lamp": "Not lit", "volts": "12,5 V", "mend": "not cured"}, "desk"),
        ({"lamp": "Not lit", "volts": "High", "mend": "cured"}, "mend"),
        ({"lamp": "Lit", "b/lamp": "Dark"}, "b/well"),
        ({"lamp": "Lit", "other": "go", "b/lamp": "Lit", "b/well": "cured"}, "b/well"),
    ],
)
def test_a_case_comes_to_its_end(given: dict[str, str], ends_at: str) -> None:
    """Answers, readings, band names, `cannot`, `not cured` and links are followed."""
    result = replayed(given, ends_at)
    assert not result.troubles
    assert result.end == (ends_at if "/" in ends_at else f"a/{ends_at}")
    assert result.path[0] == "a/lamp"
    assert result.path[-1] == result.end
    assert all(stride.way is not None for stride in result.strides[:-1])


@pytest.mark.parametrize(
    ("given", "ends_at", "told"),
    [
        ({"lamp": "Not lit", "volts": "12 V"}, "desk", "ends at `mend`, not at `desk`"),
        ({"lamp": "Not lit"}, "mend", "passes `volts` and gives no answer"),
        ({}, "mend", "passes `lamp` and gives no answer"),
        ({"lamp": "Blinking"}, "mend", "answers `lamp` with `Blinking`"),
        ({"lamp": "Not lit", "volts": "12 A"}, "mend", "At `volts`"),
        ({"lamp": "Not lit", "volts": "low-ish"}, "mend", "At `volts`"),
        ({"lamp": "Not lit", "volts": "60.1 V"}, "mend", "outside `plausible`"),
        ({"lamp": "Not lit", "volts": "-1 V"}, "mend", "outside `plausible`"),
        ({"lamp": "Not lit", "volts": "12 V", "pull": "maybe"}, "mend", "answers `pull` with `maybe`"),
        ({"lamp": "Not lit", "volts": "12 V", "mend": "perhaps"}, "mend", "answers `mend`"),
        ({"lamp": "Lit", "b/lamp": "Lit", "b/well": "not cured"}, "b/well", "answers `b/well`"),
        ({"lamp": "Lit", "lamp-2": "Lit"}, "b/well", "the step `lamp-2`, which there is not"),
        ({"lamp": "Not lit", "volts": "20 V", "pull": "done"}, "mend", "answers `pull`, which its run"),
        ({"lamp": "Not lit", "volts": "20 V"}, "mned", "the step `mned`, which there is not"),
        ({"lamp": "Lit", "b/lamp": "Lit"}, "c/well", "the step `c/well`, which there is not"),
        (
            {"lamp": "Not lit", "volts": "20 V", "mend": "not cured", "desk": "cured"},
            "desk",
            "answers `desk` with `cured`",
        ),
    ],
)
def test_a_case_that_goes_astray_says_where(given: dict[str, str], ends_at: str, told: str) -> None:
    """Each mistake is one trouble that does not follow from anything else."""
    (trouble,) = [one for one in replayed(given, ends_at).troubles if not one.follows]
    assert told in trouble.message
    assert trouble.remedy


def test_what_only_follows_is_marked() -> None:
    """A way that leads nowhere, a loop or an unknown unit is another rule's finding."""
    broken = made()
    broken.trees["a"].steps[word("pull")].then = word("mned")
    looping = made()
    looping.trees["a"].steps[word("pull")].then = word("lamp")
    unmeasured = made()
    unmeasured.trees["a"].steps[word("volts")].unit = word("Nm")
    for one in (broken, looping, unmeasured):
        troubles = replayed({"lamp": "Not lit", "volts": "12 V"}, "mend", one).troubles
        assert troubles
        assert all(trouble.follows for trouble in troubles)


def test_the_end_is_named_in_full() -> None:
    """An end without a tree is a step of the case's own tree."""
    one = made().trees["a"]
    case = Case(HERE, word("a case"), {}, word("mend"))
    assert end_of(one, case) == "a/mend"
    case.ends_at = word("b/well")
    assert end_of(one, case) == "b/well"
