"""`kb rename` and `kb move`: a new id everywhere, nothing else, and everything old still answers."""

from __future__ import annotations

import re
import shutil
from typing import TYPE_CHECKING, Any

import pytest

from author.kb_run import DAY, demo, files, kb
from conftest import ROOT
from in_step.engines import browser, compiled
from kb_tools.author.change import Change
from kb_tools.author.compare import compare
from kb_tools.author.rename import SHELVES, named, rename
from kb_tools.model.build import load
from kb_tools.model.moved import Moves
from kb_tools.model.resume import restore, resume
from kb_tools.model.walk import Walk

if TYPE_CHECKING:
    from pathlib import Path

    from in_step.engines import Trees

SMALL = ROOT / "tests" / "data" / "small"


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """Return a copy of the small library, which uses the whole format, with addresses in a page and in a text."""
    root = shutil.copytree(SMALL, tmp_path / "library")
    page = root / "content/index.md"
    addresses = "[a](trees/seat-stuck.html#listen) [b](trees/seat-stuck.md) [c](maps/tilt.html#part-loom)\n"
    page.write_text(
        f"{page.read_text('utf-8')}\n{addresses}[d](fixes.html#crimp-splice) [e](../trees/buttons-dead.html)\n"
    )
    tree = root / "trees/seat/seat-stuck.yml"
    how = "**from behind**, beside the wires"
    text = tree.read_text("utf-8")
    assert how in text
    tree.write_text(text.replace(how, f"{how}, as in [the other tree](trees/buttons-dead.html#press)"), "utf-8")
    return root


WORDS_TOO = ("listen", "volts", "crimp", "press", "loom", "slider", "crimper")
"""Ids that stand for something else too, or in a text."""
THINGS = [
    "seat-stuck",
    "buttons-dead",
    "seat-stuck/listen",
    "seat-stuck/volts",
    "seat-stuck/clear-rail",
    "seat-stuck/crimp",
    "buttons-dead/press",
    "buttons-dead/new-pad",
    "tight-gaps",
    "motor-heard",
    "crimp-splice",
    "tilt-and-stop",
    "crimper",
    "slider",
    "tilt/loom",
    "seat-stuck-causes",
    "seat-stuck-causes/rail-jammed",
]
BY_KIND = [("equipment", "tilt"), ("map", "tilt"), ("tool", "meter"), ("spare", "splice")]
BY_KIND += [("hazard", "live-loom"), ("caution", "live-loom")]


@pytest.mark.parametrize(("kind", "thing"), [*(("", thing) for thing in THINGS), *BY_KIND])
def test_a_new_id_is_everywhere_and_nothing_else_changes(root: Path, kind: str, thing: str) -> None:
    """The library is as sound as before, no file has other bytes but for the id, and the old id names nothing."""
    before = files(root)
    ran = kb(root, "rename", thing, "brand-new-id", *(("--kind", kind) if kind else ()), *DAY)
    assert ran.code == 0, ran.out
    assert kb(root, "check", *DAY).out == "2 trees: nothing to mend\n"
    old = thing.rpartition("/")[2]
    after = {name: raw for name, raw in files(root).items() if not name.endswith("moved.yml")}
    undone = {
        name.replace("brand-new-id", old): raw.replace(b"brand-new-id", old.encode()) for name, raw in after.items()
    }
    assert undone == before
    assert "brand-new-id" in "".join(after) or any(b"brand-new-id" in raw for raw in after.values())
    if kind or old in WORDS_TOO:
        return
    everything = "\n".join([*after, *(raw.decode() for raw in after.values())])
    assert not re.findall(rf"(?<![\w-]){old}(?![\w-])", everything), "no place is left out"


def test_things_of_the_demo_library_can_be_renamed(tmp_path: Path) -> None:
    """Of each kind the first thing of the demo library, one after the other: no rule says more than before.

    What the command itself does with one thing of each kind, the test above shows on the small library.
    """
    root = demo(tmp_path)
    library = load(root)
    tree = next(iter(library.trees))
    things = [("step", f"{tree}/{library.trees[tree].start}"), ("tree", tree)]
    things += [(kind, str(next(iter(getattr(library, shelf))))) for kind, shelf in SHELVES.items() if kind != "tree"]
    equipment_map = next(iter(library.maps.values()))
    things.insert(0, ("part", f"{equipment_map.id}/{next(iter(equipment_map.parts))}"))
    before = kb(root, "check", *DAY).out
    for kind, old in things:
        change = Change(root)
        rename(change, library, named(library, old, kind), f"brand-new-{kind}")
        change.write()
        library = load(root)
        assert not library.findings
    assert kb(root, "check", *DAY).out == before


FIGURES = """title: Crimps
head: Crimp
columns: {force: {title: Least pull, unit: N}}
rows:
  thin: {title: 1.5 mm2, values: {force: 220}, source: from memory}
  thin-flat: {title: 1.5 mm2 flat, values: {force: 200}, source: from memory}
"""
TOLD = """[a](figure:crimps/thin), [b](figure:crimps/thin-flat), [c](figures/crimps.html)

<!-- figures: crimps -->
<!-- caution: tight-gaps -->
"""


def test_figures_rows_and_cautions_that_pages_show(root: Path) -> None:
    """References from texts, and the marks by which a content page shows a table or a caution, follow."""
    (root / "content/figures").mkdir()
    (root / "content/figures/crimps.yml").write_text(FIGURES, "utf-8")
    page = root / "content/more.md"
    page.write_text(TOLD, "utf-8")
    shared = root / "trees/shared/fixes.yml"
    text = shared.read_text("utf-8").replace(
        "Cut back to bright copper", "Mind the [pull](figure:crimps/thin), cut back"
    )
    shared.write_text(text, "utf-8")
    renamed = [("crimps/thin", "fine"), ("crimps", "pulls"), ("tight-gaps", "narrow-gaps")]
    for old, new in renamed:
        ran = kb(root, "rename", old, new, *DAY)
        assert ran.code == 0, ran.out
    assert kb(root, "check", *DAY).code == 0
    told = TOLD.replace("crimps/thin)", "pulls/fine)").replace("crimps", "pulls").replace("tight-gaps", "narrow-gaps")
    assert page.read_text("utf-8") == told
    assert shared.read_text("utf-8") == text.replace("crimps/thin", "pulls/fine")
    assert (root / "content/figures/pulls.yml").read_text("utf-8") == FIGURES.replace("  thin:", "  fine:")
    assert not (root / "content/figures/crimps.yml").exists()


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("seat-stick", "x"), "Did you mean seat-stuck?"),
        (("tilt", "x"), "say which with --kind"),
        (("seat-stuck", "buttons-dead"), "is there already"),
        (("seat-stuck/listen", "volts"), "is there already"),
        (("seat-stuck", "Seat Stuck"), "is no id"),
        (("seat-stuck", "seat-stuck"), "is there already"),
        (("seat-stuck/listen", "x/y"), "is no id"),
    ],
)
def test_what_cannot_be_renamed_is_told(root: Path, arguments: tuple[str, str], told: str) -> None:
    """Wrong use ends with code 2, and nothing changes."""
    before = files(root)
    ran = kb(root, "rename", *arguments, *DAY)
    assert (ran.code, files(root)) == (2, before)
    assert told in ran.out


def test_a_dry_run_changes_nothing(root: Path) -> None:
    """The difference names the file's old and new place."""
    before = files(root)
    ran = kb(root, "rename", "buttons-dead", "pad-dead", "--dry-run", *DAY)
    assert (ran.code, files(root)) == (0, before)
    assert "--- a/trees/seat/buttons-dead.yml\n+++ b/trees/seat/pad-dead.yml\n" in ran.out
    assert "+    link: pad-dead/press\n" in ran.out


def walked(trees: Trees) -> Walk:
    """Return a walk over a link, with a reading."""
    walk = Walk(trees, "seat-stuck")
    for step, value in (("listen", "Silent"), ("volts", "0.4 V"), ("unplug", "done"), ("splice", "No")):
        walk.answer(step, value)
    walk.answer("plug-in", "done")
    walk.answer("other-tree", "go")
    walk.answer("press", "Nothing")
    return walk


def test_codes_links_and_kept_walks_of_the_last_edition_answer(root: Path, tmp_path: Path) -> None:
    """After trees and steps have new ids, some twice, both engines stand where the walk of old stood."""
    old_trees, _ = compiled(load(root))
    walk = walked(old_trees)
    for old, new in (
        *(("seat-stuck/listen", "hear"), ("seat-stuck", "no-tilt"), ("no-tilt/splice", "see-splice")),
        *(
            ("buttons-dead", "pad-dead"),
            ("pad-dead/press", "click"),
            ("pad-dead", "pad-broken"),
            ("no-tilt/hear", "hum"),
        ),
    ):
        assert kb(root, "rename", old, new, *DAY).code == 0
    library = load(root)
    trees, index = compiled(library)
    assert {trees[new]["fingerprint"] for new in trees} == {old_trees[old]["fingerprint"] for old in old_trees}
    kept = walk.to_json()
    for again in (resume(trees, walk.code()), resume(trees, walk.link()), restore(trees, kept, index["moved"])):
        state = again.state()
        assert (state["tree"], state["step"]) == ("pad-broken", "new-pad")
        assert [one["step"] for one in state["trail"]][:4] == ["hum", "volts", "unplug", "see-splice"]
        assert again.code() == walk.code(), "the code of the new edition is the same"
    jobs: list[list[Any]] = [
        [["resume", walk.code()], ["brief"]],
        [["resume", walk.link()], ["see"]],
        [["restore", kept], ["see"]],
        [["load", "seat-stuck"], ["start", "seat-stuck"], ["brief"]],
    ]
    by_code, by_link, by_kept, started = browser(tmp_path / "node", trees, index, jobs)
    assert (by_code[1]["tree"], by_code[1]["step"], by_code[1]["code"]) == ("pad-broken", "new-pad", walk.code())
    assert by_link[1]["state"] == resume(trees, walk.link()).state()
    assert by_kept[1]["state"] == restore(trees, kept, index["moved"]).state()
    assert by_kept[1]["state"]["trail"][1]["value"] == "0.4 V"
    assert (started[2]["tree"], started[2]["step"]) == ("no-tilt", "hum")


def test_a_tree_whose_shape_changed_still_refuses_old_codes(root: Path) -> None:
    """A new id is forgiven, another way is not."""
    trees, _ = compiled(load(root))
    code = walked(trees).code()
    assert kb(root, "rename", "seat-stuck/listen", "hear", *DAY).code == 0
    tree = root / "trees/seat/seat-stuck.yml"
    tree.write_text(
        tree.read_text("utf-8").replace("{answer: Silent, to: volts}", "{answer: Silent, to: prop}"), "utf-8"
    )
    with pytest.raises(Exception, match="has changed since"):
        resume(compiled(load(root))[0], code)


def test_an_id_that_is_given_again_means_what_bears_it_today(root: Path) -> None:
    """There and back, and a new step under an old id: an old name never leads past what bears it."""
    assert kb(root, "rename", "seat-stuck/listen", "hear", *DAY).code == 0
    assert kb(root, "rename", "seat-stuck/hear", "listen", *DAY).code == 0
    moves = Moves(load(root))
    assert moves.now("seat-stuck", "listen") == ("seat-stuck", "listen")
    assert moves.now("seat-stuck", "hear") == ("seat-stuck", "listen")
    assert moves.first("seat-stuck", "listen") == ("seat-stuck", "listen")
    assert moves.table() == {"seat-stuck/hear": "seat-stuck/listen"}
    assert kb(root, "check", *DAY).code == 0


def test_old_addresses_lead_on_in_the_site(root: Path, tmp_path: Path) -> None:
    """A small page at the old address of a tree, without scripts too; old steps are places on the page."""
    for old, new in (("seat-stuck/listen", "hear"), ("seat-stuck", "no-tilt")):
        assert kb(root, "rename", old, new, *DAY).code == 0
    ran = kb(root, "build", "--out", str(tmp_path / "site"), *DAY)
    assert ran.code == 0, ran.out
    old_page = (tmp_path / "site/trees/seat-stuck.html").read_text("utf-8")
    assert '<noscript><meta http-equiv="refresh" content="0; url=no-tilt.html"></noscript>' in old_page
    assert 'href="no-tilt.html" data-ft-moved' in old_page
    page = (tmp_path / "site/trees/no-tilt.html").read_text("utf-8")
    assert page.index('<span id="listen"></span>') < page.index('id="hear"')
    assert not (tmp_path / "site/kb/trees/seat-stuck.js").exists()


def test_a_tree_moves_to_another_area(root: Path) -> None:
    """The file lies elsewhere, byte for byte; the empty area is gone; nothing else changes."""
    before = files(root)
    for tree in ("seat-stuck", "buttons-dead"):
        assert kb(root, "move", tree, "tilting", *DAY).code == 0
    after = files(root)
    assert {name.replace("/tilting/", "/seat/"): raw for name, raw in after.items()} == before
    assert not (root / "trees/seat").exists()
    assert load(root).trees["seat-stuck"].area == "tilting"
    for area in ("shared", "tables", "Tilt", "tilting"):
        assert kb(root, "move", "seat-stuck", area, *DAY).code == 2


@pytest.mark.parametrize("step", ["clear-rail", "prop", "rail", "splice", "volts"])
def test_the_body_of_a_step_is_shared(root: Path, step: str) -> None:
    """What the trees say is the same as before, from one place that others can use."""
    before = load(root)
    ran = kb(root, "move", f"seat-stuck/{step}", "shared", "--id", "shared-body", *DAY)
    assert ran.code == 0, ran.out
    after = load(root)
    assert after.trees["seat-stuck"].steps[step].use == "shared-body"  # type: ignore[index]
    found = compare(before, after)
    assert not found.changes, [change.text for change in found.changes]
    assert kb(root, "check", *DAY).code == 0


def test_what_cannot_be_shared_is_told(root: Path) -> None:
    """An action, a body that is shared already, a place that is none."""
    for what, where, told in (
        ("seat-stuck/unplug", "shared", "A `do` cannot be shared"),
        ("seat-stuck/listen", "shared", "motor-heard already"),
        ("seat-stuck/volts", "seat", "`shared` only"),
    ):
        ran = kb(root, "move", what, where, *DAY)
        assert ran.code == 2
        assert told in ran.out


def test_quiet_changes_without_a_word(root: Path) -> None:
    """With --quiet a new id and another area are written and not told of."""
    before = files(root)
    for command in (("rename", "seat-stuck/listen", "hark"), ("move", "seat-stuck", "tilting")):
        ran = kb(root, *command, *DAY, "--quiet")
        assert (ran.code, ran.out) == (0, ""), command
        assert files(root) != before
        before = files(root)
