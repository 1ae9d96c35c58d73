"""Whole libraries that are sound: one of our own that uses the whole format, and the agreed one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import yaml

from kb_tools.model import entities
from kb_tools.model.build import load
from kb_tools.model.records import keys_of
from kb_tools.rules import contract
from making import listed

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).parents[2]
SMALL = ROOT / "tests" / "data" / "small"
COUNTED = ROOT / "tests" / "data" / "counted"
"""What `kb learn` wrote of the records in tests/data/docs, apart: counts change every figure of a library."""
FIGURES = ROOT / "content" / "figures"
AGREED = ROOT.parent / "shared" / "sample"
"""The library that whoever checks this project from outside keeps beside the checkout."""
LIBRARIES = [SMALL, AGREED] if AGREED.is_dir() else [SMALL]


@pytest.mark.parametrize("root", LIBRARIES, ids=lambda root: root.name)
def test_a_sound_library_has_no_finding(root: Path) -> None:
    """Neither an error nor a warning is found, on the day of its edition."""
    library = load(root)
    assert library.settings is not None
    assert library.settings.date is not None
    findings = contract.run(contract.subject_of(library, library.settings.date.date))
    assert not findings, listed(findings)
    assert library.tree_files == len(library.trees) > 0


def entities_declared() -> Iterator[type]:
    """Yield every entity that declares keys."""
    for kind in vars(entities).values():
        if isinstance(kind, type) and hasattr(kind, "__dataclass_fields__") and keys_of(kind):
            yield kind


def keys_below(value: object) -> Iterator[str]:
    """Yield every key of a document."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield str(key)
            yield from keys_below(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from keys_below(inner)


def test_the_small_library_uses_the_whole_format() -> None:
    """Every key that is declared stands somewhere in it, in counts or in figures: a new key needs a line there."""
    used = set()
    for path in [*SMALL.rglob("*.yml"), *COUNTED.glob("*.yml"), *FIGURES.glob("*.yml")]:
        used |= set(keys_below(yaml.safe_load(path.read_text("utf-8"))))
    declared = {written for entity in entities_declared() for written in keys_of(entity)}
    assert len(declared) > 80
    assert declared - used == set()
