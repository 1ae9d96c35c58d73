"""Thousands of random trees, walked at random, wrong answers and hostile codes included."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from in_step.engines import Trees, browser, compiled, said
from in_step.recorder import Recorder, paths_of
from kb_tools.model.code import WalkProblem
from kb_tools.model.resume import restore, resume
from kb_tools.model.walk import Walk
from random_trees import HAZARDS, chain, random_trees, read_library, seeded

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path
    from random import Random

BATCHES = range(4)
TREES = 500
TURNS = 20
MOST_PATHS = 40
NONSENSE = (
    "",
    " ",
    "yes",
    "  YES ",
    "cured",
    "Cannot  tell",
    "25,300",
    "1e999",
    "-0",
    "\u22123.5",
    ".5 V",
    "5. V",
    "24V",
    "24 V",
    "7 mV",
    "0,02 kV",
    "3 lbf in",
    "3 lbf  ft",
    "100 degF",
    "300.15 K",
    "40 \u00b0C",
    "2 in",
    "2 cm",
    "3 \u2126",
    "9" * 70,
    "12 parsec",
    "1 1",
    "3 times",
    "undone\u0000",
    "__proto__",
    12.25,
    -5,
    1e300,
    0.1,
)


class Player:
    """Plays a walk in Python at random and notes what the browser's engine is to do and to find."""

    def __init__(self, rng: Random, trees: Trees, index: dict[str, Any], tree: str) -> None:
        """Begin a walk."""
        self.rng, self.trees, self.index = rng, trees, index
        self.walk = Walk(trees, tree)
        self.operations: list[list[Any]] = [["load", name] for name in trees] + [["start", tree]]
        self.expected: list[Any] = [None] * len(self.operations)
        self.look()

    def look(self) -> None:
        """Note all that is seen of the walk."""
        walk, state = self.walk, self.walk.state()
        seen: dict[str, Any] = {"state": state, "code": walk.code(), "link": walk.link(), "due": walk.cautions_due()}
        seen |= {"asks": walk.asks_again(), "stored": walk.to_json()}
        self.operations.append(["see"])
        self.expected.append(seen | {"by": [walk.isolated_by(hazard) for hazard in state["isolated"]]})

    def turn(self, operation: list[Any], act: Callable[[], Any]) -> None:
        """Do one thing in Python, note what came of it, and look."""
        self.operations.append(operation)
        try:
            self.expected.append(act())
        except WalkProblem as problem:
            self.expected.append({"error": problem.code})
        self.look()

    def play(self) -> None:
        """Take some turns."""
        moves = [self.answer] * 8 + [
            self.nonsense,
            self.back,
            self.reopen,
            self.jump,
            self.known,
            self.peek,
            self.read,
            self.again,
        ]
        for _ in range(TURNS):
            self.rng.choice(moves)()
        self.operations.append(["roundTrip"])
        self.expected.append(True)

    def value(self, tree: str, step: str) -> Any:  # noqa: ANN401 - a text or a number
        """Return something that may be said at a step."""
        good = said(self.trees[tree]["steps"][step])
        return self.rng.choice(good) if good and self.rng.random() < 0.85 else self.rng.choice(NONSENSE)

    def answer(self) -> None:
        """Answer the present step, mostly with something that fits."""
        state = self.walk.state()
        value = self.value(state["tree"], state["step"])
        step = state["step"] if self.rng.random() < 0.9 else f"{state['tree']}/{state['step']}"
        self.turn(["answer", step, value], lambda: self.walk.answer(step, value))

    def nonsense(self) -> None:
        """Answer some step with nonsense."""
        value, step = self.rng.choice(NONSENSE), self.rng.choice(["s0", "s1", "s2", "", "__proto__"])
        self.turn(["answer", step, value], lambda: self.walk.answer(step, value))

    def back(self) -> None:
        """Go back."""
        self.turn(["back"], self.walk.back)

    def facts(self) -> dict[str, Any]:
        """Return some facts about the present tree."""
        tree = self.walk.state()["tree"]
        facts = {}
        for name in self.trees[tree]["steps"]:
            if self.rng.random() < 0.7:
                facts[name if self.rng.random() < 0.7 else f"{tree}/{name}"] = self.value(tree, name)
        return facts

    def jump(self) -> None:
        """State some facts and jump."""
        facts = self.facts()
        self.turn(["jump", facts], lambda: self.walk.jump(facts))

    def reopen(self) -> None:
        """Open an earlier answer again, answer it, and let the later answers stand where they hold."""
        trail = self.walk.state()["trail"]
        for _ in range(self.rng.randint(0, len(trail))):
            self.walk.back()
            self.operations.append(["back"])
            self.expected.append(None)
        self.answer()
        facts = {f"{entry['tree']}/{entry['step']}": entry["value"] for entry in trail}
        self.turn(["jump", facts], lambda: self.walk.jump(facts))

    def known(self) -> None:
        """Ask what some facts leave possible."""
        facts = self.facts()
        self.turn(["known", facts], lambda: self.walk.known(facts))

    def peek(self) -> None:
        """Look ahead."""
        state = self.walk.state()
        value = self.value(state["tree"], state["step"])
        self.turn(["peek", value], lambda: self.walk.peek(value))

    def read(self) -> None:
        """Acknowledge a caution, or say that something is still isolated."""
        if self.rng.random() < 0.6:
            caution = self.rng.choice([*HAZARDS, "look", "toString"])
            self.turn(["acknowledge", caution], lambda: self.walk.acknowledge(caution))
        else:
            hazard = self.rng.choice(HAZARDS)
            self.turn(["stillIsolated", hazard], lambda: self.walk.still_isolated(hazard))

    def again(self) -> None:
        """Put the walk away and take it up again, from what was kept, from its link or its code."""
        how = self.rng.choice(["kept", "link", "code"])
        if how == "kept":
            self.walk = restore(self.trees, self.walk.to_json())
            self.turn(["again"], lambda: None)
            return
        given = self.walk.link() if how == "link" else self.walk.code()
        self.walk = resume(self.trees, given)
        self.turn(["resume", given], lambda: None)


@pytest.fixture(scope="module")
def libraries(tmp_path_factory: pytest.TempPathFactory) -> Callable[[int], tuple[Trees, dict[str, Any]]]:
    """Return what makes the compiled random library of a batch."""
    made: dict[int, tuple[Trees, dict[str, Any]]] = {}

    def library(batch: int) -> tuple[Trees, dict[str, Any]]:
        if batch not in made:
            folder = tmp_path_factory.mktemp(f"library{batch}")
            trees = random_trees(seeded(batch), TREES, most_steps=5 + 4 * batch)
            made[batch] = compiled(read_library(folder, trees))
        return made[batch]

    return library


@pytest.mark.timeout(300)
@pytest.mark.parametrize("batch", BATCHES)
def test_random_walks_in_random_trees(
    tmp_path: Path, libraries: Callable[[int], tuple[Trees, dict[str, Any]]], batch: int
) -> None:
    """Hundreds of random trees a batch, each walked at random: whatever is done, both engines come to the same."""
    trees, index = libraries(batch)
    rng = seeded(1000 + batch)
    players: list[Player] = []
    for name in trees:
        player = Player(rng, trees, index, name)
        player.play()
        # Loading is for the first job: the process keeps what it has loaded.
        if players:
            player.operations, player.expected = player.operations[len(trees) :], player.expected[len(trees) :]
        players.append(player)
    results = browser(tmp_path, trees, index, [player.operations for player in players])
    for player, found in zip(players, results, strict=True):
        for at, (wanted, result) in enumerate(zip(player.expected, found, strict=True)):
            assert result == wanted, player.operations[: at + 1]
    errors = {entry["error"] for found in results for entry in found if isinstance(entry, dict) and "error" in entry}
    assert errors >= {
        "wrong-step",
        "unknown-answer",
        "not-a-number",
        "unit-unknown",
        "out-of-range",
        "ended",
        "at-start",
        "unknown-caution",
        "not-isolated",
    }


@pytest.mark.timeout(300)
def test_every_path_of_small_random_trees(
    tmp_path: Path, libraries: Callable[[int], tuple[Trees, dict[str, Any]]]
) -> None:
    """Every path of the smaller random trees ends alike, and its code, link and kept form lead back to it."""
    trees, index = libraries(0)
    recorders = []
    for name, tree in trees.items():
        if paths_of(tree) <= MOST_PATHS:
            recorder = Recorder(trees, name)
            recorder.every_path()
            recorders.append(recorder)
    assert len(recorders) > TREES * 0.9
    results = browser(tmp_path, trees, index, [recorder.operations for recorder in recorders])
    for recorder, found in zip(recorders, results, strict=True):
        assert found == recorder.expected


def test_more_paths_than_a_number_can_count(tmp_path: Path) -> None:
    """In a tree of 2**2000 paths the causes still add up, at its start and after three hundred answers."""
    trees, index = compiled(read_library(tmp_path, {"t0": chain(2000)}))
    walk = Walk(trees, "t0")
    job: list[list[Any]] = [["load", "t0"], ["start", "t0"], ["see"]]
    wanted = [walk.state()]
    for at in range(300):
        walk.answer(f"s{at}", "B")
        job.append(["answer", f"s{at}", "B"])
    wanted.append(walk.state())
    walk.answer("s300", "C")
    wanted.append(walk.state())
    [found] = browser(tmp_path, trees, index, [[*job, ["see"], ["answer", "s300", "C"], ["see"]]])
    assert [one["state"] for one in found if one] == wanted
    assert [{cause["id"]: cause["odds"] for cause in state["causes"]} for state in wanted] == [
        pytest.approx({"mend": 0.75, "desk": 0.25}),
        pytest.approx({"mend": 0.75, "desk": 0.25}),
        {"desk": 1},
    ]
