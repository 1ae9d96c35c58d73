"""Codes, links and kept walks that do not fit: both engines say the same, and nothing happens."""

from __future__ import annotations

import copy
from typing import TYPE_CHECKING, Any

import pytest

from conftest import ROOT
from in_step.engines import WALKER, browser, compiled
from kb_tools.model import code as codes
from kb_tools.model.build import load
from kb_tools.model.code import ALPHABET, CHECK_SYMBOLS, WalkProblem
from kb_tools.model.reading import reading
from kb_tools.model.resume import resume
from kb_tools.model.walk import Walk
from kb_tools.pages.scripts import ENGINE, squeezed
from random_trees import seeded

if TYPE_CHECKING:
    from pathlib import Path

TREES, INDEX = compiled(load(ROOT))
TREE = "chair-dead"


def walk_to_volts() -> Walk:
    """Return a walk in the demo library with a reading in it."""
    walk = Walk(TREES, TREE)
    for step, value in (
        ("smell", "No"),
        ("story", "Nothing known"),
        ("display", "Dark"),
        ("connector-look", "Fully together"),
        ("breaker", "Level"),
        ("set-volts", "25,3 V"),
    ):
        walk.answer(step, value)
    return walk


WALK = walk_to_volts()
CODE = WALK.code()
HOSTILE = [
    "",
    "-",
    "-" * 500,
    "0",
    "00",
    "000000000",
    "U",
    CODE[:-1],
    CODE + "0",
    "0" + CODE,
    CODE.replace("-", ""),
    CODE.lower(),
    f"  {CODE.replace('-', chr(0x2013))}\n",
    CODE[::-1],
    "A" * 120,
    "A" * 121,
    "A" * 100_000,
    "\u0130\u0131\u017f\uff21" + CODE,
    "<img src=x onerror=alert(1)>",
    "javascript:alert(1)",
    "'; DROP TABLE walks; --",
    "\u0000",
    "\ud83d\ude00" * 20,
    "constructor",
    "__proto__",
    "#walk=",
    "walk",
    "#walk=&walk=" + CODE,
    f"#walk={CODE}",
    f"https://example.org/x.html?walk=1#walk={CODE}&readings=",
    f"#walk={CODE}&readings=5:25.3 V",
    f"#walk={CODE}&readings=5%3A25300%20mV",
    f"#walk={CODE}&readings=5:1 V",
    f"#walk={CODE}&readings=5:999 V",
    f"#walk={CODE}&readings=0:25 V",
    f"#walk={CODE}&readings=99:25 V",
    f"#walk={CODE}&readings=5:",
    f"#walk={CODE}&readings=;",
    f"#walk={CODE}&readings=5:25.3 V;5:25.3 V",
    f"#walk={CODE}&readings=%",
    f"#walk={CODE}&readings=%ff%fe",
    f"#walk={CODE}&job=7&mode=desk",
    f"#walk={CODE}&readings=" + "5:25.3 V;" * 5000,
]


def outcome(given: str) -> Any:  # noqa: ANN401 - a state, or an error as the driver tells it
    """Return where Python stands after a code, or its error."""
    try:
        return resume(TREES, given).state()
    except WalkProblem as problem:
        return {"error": problem.code}


def test_hostile_codes_change_nothing(tmp_path: Path) -> None:
    """Whatever is typed, both engines stand at the same place or give the same error; the walk stays as it was."""
    rng = seeded(7)
    garbled = []
    for _ in range(1500):
        symbols = list(CODE)
        at = rng.randrange(len(symbols))
        symbols[at] = rng.choice([*CHECK_SYMBOLS, "-", " ", "i", "L", "o", "u"])
        garbled.append("".join(symbols))
    long = ["".join(rng.choice(CHECK_SYMBOLS) for _ in range(rng.randrange(1, 120))) for _ in range(500)]
    given = [*HOSTILE, *garbled, *long]
    wanted = [outcome(text) for text in given]
    told = {one["error"] for one in wanted if "error" in one}
    assert told == {"mistyped", "foreign", "changed", "too-long", "link"}
    jobs: list[list[Any]] = [[["load", name] for name in TREES]]
    for text, one in zip(given, wanted, strict=True):
        # Where the code does not hold, the walk that was open is still the same.
        start = [["start", TREE], ["answer", "smell", "No"], ["resume", text], ["see"]]
        jobs.append(start)
        if "error" in one:
            walk = Walk(TREES, TREE)
            walk.answer("smell", "No")
            one |= {"state": walk.state()}
    results = browser(tmp_path, TREES, INDEX, jobs)[1:]
    for text, one, found in zip(given, wanted, results, strict=True):
        assert found[2] == ({"error": one["error"]} if "error" in one else None), text
        assert found[3]["state"] == one.get("state", one), text


def test_every_single_mistake_in_a_code_is_seen() -> None:
    """One wrong symbol, or two neighbours exchanged, is told as mistyped, at every place of the code."""
    symbols = CODE.replace("-", "")
    for at in range(len(symbols)):
        for other in ALPHABET if at < len(symbols) - 1 else CHECK_SYMBOLS:
            if other != symbols[at]:
                with pytest.raises(WalkProblem) as caught:
                    codes.read(symbols[:at] + other + symbols[at + 1 :])
                assert caught.value.code == "mistyped"
    for at in range(len(symbols) - 2):
        swapped = symbols[:at] + symbols[at + 1] + symbols[at] + symbols[at + 2 :]
        if swapped != symbols:
            with pytest.raises(WalkProblem):
                codes.read(swapped)


def test_a_code_of_another_library_or_version_is_told(tmp_path: Path) -> None:
    """Without the tree a code is foreign; with a tree of another shape it is told as changed; a new wording is none."""
    without = {name: tree for name, tree in TREES.items() if name != TREE}
    changed, reworded = copy.deepcopy(TREES), copy.deepcopy(TREES)
    changed[TREE]["fingerprint"] ^= 1
    reworded[TREE]["steps"]["smell"]["text"] = "Do you smell anything?"
    for trees, wanted in ((without, "foreign"), (changed, "changed"), (reworded, None)):
        index = INDEX | {"trees": [entry for entry in INDEX["trees"] if entry["id"] in trees]}
        [found] = browser(tmp_path, trees, index, [[["resume", CODE]]])
        assert found == [{"error": wanted} if wanted else None]
        try:
            resume(trees, CODE)
            told = None
        except WalkProblem as problem:
            told = problem.code
        assert told == wanted


def test_packing_alike(tmp_path: Path) -> None:
    """Digits, base 32, check symbol and folded fingerprints are the same in both, for random values of all sizes."""
    rng = seeded(3)
    jobs: list[list[Any]] = [[]]
    wanted: list[Any] = []
    for _ in range(2000):
        digits = [[rng.randrange(1, radix), radix] for radix in rng.choices(range(2, 12), k=rng.randrange(60))]
        shape, tag = rng.getrandbits(20), rng.getrandbits(20)
        number = codes.pack([(digit, radix) for digit, radix in digits])
        text = codes.write(codes.Parts(number, shape, tag))
        fingerprints = [rng.getrandbits(32) for _ in range(rng.randrange(5))]
        jobs[0] += [["pack", digits, shape, tag], ["unpack", text.lower()], ["fold", fingerprints]]
        wanted += [text, [str(number), shape, tag], codes.fold(fingerprints)]
        assert codes.read(text) == (number, shape, tag)
    assert browser(tmp_path, {}, None, jobs) == [wanted]


def test_readings_alike(tmp_path: Path) -> None:
    """Thousands of readings of all sizes and units come to the same value and band, or the same error."""
    rng = seeded(5)
    steps = [
        (name, at, step)
        for name, tree in TREES.items()
        for at, step in tree["steps"].items()
        if step["kind"] == "measure"
    ]
    jobs: list[list[Any]] = [[]]
    wanted: list[Any] = []
    for _ in range(6000):
        tree, at, step = rng.choice(steps)
        unit = rng.choice(step["units"])
        number = (rng.uniform(-20, 200) - unit[2]) / unit[1] * rng.choice([1, 1, 0.1, 0.001])
        text = f"{number:.{rng.randrange(8)}{rng.choice('fge')}}".replace(".", rng.choice(".,"))
        given: Any = rng.choice([number, f"{text}{rng.choice(['', ' ', '  '])}{unit[0]}", text])
        jobs[0].append(["reading", tree, at, given])
        try:
            wanted.append(reading(step, given)._asdict())
        except WalkProblem as problem:
            wanted.append({"error": problem.code})
    assert browser(tmp_path, TREES, None, jobs) == [wanted]


def test_what_was_kept_and_does_not_fit(tmp_path: Path) -> None:
    """A kept walk that was tampered with, or is of another version, is refused, and the open walk stays."""
    good = WALK.to_json()
    spoilt: list[tuple[Any, str]] = [
        (None, "damaged"),
        ("walk", "damaged"),
        ({}, "damaged"),
        (good | {"version": 2}, "damaged"),
        (good | {"trail": "none"}, "damaged"),
        (good | {"trail": [good["trail"][0]] * 3000}, "damaged"),
        (good | {"first": "constructor"}, "unknown-tree"),
        (good | {"first": "../../x"}, "unknown-tree"),
        (good | {"first": "wrong-lamp"}, "changed"),
        (good | {"trees": {}}, "changed"),
        (good | {"trees": {TREE: 1}}, "changed"),
        (good | {"trail": [None]}, "changed"),
        (good | {"trail": [*good["trail"][:-1], good["trail"][-1] | {"value": "1 V"}]}, "changed"),
        (good | {"trail": [good["trail"][0] | {"value": {"toString": 1}}]}, "changed"),
        (good | {"trail": [good["trail"][0] | {"answer": "Perhaps"}]}, "changed"),
        (good | {"trail": good["trail"][1:]}, "changed"),
    ]
    jobs = [[["load", TREE], ["start", TREE], ["restore", stored], ["see"]] for stored, _ in spoilt]
    jobs.append([["restore", good | {"acks": [{"at": "x"}, None, {"at": 0, "caution": "occupant-out"}]}], ["see"]])
    *refused, taken = browser(tmp_path, TREES, INDEX, jobs)
    for (stored, wanted), found in zip(spoilt, refused, strict=True):
        assert found[2] == {"error": wanted}, stored
        assert found[3]["state"]["trail"] == []
    assert taken[1]["state"] == WALK.state()


def test_trees_load_as_they_are_needed(tmp_path: Path) -> None:
    """A tree that is not loaded, or is none, is told; a link waits for its tree; a code brings its trees."""
    tree, link = next(
        (name, at) for name, one in TREES.items() for at, step in one["steps"].items() if step["kind"] == "link"
    )
    jobs: list[list[Any]] = [
        [["start", tree], ["load", "nowhere"], ["load", "toString"], ["load", "../x"], ["load", tree], ["start", tree]],
        [["resume", CODE], ["see"]],
    ]
    first, second = browser(tmp_path, TREES, INDEX, jobs)
    unknown = {"error": "unknown-tree"}
    assert first == [{"error": "not-loaded"}, unknown, unknown, unknown, None, None]
    named = WALK.state()
    named["trail"][-1]["value"] = named["trail"][-1]["answer"]
    assert second[1]["state"] == named
    # Without an index the engine asks for the file, which is not there.
    [found] = browser(tmp_path, TREES, None, [[["load", "nowhere"]]])
    assert found == [{"error": "not-loaded"}]
    assert TREES[tree]["steps"][link]["ways"][0]["label"] == "go"


def test_the_engine_as_the_site_carries_it(tmp_path: Path) -> None:
    """Without comments and white space, as the site carries it, the engine does the same."""
    job: list[list[Any]] = [["load", TREE], ["start", TREE]]
    job += [["answer", entry["step"], entry["value"]] for entry in WALK.state()["trail"]]
    job += [["see"], ["roundTrip"]]
    written = browser(tmp_path, TREES, INDEX, [job])
    folder = tmp_path / "squeezed"
    folder.mkdir()
    for name in ENGINE:
        (folder / f"{name}.js").write_text(squeezed((WALKER / f"{name}.js").read_text("utf-8")), "utf-8")
    assert browser(tmp_path, TREES, INDEX, [job], walker=folder) == written
    assert written[0][-2]["state"] == WALK.state()
