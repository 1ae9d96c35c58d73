"""Steps worded almost alike: what counts as alike, against every pair compared; hints, and no findings."""

from __future__ import annotations

import itertools
import json
import random
import re
from pathlib import Path

from author.kb_run import kb
from kb_tools.author.start import start
from kb_tools.model.alike import LEAST, alike
from kb_tools.model.build import load
from making import library, step, tree, word

ROOT = Path(__file__).parent.parent.parent


def made(texts: list[str], kind: str = "check") -> list[set[str]]:
    """Return the groups among some texts, each the one step of a tree of its own."""
    trees = []
    for number, text in enumerate(texts):
        one = step(kind)
        one.text = word(text)
        trees.append(tree(f"t{number}", "s", {"s": one}))
    return [{member.tree for member in group.members} for group in alike(library(trees))]


def test_wording_that_hardly_differs_is_alike() -> None:
    """Letters, commas and small words make no difference; another question does."""
    texts = [
        "Is the lamp on the guard box lit?",
        "Is the lamp on the guard box lit up?",
        "is the lamp, on the guard box, lit",
        "Does the charger hum when it is plugged in?",
    ]
    assert made(texts) == [{"t0", "t1", "t2"}]


def test_numbers_and_opposites_keep_texts_apart() -> None:
    """A number, or a side, makes it another thing, however alike the rest is."""
    assert made(["Is the plug at place 3 of the loom loose?", "Is the plug at place 4 of the loom loose?"]) == []
    assert made(["Is the plug of the left wheel motor loose?", "Is the plug of the right wheel motor loose?"]) == []


def test_steps_of_one_tree_and_what_is_shared_already_are_left_out() -> None:
    """Two steps of one tree are its author's business; a step that uses a shared body shares it."""
    one, two = step("check"), step("check")
    one.text = two.text = word("Is the lamp on the guard box lit?")
    assert alike(library([tree("t", "a", {"a": one, "b": two})])) == []
    two.use = word("lamp")
    assert alike(library([tree("t", "a", {"a": one}), tree("u", "b", {"b": two})])) == []


def test_banding_finds_what_comparing_every_pair_finds() -> None:
    """Of random texts those are found whose trigrams overlap enough, by the definition, over all pairs."""
    chance = random.Random(7)
    words = "lamp plug lead guard box chair lit loose wet home fuse seat motor wheel sensor pad".split()
    texts = [" ".join(chance.choices(words, k=7)) for _ in range(40)]
    texts += [text.replace(chance.choice(text.split()), chance.choice(words), 1) for text in texts]

    def grams(text: str) -> set[str]:
        spaced = f" {text} "
        return {spaced[at : at + 3] for at in range(len(spaced) - 2)}

    sets = [grams(" ".join(re.findall(r"\w+", text))) for text in texts]
    wanted = {
        (f"t{one}", f"t{two}")
        for one, two in itertools.combinations(range(len(texts)), 2)
        if len(sets[one] & sets[two]) >= LEAST * len(sets[one] | sets[two])
    }
    together = {pair for group in made(texts) for pair in itertools.permutations(group, 2)}
    assert len(wanted) > 10
    assert wanted <= together
    # Whoever is in a group is alike with somebody in it.
    alone = {one for pair in together for one in pair} - {one for pair in wanted for one in pair}
    assert not alone


def test_the_demo_library_has_hints_and_no_findings_of_them() -> None:
    """`kb alike` points steps of the demo library out, with exit code 0; each is where it says."""
    ran = kb(ROOT, "alike", "--format", "json")
    assert ran.code == 0
    groups = json.loads(ran.out)
    trees = load(ROOT).trees
    for group in groups:
        assert len({one["tree"] for one in group["steps"]}) > 1 or group["shared"]
        for one in group["steps"]:
            assert trees[one["tree"]].steps[one["step"]].text == one["text"]


def test_a_step_worded_like_a_shared_body_is_told_to_use_it(tmp_path: Path) -> None:
    """The text names the shared body."""
    start(tmp_path / "new")
    text = next(one.text for _, _, one in load(tmp_path / "new").steps() if one.kind == "check")
    shared = f"a-check:\n  check: {json.dumps(str(text))}\n  answers:\n    - answer: 'Yes'\n    - answer: 'No'\n"
    (tmp_path / "new/trees/shared/checks.yml").write_text(shared, "utf-8")
    ran = kb(tmp_path / "new", "alike")
    assert ran.code == 0
    assert "like the shared check a-check" in ran.out
