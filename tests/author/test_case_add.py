"""`kb case add`: visits become cases, and the tree that sent one wrong is told, with the step where it did."""

from __future__ import annotations

import json
import shutil
from typing import TYPE_CHECKING, Any

import jsonschema
import pytest

from author.kb_run import DAY, files, kb
from conftest import ROOT
from kb_tools.model.build import load
from kb_tools.model.graph import build_graph
from kb_tools.model.hazards import analyse
from kb_tools.model.walk import Walk
from kb_tools.numbers.odds import library_numbers
from kb_tools.pages.tree_data import compile_tree

if TYPE_CHECKING:
    from pathlib import Path

SMALL = ROOT / "tests" / "data" / "small"
TREE = "trees/seat/seat-stuck.yml"
SCHEMA = json.loads((ROOT / "kb_tools/pages/walker/record.schema.json").read_text("utf-8"))
TYPED = "Mrs Example, 4 Nowhere Road"
AT = "2026-11-20T10:00:00.000Z"


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """Return a copy of the small library."""
    return shutil.copytree(SMALL, tmp_path / "library")


def record(answers: list[tuple[str, str | float]], **more: Any) -> dict[str, Any]:  # noqa: ANN401 - keys of a record
    """Return the record of a walk in `seat-stuck` that the twin of the browser's engine makes; personal text in it."""
    library = load(SMALL)
    graph = build_graph(library)
    isolation, numbers = analyse(graph, library), library_numbers(graph, library)
    trees = {name: compile_tree(library, graph, isolation, tree, numbers[name]) for name, tree in library.trees.items()}
    walk = Walk(trees, "seat-stuck")
    for step, value in answers:
        walk.answer(step, value)
    steps = []
    for entry in walk.state()["trail"]:
        taken = trees[entry["tree"]]["steps"][entry["step"]]
        reading = str(entry["value"]) if taken["kind"] == "measure" and entry["value"] != entry["answer"] else None
        steps.append(
            {"tree": entry["tree"], "step": entry["step"], "kind": taken["kind"], "text": taken["text"], "at": AT}
            | {"answer": entry["answer"], "reading": reading, "assumed": False, "kept": False}
        )
    entered = dict.fromkeys(["seat-stuck", *(one["tree"] for one in steps), walk.state()["tree"]])
    made: dict[str, Any] = {
        "format": "fault-tree visit record",
        "version": 1,
        "id": "0123456789abcdef",
        "job": TYPED,
        "library": {"key": "abc", "title": "Seats", "edition": "1"},
        **dict.fromkeys(("chair_revision", "chair_serial", "kit_revision", "kit_serial", "remark"), TYPED),
        "as_found": {"lamps": TYPED, "settings": TYPED, "reported_by": "carer", "reported": TYPED},
        "mode": "technician",
        "caller": None,
        "started": AT,
        "updated": AT,
        "ended": AT,
        "trees": [
            {"tree": name, "title": trees[name]["title"], "fingerprint": trees[name]["fingerprint"]} for name in entered
        ],
        "safety_questions": [],
        "steps": steps,
        "withdrawn": [],
        "acknowledgements": [],
        "fixes": [],
        "stop_use": [],
        "left": "in service",
        "outcome": "cured",
        "code": walk.code(),
    }
    made |= more
    jsonschema.Draft202012Validator(SCHEMA).validate(made)
    return made


def saved(folder: Path, made: dict[str, Any], name: str = "visit.json") -> str:
    """Write a record and return its path."""
    path = folder / name
    path.write_text(json.dumps(made), "utf-8")
    return str(path)


Answers = list[tuple[str, str | float]]
GREEN: Answers = [
    ("listen", "Silent"),
    ("volts", "250 mV"),
    ("unplug", "done"),
    ("splice", "Yes"),
]
JAMMED: Answers = [("listen", "Heard"), ("prop", "No"), ("set-bar", "cannot")]
BUTTONS: Answers = [
    *(("listen", "Silent"), ("volts", "No supply"), ("unplug", "done"), ("splice", "No")),
    *(("plug-in", "done"), ("other-tree", "go"), ("press", "Nothing"), ("new-pad", "cured")),
]


def test_a_cured_visit_is_a_case_that_holds(root: Path, tmp_path: Path) -> None:
    """Answers, the reading in the step's unit, nothing for what was done, the fix that cured as its end."""
    before = (root / TREE).read_text("utf-8")
    ran = kb(root, "case", "add", saved(tmp_path, record([*GREEN, ("crimp", "cured")])), *DAY)
    assert ran.code == 0, ran.out
    assert (root / TREE).read_text("utf-8") == before + (
        "  - case: Visit of 2026-11-20, record 01234567\n"
        "    given:\n      listen: Silent\n      volts: 0.25 V\n      splice: 'Yes'\n    ends_at: crimp\n"
    )
    assert "The tree ends where the cases say." in ran.out


def test_nothing_that_a_person_typed_gets_into_a_case(root: Path, tmp_path: Path) -> None:
    """Job reference, serial numbers, remark and what was reported stay in the record; an id that was typed too."""
    made = record([*GREEN, ("crimp", "cured")], id=TYPED)
    assert kb(root, "case", "add", saved(tmp_path, made), *DAY).code == 0
    assert TYPED not in (root / TREE).read_text("utf-8")


def test_a_visit_that_ended_wrong_is_told_with_the_step(root: Path, tmp_path: Path) -> None:
    """The case is added, the check fails, and the answer is named after which the cause was out of reach."""
    path = saved(tmp_path, record([*GREEN, ("crimp", "not cured")], outcome="handed over"))
    ran = kb(root, "case", "add", path, "--ends-at", "clear-rail", "--case", "A coin in the rail, motor silent", *DAY)
    assert ran.code == 1
    assert "ends at `desk`, not at `clear-rail`; it goes astray at `volts` with `0.25 V`" in ran.out
    assert "kb branch seat-stuck STEP --case 'A coin in the rail, motor silent'" in ran.out
    case = load(root).trees["seat-stuck"].cases[-1]
    assert dict(case.given) == {"listen": "Silent", "volts": "0.25 V", "splice": "Yes", "crimp": "not cured"}
    assert case.ends_at == "clear-rail"
    assert kb(root, "check", *DAY).code == 1
    # Once more: it is a case already.
    ran = kb(root, "case", "add", path, "--ends-at", "clear-rail", *DAY)
    assert "1 passed over: the same run with the same end is the case `A coin in the rail, motor silent`" in ran.out


def test_an_end_that_is_still_to_be_written(root: Path, tmp_path: Path) -> None:
    """The case waits for its fix; the branch that brings it leads the case there, and all is sound again."""
    path = saved(tmp_path, record([*GREEN, ("crimp", "not cured")], outcome="handed over"))
    ran = kb(root, "case", "add", path, "--ends-at", "new-loom", "--case", "Loom chafed through", *DAY)
    assert ran.code == 1
    assert "Walked: listen Silent -> volts 0.25 V -> unplug done -> splice Yes -> crimp not cured -> desk" in ran.out
    assert "Write it with `kb branch`, if it is still to come" in ran.out
    assert "  kb branch seat-stuck CHECK --answer ... --fix ... --id new-loom --case 'Loom chafed through'\n" in ran.out
    options = ["--answer", "Chafed through", "--fix", "Exchange the loom", "--id", "new-loom", "--exposes", "live-loom"]
    options += ["--restores", "live-loom", "--put-back", "Plug the battery in", "--proof", "tilt-and-stop"]
    options += ["--not-cured", "desk", "--case", "Loom chafed through"]
    ran = kb(root, "branch", "seat-stuck", "splice", *options, *DAY)
    assert ran.code == 0, ran.out
    assert "Mended: 1 finding" in ran.out
    assert kb(root, "check", *DAY).code == 0
    case = load(root).trees["seat-stuck"].cases[-1]
    assert dict(case.given) == {"listen": "Silent", "volts": "0.25 V", "splice": "Chafed through"}


def test_a_walk_over_a_link_belongs_to_its_first_tree(root: Path, tmp_path: Path) -> None:
    """Steps of the other tree are written with its id; a band is given by its name where nobody read a number."""
    ran = kb(root, "case", "add", saved(tmp_path, record(BUTTONS)), *DAY)
    assert "is the case `the buttons after all` already; if it turned out to need another step" in ran.out
    assert kb(root, "case", "add", saved(tmp_path, record(BUTTONS)), "--ends-at", "buttons-dead/desk", *DAY).code == 1
    case = load(root).trees["seat-stuck"].cases[-1]
    expected = {"listen": "Silent", "volts": "No supply", "splice": "No", "buttons-dead/press": "Nothing"}
    assert (dict(case.given), case.ends_at) == (expected, "buttons-dead/desk")


def test_several_records_at_once_and_a_dry_run(root: Path, tmp_path: Path) -> None:
    """All are added together; shown first, nothing is changed."""
    first = saved(tmp_path, record([*GREEN, ("crimp", "cured")]))
    second = saved(tmp_path, record(JAMMED, id="fedcba9876543210", outcome="refused"), "second.json")
    before = files(root)
    ran = kb(root, "case", "add", first, second, "--ends-at", "desk", "--dry-run", *DAY)
    assert ran.code == 1, "as the command without --dry-run would end"
    assert "+    ends_at: desk" in ran.out
    assert "case would be added: Visit of 2026-11-20, record 01234567" in ran.out
    assert "`kb check` would fail until" in ran.out
    assert files(root) == before
    assert kb(root, "case", "add", first, second, "--ends-at", "desk", *DAY).code == 1
    assert [str(case.ends_at) for case in load(root).trees["seat-stuck"].cases[-2:]] == ["desk", "desk"]
    assert dict(load(root).trees["seat-stuck"].cases[-1].given) == {
        "listen": "Heard",
        "prop": "No",
        "set-bar": "cannot",
    }


def test_a_record_of_an_edition_with_other_ids(root: Path, tmp_path: Path) -> None:
    """Ids that were renamed since are read as what they mean today."""
    path = saved(tmp_path, record([*GREEN, ("crimp", "cured")]))
    assert kb(root, "rename", "seat-stuck/crimp", "crimp-anew", *DAY).code == 0
    assert kb(root, "rename", "seat-stuck", "seat-stays", *DAY).code == 0
    assert kb(root, "case", "add", path, *DAY).code == 0
    assert load(root).trees["seat-stays"].cases[-1].ends_at == "crimp-anew"


@pytest.mark.parametrize(
    ("text", "code", "told"),
    [
        (None, 2, "visit.json does not exist"),
        ("", 1, "visit.json:1: the JSON ends too early"),
        (
            "Visit of 20 November\nlisten: Heard",
            1,
            "“Save as a file (JSON)”; the text of “Copy as text” cannot be read",
        ),
        ('{\n"format": nonsense}', 1, "visit.json:2: this is no JSON"),
        ("[1]", 1, "visit.json:1: this is no visit record"),
        ('{"format": "fault-tree visit record", "version": 2}', 1, "reads version 1"),
        ('{"format": "fault-tree visit record", "version": 1, "id": 7}', 1, "$.id"),
        ("[" * 100_000, 1, "visit.json:1: "),
    ],
)
def test_what_is_no_record_is_told_and_nothing_changes(
    root: Path, tmp_path: Path, text: str | None, code: int, told: str
) -> None:
    """File and mistake are named; no record of the same call is added either."""
    good = saved(tmp_path, record([*GREEN, ("crimp", "cured")]), "good.json")
    path = tmp_path / "visit.json"
    if text is not None:
        path.write_text(text, "utf-8")
    before = files(root)
    ran = kb(root, "case", "add", good, str(path), *DAY)
    assert ran.code == code
    assert told in ran.out
    assert files(root) == before


@pytest.mark.parametrize(
    ("change", "options", "told"),
    [
        ({"steps": [], "trees": [{"tree": "seat-stick", "title": "", "fingerprint": 0}]}, (), "nearest: seat-stuck"),
        ({"step": "motor"}, (), "passed `seat-stuck/motor`"),
        ({}, (), "--ends-at STEP"),
        ({}, ("--ends-at", "No Step"), "no id of a step"),
        ({}, ("--ends-at", "seat-stick/desk"), "Did you mean seat-stuck?"),
        ({}, ("--ends-at", "crimp", "--case", "green splice"), "has a case `green splice` already"),
        ({}, ("--ends-at", "crimp", "--given", "volt", "3 V"), "Did you mean volts?"),
        ({"step": "motor"}, (), "made with the library `Seats` (abc), and this one is `Small library` ("),
    ],
)
def test_a_record_that_fits_nothing_is_told(
    root: Path, tmp_path: Path, change: dict[str, Any], options: tuple[str, ...], told: str
) -> None:
    """A tree, step or cause that there is not: nothing is changed."""
    made = record(JAMMED, outcome="handed over")
    if "step" in change:
        made["steps"][0]["step"] = change["step"]
    else:
        made |= change
    before = files(root)
    ran = kb(root, "case", "add", saved(tmp_path, made), *options, *DAY)
    assert ran.code in (1, 2)
    assert told in ran.out
    assert files(root) == before


def test_quiet_tells_only_what_went_astray(root: Path, tmp_path: Path) -> None:
    """With --quiet a case that holds is added without a word, and one that ends elsewhere is told in full."""
    held = kb(root, "case", "add", saved(tmp_path, record([*GREEN, ("crimp", "cured")])), *DAY, "--quiet")
    assert (held.code, held.out) == (0, "")
    path = saved(tmp_path, record([*GREEN, ("crimp", "not cured")], outcome="handed over"))
    astray = kb(root, "case", "add", path, "--ends-at", "clear-rail", "--case", "A coin", *DAY, "-q")
    assert astray.code == 1
    assert "it goes astray at `volts`" in astray.out


def test_a_folder_is_no_record(root: Path, tmp_path: Path) -> None:
    """A case is made of one visit at a time: what to give is said, with a file that lies there."""
    folder = tmp_path / "visits"
    folder.mkdir()
    path = saved(folder, record(GREEN))
    ran = kb(root, "case", "add", str(folder), *DAY)
    assert ran.code == 2
    assert f"is a folder; name the file of each record in it, as in {path}" in ran.out


def test_a_record_of_the_edition_before_a_new_check(root: Path, tmp_path: Path) -> None:
    """It lacks an answer; the hint names the option, which completes the case that was added, or adds it whole."""
    path = saved(tmp_path, record([*GREEN, ("crimp", "cured")]))
    between = ["--before", "crimp", "--check", "Is it wet?", "--id", "wet", "--exposes", "live-loom"]
    ran = kb(root, "branch", "seat-stuck", "splice", *between, "--way", "Yes", "desk", "--way", "No", "crimp", *DAY)
    assert ran.code == 0, ran.out
    other = shutil.copytree(root, tmp_path / "other")
    ran = kb(root, "case", "add", path, *DAY)
    assert ran.code == 1
    hint = "--ends-at crimp --case 'Visit of 2026-11-20, record 01234567' --given wet ANSWER` completes the case"
    assert hint in ran.out
    assert "(Yes or No)" in ran.out
    again = [path, "--ends-at", "crimp", "--case", "Visit of 2026-11-20, record 01234567", "--given", "wet"]
    ran = kb(root, "case", "add", *again, "No", *DAY)
    assert ran.code == 0, ran.out
    assert "case completed: Visit of 2026-11-20, record 01234567, ends at crimp" in ran.out
    assert kb(other, "case", "add", path, "--given", "wet", "No", *DAY).code == 0
    assert files(root) == files(other)
    ran = kb(root, "case", "add", *again, "Yes", *DAY)
    assert ran.code == 1, "one that holds is not changed"
    assert "has a case `Visit of 2026-11-20, record 01234567` already" in ran.out
    assert files(root) == files(other)
