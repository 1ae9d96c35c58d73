"""Random libraries, small and odd on purpose: what the numbers and the two walks are tried on.

They are written as files and read by the real reader. They are not sound (hazards are isolated and
exposed at random), but they have no loops and every id resolves.
"""

from __future__ import annotations

import json
from random import Random
from typing import TYPE_CHECKING, Any

from kb_tools.model.build import load

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from kb_tools.model.entities import Library

HAZARDS = ("power", "motion")
TOOLS = ("key", "meter")
SPARES = ("fuse", "lead", "lamp")
LABELS = (
    "Yes",
    "No",
    "Cannot tell",
    "Steady <b>",
    "zwei  Mal",
    "ÄRGER & Öl",
    "'none'",
    '"24 V"',
    "3 times",
    "U+2028 \u2028!",
)
UNITS = {"V": [-10, 60], "N m": [0, 12], "degC": [-20, 90], "1": [0, 500], "mm": [0, 300]}
TEXTS = ("Keep it **out of use**", "Stop.\n\n- one\n- *two*", "See [here](trees/t1.html) & wait", "</script><b>no")


def seeded(seed: int) -> Random:
    """Return a source of chance that repeats itself."""
    return Random(seed)


def write_library(root: Path, trees: dict[str, dict[str, Any]]) -> Path:
    """Write trees, and the shared files that they need, below `root`; JSON is YAML too."""
    shared = root / "trees" / "shared"
    shared.mkdir(parents=True, exist_ok=True)
    hazards = {
        name: {"name": name.title(), "how_isolated": "Switch it off", "put_back": "Switch it on", "confirm": True}
        for name in HAZARDS
    }
    cautions = {
        name: {"signal": "WARNING", "hazard": name, "text": "It bites", "consequence": "Pain", "avoid": "Keep off"}
        for name in HAZARDS
    }
    cautions["look"] = {"signal": "NOTICE", "text": "Look", "consequence": "None", "avoid": "Look first"}
    proofs = {
        "drives": {"title": "Drives", "takes": "6 min", "items": ["It drives", {"item": "It stops", "optional": True}]},
        "quick": {"title": "Quick look", "takes": "30 s", "cautions": ["look"], "items": ["It is lit"]},
    }
    things = {name: {"name": name.title()} for name in (*TOOLS, *SPARES)}
    equipment = {"tools": {name: things[name] for name in TOOLS}, "spares": {name: things[name] for name in SPARES}}
    shared_files = {"hazards": hazards, "cautions": cautions, "proofs": proofs, "equipment": equipment}
    for name, content in shared_files.items():
        (shared / f"{name}.yml").write_text(json.dumps(content), "utf-8")
    area = root / "trees" / "any"
    area.mkdir(exist_ok=True)
    for name, tree in trees.items():
        (area / f"{name}.yml").write_text(json.dumps(tree), "utf-8")
    return root


def read_library(root: Path, trees: dict[str, dict[str, Any]]) -> Library:
    """Write trees below `root` and read them back; nothing may be wrong with reading them."""
    library = load(write_library(root, trees))
    assert not library.findings, library.findings[0]
    return library


def random_trees(rng: Random, count: int, *, most_steps: int = 9, links: bool = True) -> dict[str, dict[str, Any]]:
    """Return `count` random trees, ready to be written; links lead to trees of greater number, or into their middle."""
    trees: dict[str, dict[str, Any]] = {}
    goals: list[str] = []
    for number in reversed(range(count)):
        name = f"t{number}"
        trees[name] = random_tree(rng, number, most_steps, goals if links else [])
        goals += [name, f"{name}/s0", f"{name}/{rng.choice(list(trees[name]['steps']))}"]
    return trees


def random_tree(rng: Random, number: int, most_steps: int, goals: list[str]) -> dict[str, Any]:
    """Return one random tree."""
    size = rng.randint(1, most_steps)
    names = [f"s{at}" for at in range(size)]
    steps = {name: _step(rng, names[at + 1 :], goals) for at, name in enumerate(names)}
    if rng.random() < 0.2:
        for step in steps.values():
            step.pop("share", None)
    order = list(steps)
    rng.shuffle(order)
    tree: dict[str, Any] = {
        "title": f"Symptom {number}",
        "reviewed": "2026-10-14",
        "start": "s0",
        "steps": {name: steps[name] for name in order},
    }
    if rng.random() < 0.2:
        tree["cautions"] = ["look"]
    if rng.random() < 0.2:
        tree["stop_use"] = rng.choice(TEXTS)
    return tree


def _step(rng: Random, later: list[str], goals: list[str]) -> dict[str, Any]:
    """Return a random step that leads to later ones only."""
    kinds = ["escalate", "done"]
    if goals:
        kinds.append("link")
    if later:
        kinds += ["check"] * 5 + ["measure"] * 3 + ["do"] * 3 + ["fix"] * 4
    kind = rng.choice(kinds)
    step = _MAKERS[kind](rng, later, goals)
    if kind not in ("check", "measure", "do") and rng.random() < 0.8:
        step["share"] = rng.choice([0, 1, 2, 5, 12.5, 40])
    if rng.random() < 0.7:
        step["takes"] = f"{rng.choice([0, 1, 2.5, 7, 30])} min"
    if rng.random() < 0.2:
        step["wait"] = f"{rng.randint(1, 90)} min"
    if kind in ("check", "measure", "do", "fix") and rng.random() < 0.15:
        step[rng.choice(["exposes", "works_live"])] = [rng.choice(HAZARDS)]
    if rng.random() < 0.1:
        step["cautions"] = ["look"]
    if rng.random() < 0.2:
        step["tools"] = rng.sample(TOOLS, rng.randint(1, 2))
    if kind in ("do", "fix") and rng.random() < 0.4:
        step["spares"] = rng.sample(SPARES, rng.randint(1, 2))
    return step


def _effects(rng: Random) -> dict[str, Any]:
    """Return what a way does to the hazards, mostly nothing."""
    if rng.random() < 0.7:
        return {}
    hazard = [rng.choice(HAZARDS)]
    return rng.choice([{"isolates": hazard, "confirms": hazard}, {"isolates": hazard}, {"restores": hazard}])


def _check(rng: Random, later: list[str], _: list[str]) -> dict[str, Any]:
    answers = []
    for label in rng.sample(LABELS, rng.randint(1, 4)):
        answer = {"answer": label, "to": rng.choice(later)} | _effects(rng)
        if rng.random() < 0.2:
            answer["unsure"] = True
        if rng.random() < 0.15:
            answer["stop_use"] = rng.choice(TEXTS)
        answers.append(answer)
    return {"check": "What do you see?", "answers": answers}


def _measure(rng: Random, later: list[str], _: list[str]) -> dict[str, Any]:
    unit = rng.choice(list(UNITS))
    least, most = UNITS[unit]
    edges = sorted({rng.randint(least + 1, most - 1) + rng.choice([0, 0.5]) for _ in range(rng.randint(0, 3))})
    bands = []
    for at, label in enumerate(rng.sample(LABELS, len(edges) + 1)):
        band: dict[str, Any] = {"answer": label, "to": rng.choice(later)} | _effects(rng)
        if at:
            band["from"] = edges[at - 1]
        if at < len(edges):
            band["below"] = edges[at]
        bands.append(band)
    step = {"measure": "How much is it?", "unit": unit, "source": "made up", "bands": bands}
    return step | ({"plausible": [least, most]} if rng.random() < 0.7 else {})


def _do(rng: Random, later: list[str], _: list[str]) -> dict[str, Any]:
    step = {"do": "Do it", "confirm": "It is done", "then": rng.choice(later)} | _effects(rng)
    return step | ({"cannot": rng.choice(later)} if rng.random() < 0.6 else {})


def _fix(rng: Random, later: list[str], _: list[str]) -> dict[str, Any]:
    step: dict[str, Any] = {"fix": "Mend it", "not_cured": rng.choice(later)}
    if rng.random() < 0.8:
        step["proof"] = rng.choice(["drives", "quick"])
    if rng.random() < 0.5:
        step["cures"] = rng.choice([0, 0.3, 0.9, 1])
    if rng.random() < 0.3:
        step["restores"] = [rng.choice(HAZARDS)]
    if rng.random() < 0.2:
        step["stop_use"] = rng.choice(TEXTS)
    return step


def _escalate(rng: Random, *_: object) -> dict[str, Any]:
    return {"escalate": "Ask the desk"} | ({"stop_use": rng.choice(TEXTS)} if rng.random() < 0.3 else {})


def _done(rng: Random, *_: object) -> dict[str, Any]:
    return {"done": "Nothing found"} | ({"proof": "drives"} if rng.random() < 0.5 else {})


def _link(rng: Random, _: list[str], goals: list[str]) -> dict[str, Any]:
    return {"link": rng.choice(goals)}


_MAKERS: dict[str, Callable[[Random, list[str], list[str]], dict[str, Any]]] = {
    "check": _check,
    "measure": _measure,
    "do": _do,
    "fix": _fix,
    "escalate": _escalate,
    "done": _done,
    "link": _link,
}


def chain(length: int) -> dict[str, Any]:
    """Return a tree of `length` checks with two answers each that lead to the same next check: 2**length paths."""
    steps: dict[str, Any] = {}
    for at in range(length):
        to = f"s{at + 1}" if at + 1 < length else "mend"
        answers = [{"answer": "A", "to": to}, {"answer": "B", "to": to}, {"answer": "C", "to": "desk"}]
        steps[f"s{at}"] = {"check": "Which?", "answers": answers}
    steps["mend"] = {"fix": "Mend it", "share": 3, "cures": 0.5, "not_cured": "desk"}
    steps["desk"] = {"escalate": "Ask", "share": 1}
    return {"title": "Chain", "reviewed": "2026-10-14", "start": "s0", "steps": steps}
