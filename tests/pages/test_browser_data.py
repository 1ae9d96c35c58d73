"""What the browser gets: complete, the same bytes every time, and nothing that could become markup."""

from __future__ import annotations

import copy
import json
import os
import re
import subprocess
import sys
from datetime import date
from typing import TYPE_CHECKING, Any

import pytest

from conftest import ROOT
from kb_tools.model.build import load
from kb_tools.pages.browser_data import INDEX, LIBRARY, browser_files
from kb_tools.rules.contract import subject_of
from random_trees import chain, write_library

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

TODAY = date(2026, 11, 25)
HEAD = re.compile(
    r"\(window\.faultTrees = window\.faultTrees \|\| \{\}\)\.data = window\.faultTrees\.data \|\| \{trees: \{\}\};\n"
    r"(?:window\.faultTrees\.data\.trees\[\"[a-z0-9-]+\"\] = (\{.*\})|"
    r"Object\.assign\(window\.faultTrees\.data\.index = window\.faultTrees\.data\.index \|\| \{\}, (\{.*\})\));\n"
)
HOSTILE = "</script><img src=x onerror=alert(1)> & \u2028 \u0000'\""
TREE: dict[str, Any] = {
    "title": "The lamp is *dark*",
    "reviewed": "2026-10-14",
    "applies_to": "all revisions",
    "heard_as": ["no lamp"],
    "cautions": ["look", "power"],
    "stop_use": "Do **not** drive; see [the guide](guide.md)",
    "start": "look",
    "steps": {
        "look": {
            "check": "Is `S1` lit?",
            "say": "Is the little lamp lit?",
            "who": "anyone",
            "how": "Look.\n\n- from above\n- in the dark",
            "answers": [
                {"answer": "Yes", "to": "nothing", "say": "It is"},
                {"answer": "No", "to": "volts"},
                {"answer": "Cannot tell", "to": "volts", "unsure": True},
            ],
        },
        "volts": {
            "measure": "Voltage",
            "unit": "V",
            "plausible": [0, 60],
            "source": "common practice",
            "works_live": ["power"],
            "live_because": "only then",
            "controls": "one hand",
            "bands": [{"below": 18, "answer": "Low", "to": "part"}, {"from": 18, "answer": "Fine", "to": "desk"}],
        },
        "part": {
            "do": "Part the plug",
            "confirm": "It hangs free",
            "isolates": ["power"],
            "confirms": ["power"],
            "then": "mend",
            "cannot": "desk",
        },
        "mend": {
            "fix": "Mend it",
            "exposes": ["power"],
            "restores": ["power"],
            "put_back": "Plug it in",
            "share": 3,
            "cures": 0.5,
            "takes": "5 min",
            "wait": "10 min",
            "proof": "drives",
            "not_cured": "desk",
        },
        "desk": {"escalate": "Ask", "bring": ["the *number*"], "leave": "Out of use", "share": 1},
        "nothing": {"done": "Nothing found", "proof": "drives"},
    },
}


def files_of(root: Path) -> dict[str, str]:
    """Return the data of a library by address."""
    subject = subject_of(load(root), TODAY)
    library = subject.library
    assert not library.findings
    return dict(browser_files(library, subject.graph, subject.isolation, list(library.trees.values())))


def data_of(text: str) -> Any:  # noqa: ANN401 - JSON
    """Return the JSON in a script."""
    found = HEAD.fullmatch(text)
    assert found, text[:200]
    return json.loads(found[1] or found[2])


def compiled(root: Path, tree: dict[str, Any]) -> Any:  # noqa: ANN401 - JSON
    """Return a tree as the browser gets it."""
    return data_of(files_of(write_library(root, {"t0": tree}))["kb/trees/t0.js"])


def test_a_tree_as_it_was_accepted(tmp_path: Path, gold: Callable[[str, str], None]) -> None:
    """The data of a small tree that has every kind of step, and its index, are those in the gold files."""
    files = files_of(write_library(tmp_path, {"t0": TREE}))
    assert list(files) == [LIBRARY, INDEX, "kb/trees/t0.js"]
    for name, text in files.items():
        shown = "\n".join(lines_of("", data_of(text)))
        gold(f"browser_data/{name.removeprefix('kb/').replace('/', '-').replace('.js', '.txt')}", f"{shown}\n")


def lines_of(name: str, value: Any) -> Iterator[str]:  # noqa: ANN401 - JSON
    """Yield a line for each value of data, named by the keys that lead to it; rendered Markdown stays together."""
    if isinstance(value, dict) and value:
        for key, inner in value.items():
            yield from lines_of(f"{name}.{key}", inner)
    elif isinstance(value, list) and value and isinstance(value[0], dict):
        for at, inner in enumerate(value):
            yield from lines_of(f"{name}[{at}]", inner)
    else:
        yield f"{name.removeprefix('.')} = {json.dumps(value, ensure_ascii=False)}"


def test_the_same_bytes_whatever_the_hash_seed(tmp_path: Path) -> None:
    """Two processes with different hash seeds write the same bytes for the demo library."""
    program = (
        "import hashlib, sys; from pathlib import Path; from datetime import date; "
        "from kb_tools.model.build import load; from kb_tools.rules.contract import subject_of; "
        "from kb_tools.pages.browser_data import browser_files; "
        "s = subject_of(load(Path(sys.argv[1])), date(2026, 11, 25)); "
        "t = browser_files(s.library, s.graph, s.isolation, list(s.library.trees.values())); "
        "sys.stdout.write(hashlib.sha256(repr(list(t)).encode()).hexdigest())"
    )
    digests = set()
    for seed in ("1", "2"):
        done = subprocess.run(
            [sys.executable, "-c", program, str(ROOT)],
            env=os.environ | {"PYTHONHASHSEED": seed},
            cwd=tmp_path,
            capture_output=True,
            text=True,
            check=True,
        )
        digests.add(done.stdout)
    assert len(digests) == 1
    assert len(digests.pop()) == 64


def test_nothing_in_a_script_can_end_it(tmp_path: Path) -> None:
    """Hostile text in a tree stays text: no tag opens in the script, and the text comes back as it was."""
    tree = copy.deepcopy(TREE)
    hostile = HOSTILE.replace("\u0000", "")
    tree["title"] = tree["steps"]["look"]["say"] = tree["steps"]["look"]["answers"][0]["answer"] = hostile
    tree["steps"]["look"]["how"] = f"[go](javascript:alert(1)) {hostile}"
    files = files_of(write_library(tmp_path, {"t0": tree}))
    for text in files.values():
        assert "<" not in text
        assert "\u2028" not in text
    step = data_of(files["kb/trees/t0.js"])["steps"]["look"]
    assert step["say"] == step["ways"][0]["label"] == hostile
    assert "javascript:" not in json.dumps(step["how"])


def test_everything_that_a_tree_names_comes_with_it() -> None:
    """In the demo library every step, caution, hazard, proof, tool, spare and part that is named is there."""
    files = files_of(ROOT)
    read = [data_of(text) for name, text in files.items() if name.startswith("kb/trees/")]
    trees = {data["id"]: data for data in read}
    for tree in trees.values():
        steps = tree["steps"]
        assert tree["start"] in steps
        assert sorted(step["n"] for step in steps.values()) == list(range(1, len(steps) + 1))
        assert set(tree["cautions"]) <= set(tree["caution_texts"])
        for proof in tree["proofs"].values():
            assert set(proof["cautions"]) <= set(tree["caution_texts"])
            assert set(proof["needs"]) <= set(tree["hazards"])
        for step in steps.values():
            assert set(step["cautions"]) <= set(tree["caution_texts"])
            assert {*step["exposes"], *step["works_live"], *step["needs"]} <= set(tree["hazards"])
            assert set(step["tools"]) <= set(tree["tools"])
            assert set(step["spares"]) <= set(tree["spares"])
            assert set(step["looks_at"]) <= set(tree["parts"])
            assert "proof" not in step or step["proof"] in tree["proofs"]
            for way in step["ways"]:
                other, _, name = way["to"].rpartition("/")
                assert name in (trees[other] if other else tree)["steps"]
                assert {*way["isolates"], *way["confirms"], *way["restores"]} <= set(tree["hazards"])
                if not other and way["via"] != "link":
                    assert steps[name]["n"] > step["n"]


def test_the_index_tells_what_finder_and_walk_need() -> None:
    """Each tree of the demo library stands in the index with its words, tag and address; the desk's questions too."""
    files = files_of(ROOT)
    about, index = data_of(files[LIBRARY]), data_of(files[INDEX])
    assert about["library"]["edition"] == 1
    assert about["library"]["date"] == "2026-11-20"
    assert about["library"]["max_age_days"] == 180
    assert about["count"] == len(index["trees"])
    tags = [entry["tag"] for entry in index["trees"]]
    assert len(set(tags)) == len(tags)
    for entry in index["trees"]:
        tree = data_of(files[f"kb/trees/{entry['id']}.js"])
        assert entry["fingerprint"] == tree["fingerprint"]
        assert entry["minutes"] == tree["steps"][tree["start"]]["left"]
        assert entry["url"] == f"trees/{entry['id']}.html"
        assert set(entry["words"].split()) >= {"the"}
    assert all(question["bad"] in ("Yes", "No") for question in about["desk"])


def reworded(tree: dict[str, Any]) -> None:
    """Say a question otherwise."""
    tree["steps"]["look"]["check"] = "Does the lamp light?"


def weighted(tree: dict[str, Any]) -> None:
    """Give a cause another share, and a band another limit."""
    tree["steps"]["mend"]["share"] = 50
    tree["steps"]["volts"]["bands"][0]["below"] = tree["steps"]["volts"]["bands"][1]["from"] = 20


def reordered(tree: dict[str, Any]) -> None:
    """Write the steps in another order."""
    tree["steps"] = dict(reversed(tree["steps"].items()))


def renamed(tree: dict[str, Any]) -> None:
    """Call an answer otherwise."""
    tree["steps"]["look"]["answers"][1]["answer"] = "Never"


def redirected(tree: dict[str, Any]) -> None:
    """Let an answer lead elsewhere."""
    tree["steps"]["look"]["answers"][1]["to"] = "desk"


def swapped(tree: dict[str, Any]) -> None:
    """Write the answers in another order: a walk code counts them."""
    tree["steps"]["look"]["answers"].reverse()


def unproven(tree: dict[str, Any]) -> None:
    """Take away a proof, and with it a choice."""
    del tree["steps"]["nothing"]["proof"]


@pytest.mark.parametrize("change", [reworded, weighted, reordered])
def test_wording_and_weights_leave_the_fingerprint(tmp_path: Path, change: Callable[[dict[str, Any]], None]) -> None:
    """What changes neither steps nor answers nor targets leaves walk codes valid."""
    other = copy.deepcopy(TREE)
    change(other)
    before, after = compiled(tmp_path / "a", TREE), compiled(tmp_path / "b", other)
    assert (before["fingerprint"], before["tag"]) == (after["fingerprint"], after["tag"])


@pytest.mark.parametrize("change", [renamed, redirected, swapped, unproven])
def test_answers_and_targets_change_the_fingerprint(tmp_path: Path, change: Callable[[dict[str, Any]], None]) -> None:
    """What changes answers or targets is another tree to a walk code."""
    other = copy.deepcopy(TREE)
    change(other)
    assert compiled(tmp_path / "a", TREE)["fingerprint"] != compiled(tmp_path / "b", other)["fingerprint"]


def test_figures_stay_figures_in_a_tree_of_very_many_paths(tmp_path: Path) -> None:
    """Of 2**2000 paths each weighs next to nothing, and still every figure is a number that JSON can hold."""
    tree = compiled(tmp_path, chain(2000))
    assert tree["steps"]["s0"]["mass"] == 1
    assert 0 < tree["steps"]["mend"]["mass"] < 1e-300
    assert tree["steps"]["mend"]["stop"] == pytest.approx(0.75 / (0.75 + 0.25 / 2), abs=1e-9)
