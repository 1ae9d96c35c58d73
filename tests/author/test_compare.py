"""What changed between two editions: rewording told from rewiring, grave changes first."""

from __future__ import annotations

import shutil
from datetime import date
from typing import TYPE_CHECKING

import pytest

from kb_tools.author.compare import Comparison, Kind, compare
from kb_tools.author.editions import opened
from kb_tools.author.start import start
from kb_tools.carriers.folder import build
from kb_tools.model.build import load
from kb_tools.rules import contract

if TYPE_CHECKING:
    from pathlib import Path

TREE = "trees/first/chair-does-not-switch-on.yml"


@pytest.fixture
def editions(tmp_path: Path) -> tuple[Path, Path]:
    """Return two copies of the starter library."""
    start(tmp_path / "old")
    shutil.copytree(tmp_path / "old", tmp_path / "new")
    return tmp_path / "old", tmp_path / "new"


def changed(editions: tuple[Path, Path], before: str, after: str, file: str = TREE) -> Comparison:
    """Replace a text in a file of the new edition and compare."""
    path = editions[1] / file
    text = path.read_text("utf-8")
    assert before in text
    path.write_text(text.replace(before, after), "utf-8")
    return compare(load(editions[0]), load(editions[1]))


def kinds(found: Comparison) -> list[tuple[Kind, str]]:
    """Return kind and step of each change."""
    return [(change.kind, change.step) for change in found.changes]


def test_equal_editions_differ_in_nothing(editions: tuple[Path, Path]) -> None:
    """A copy has no change and no figure that moved."""
    assert compare(load(editions[0]), load(editions[1])) == Comparison()


def test_a_built_site_is_compared_by_the_sources_it_carries(editions: tuple[Path, Path]) -> None:
    """A site's folder trees/ holds pages; its trees are those of the archive that it carries."""
    root, site = editions
    library = load(root)
    build(root, site / "site", contract.subject_of(library, date(2026, 11, 25)))
    assert (site / "site" / "trees").is_dir()
    with opened(str(site / "site"), root) as carried:
        assert carried.trees.keys() == library.trees.keys()
        assert compare(carried, library) == Comparison()


def test_rewording_is_no_rewiring(editions: tuple[Path, Path]) -> None:
    """Another question with the same answers is told as reworded, and nothing else."""
    found = changed(editions, "Is anything lit on the chair's display?", "Does the chair's display show anything?")
    assert kinds(found) == [(Kind.REWORDED, "display")]


def test_an_answer_that_leads_elsewhere_is_told_with_its_cases(editions: tuple[Path, Path]) -> None:
    """A rewired answer names both targets, and the cases that now end elsewhere."""
    found = changed(editions, "- {answer: Broken, to: new-fuse}", "- {answer: Broken, to: plug-in}")
    assert (Kind.REWIRED, "fuse") in kinds(found)
    assert (Kind.CASE, "new-fuse") in kinds(found)


def test_a_case_that_answers_a_new_check_still_ends_where_it_did(editions: tuple[Path, Path]) -> None:
    """A case is replayed with what it answers in the new edition, where a check was put on its way."""
    step = "    then: lead\n    cannot: charge-first\n  lead:\n    check: Is the lead whole?\n    answers:\n"
    ways = "      - {answer: Whole, to: fuse}\n      - {answer: Cut, to: charge-first}\n"
    changed(editions, "    then: fuse\n    cannot: charge-first\n", step + ways)
    found = changed(editions, "fuse: Broken}", "fuse: Broken, lead: Whole}")
    assert Kind.STEP_ADDED in {kind for kind, _ in kinds(found)}
    assert Kind.CASE not in {kind for kind, _ in kinds(found)}


@pytest.mark.parametrize(
    ("before", "after", "kind"),
    [
        ("    spares: [blade-fuse]\n    proof: drives-and-stops\n", "    spares: [blade-fuse]\n", Kind.PROOF_GONE),
        ("    do: Push the battery", "    exposes: [power]\n    do: Push the battery", Kind.HAZARD_EXPOSED),
        ("    works_live: [power]\n", "", Kind.CAUTION_GONE),
    ],
)
def test_what_got_less_safe_stands_first(editions: tuple[Path, Path], before: str, after: str, kind: Kind) -> None:
    """A lost proof, a hazard newly exposed and a caution gone from every way are grave and first."""
    found = changed(editions, before, after)
    assert kind in {change.kind for change in found.grave}
    assert found.changes[: len(found.grave)] == found.grave


def test_figures_that_moved_are_told(editions: tuple[Path, Path]) -> None:
    """Another share moves the odds; the tree's figures say from what to what."""
    found = changed(editions, "    share: 40\n", "    share: 140\n")
    assert not found.changes
    before, after = found.figures[0].odds["push-home"]
    assert before < after
