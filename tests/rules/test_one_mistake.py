"""One mistake is one finding: what only follows from it is not reported.

The base library of the rules' examples is whole. Each of its files is made unreadable in turn, and
each id that is named in it is misspelt in turn; nothing else may be found than that.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from kb_tools.model.build import load
from kb_tools.model.contents import references_of
from kb_tools.rules.example_files import BASE
from making import findings_of, listed

if TYPE_CHECKING:
    from kb_tools.findings import Place

FILES = sorted(path.relative_to(BASE).as_posix() for path in (BASE / "trees").rglob("*.yml"))


@pytest.mark.parametrize("content", ["a: 'b\n", "\0", "- [x]\n- y: z\n"], ids=["no-yaml", "nul", "a-list"])
@pytest.mark.parametrize("name", FILES)
def test_an_unreadable_file_is_the_only_one_with_findings(name: str, content: str, tmp_path: Path) -> None:
    """Nobody's reference to what an unreadable file would declare is a finding."""
    findings = findings_of(tmp_path, {name: content})
    assert {finding.place.file for finding in findings} == {name}, listed(findings)


def named_ids() -> list[tuple[Place, str]]:
    """Return each id that something in the base library names, and its place, once."""
    library = load(BASE)
    shelves = (
        library.trees,
        library.tables,
        library.maps,
        library.cautions,
        library.checks,
        library.fixes,
        library.proofs,
    )
    found = {(word.place, str(word)) for shelf in shelves for of, word in references_of(shelf) if of}
    return sorted(found)


@pytest.mark.parametrize("misspelt", ["{}x", "no-such-thing"])
@pytest.mark.parametrize(("place", "name"), named_ids(), ids=str)
def test_a_misspelt_id_is_one_finding(place: Place, name: str, misspelt: str, tmp_path: Path) -> None:
    """What a misspelt id cuts off (reach, cases, isolation, use) is not reported besides it."""
    lines = (BASE / place.file).read_text("utf-8").split("\n")
    line, column = lines[place.line - 1], place.column - 1
    assert line[column:].startswith(name)
    lines[place.line - 1] = line[:column] + misspelt.format(name) + line[column + len(name) :]
    findings = findings_of(tmp_path, {place.file: "\n".join(lines)})
    assert [finding.place for finding in findings] == [place], listed(findings)
    assert misspelt.format(name) in findings[0].message


def test_many_kinds_of_id_are_tried() -> None:
    """The base library names something of every kind that can be named."""
    library = load(BASE)
    kinds = {
        of for of, _ in references_of((library.trees, library.proofs, library.cautions, library.tables, library.maps))
    }
    assert kinds >= {"step", "tool", "part", "map", "hazard", "caution", "proof", "shared check", "shared fix"}
    assert kinds >= {"equipment", "tree", "fix"}


SMALL = Path(__file__).parents[1] / "data" / "small"
TREE, OTHER = "trees/seat/seat-stuck.yml", "trees/seat/buttons-dead.yml"


@pytest.mark.parametrize(
    ("name", "old", "new", "rule"),
    [
        (TREE, "  volts:\n", "  Volts:\n", "value-type"),
        (TREE, "    unit: V\n", "      unit: V\n", "key-required"),
        (TREE, "answer: Supplied,", "answer:Supplied,", "key-known"),
        (TREE, "title: The seat does not tilt\n", "title: 'The seat\n", "yaml-syntax"),
        (OTHER, "not_cured: desk", "then: desk", "fix-proven key-known"),
        (OTHER, "    escalate:", "    fix:", "fix-has-case fix-proven fix-proven"),
        (OTHER, "{answer: Clicks, to: desk}\n", "{answer: Clicks, to: desk #x}\n", "yaml-syntax"),
    ],
)
def test_a_slip_is_as_many_findings_as_mistakes(name: str, old: str, new: str, rule: str, tmp_path: Path) -> None:
    """Cases, tables, ways and maps that only the slip cuts off are told no mistakes."""
    text = (SMALL / name).read_text("utf-8")
    assert old in text
    findings = findings_of(tmp_path, {name: text.replace(old, new, 1)}, SMALL)
    assert " ".join(finding.rule for finding in findings) == rule, listed(findings)
    assert {finding.place.file for finding in findings} == {name}


@pytest.mark.parametrize(
    ("name", "taken"), [("trees/other/seat-stuck.yml", TREE), ("trees/zoo/seat-stuck.yml", "trees/zoo/seat-stuck.yml")]
)
def test_a_second_tree_of_an_id_is_one_finding(name: str, taken: str, tmp_path: Path) -> None:
    """Which of the two is meant is not known: cases, tables, maps and shared items wait until one is renamed."""
    other = "title: x\nreviewed: 2026-11-20\nstart: end\nsteps:\n  end: {escalate: Ask}\n"
    findings = findings_of(tmp_path, {name: other}, SMALL)
    assert [(finding.place.file, finding.rule) for finding in findings] == [(taken, "id-unique")], listed(findings)


def test_a_second_shared_file_of_a_name_is_one_finding(tmp_path: Path) -> None:
    """What the second declares is not known to be missing."""
    other = "x: {name: n, how_isolated: h, put_back: p}\n"
    findings = findings_of(tmp_path, {"trees/shared/hazards.yaml": other}, SMALL)
    assert [finding.rule for finding in findings] == ["id-unique"], listed(findings)
