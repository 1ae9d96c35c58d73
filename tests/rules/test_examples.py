"""Every rule's examples say what they bring, and bring just that."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from kb_tools.model.build import load
from kb_tools.rules import contract
from kb_tools.rules.example_files import BASE, EXAMPLES, TODAY, Example, examples_of
from making import listed

if TYPE_CHECKING:
    from pathlib import Path

    from kb_tools.findings import Finding

RULES = contract.all_rules()
ALL = [example for rule in RULES for example in examples_of(rule)]


def findings_below(root: Path) -> list[Finding]:
    """Check the library below `root`."""
    return contract.run(contract.subject_of(load(root), TODAY))


def test_the_base_library_is_clean() -> None:
    """The library that examples are put into has no finding of its own."""
    findings = findings_below(BASE)
    assert not findings, listed(findings)


@pytest.mark.parametrize("rule", RULES)
def test_each_rule_has_a_good_and_a_bad_example(rule: str) -> None:
    """A rule shows at least one sound and one unsound example, which brings its own finding."""
    examples = examples_of(rule)
    assert any(example.is_good for example in examples)
    bad = [example for example in examples if not example.is_good]
    assert bad
    for example in bad:
        assert rule in {expected.rule for expected in example.expected}, example.path.name


def test_every_folder_of_examples_belongs_to_a_rule() -> None:
    """No examples are left over from a rule that is gone."""
    folders = {folder.name for folder in EXAMPLES.iterdir() if not folder.name.startswith("_")}
    assert folders <= set(RULES)


@pytest.mark.parametrize("example", ALL, ids=lambda example: f"{example.rule}/{example.path.stem}")
def test_an_example_brings_just_the_findings_that_it_says(example: Example, tmp_path: Path) -> None:
    """A good example brings no finding at all; a bad one those that are marked in it."""
    example.write_library(tmp_path)
    findings = findings_below(tmp_path)
    assert example.agrees_with(findings), f"expected {example.expected}, found\n{listed(findings)}"
    assert example.is_good == (not findings)
