"""The editor schema: it agrees with what the reader takes and refuses."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml

from kb_tools.model import entities as e
from kb_tools.model.records import keys_of
from kb_tools.model.schema import GLOBS, ROLES, schema_of
from kb_tools.source.files import NOT_AREAS

ROOT = Path(__file__).parent.parent.parent
LIBRARIES = (ROOT, ROOT / "tests" / "data" / "small", ROOT / "kb_tools" / "rules" / "examples" / "_base")


class _Loader(yaml.SafeLoader):
    """YAML as an editor's schema check sees it: dates are texts."""


_Loader.yaml_implicit_resolvers = {
    first: [(tag, pattern) for tag, pattern in resolvers if not tag.endswith(":timestamp")]
    for first, resolvers in yaml.SafeLoader.yaml_implicit_resolvers.items()
}


def read(text: str) -> Any:  # noqa: ANN401 - whatever YAML holds
    """Return YAML as data."""
    return yaml.load(text, Loader=_Loader)  # noqa: S506 - a safe loader without dates


def files() -> list[tuple[str, Path]]:
    """Return every file of the libraries in this repository, with its role."""
    found: list[tuple[str, Path]] = []
    for library in LIBRARIES:
        for role, glob in GLOBS.items():
            paths = [path for path in sorted(library.glob(glob)) if path.is_file()]
            found += [(role, path) for path in paths if role != "tree" or path.parent.name not in NOT_AREAS]
    return found


@pytest.mark.parametrize("role", ROLES)
def test_each_schema_is_one(role: str) -> None:
    """Each schema is valid itself (JSON Schema, draft 7)."""
    jsonschema.Draft7Validator.check_schema(schema_of(role))


def test_every_file_of_the_sound_libraries_passes() -> None:
    """Whatever `kb check` finds nothing in passes the schema of its kind of file."""
    found = files()
    assert {role for role, _ in found} >= {
        "tree",
        "hazards",
        "cautions",
        "proofs",
        "equipment",
        "library",
        "fixes",
        "checks",
    }
    for role, path in found:
        errors = list(jsonschema.Draft7Validator(schema_of(role)).iter_errors(read(path.read_text("utf-8"))))
        assert not errors, f"{path}: {errors[0].message} at {list(errors[0].absolute_path)}"


STEPS = """
title: A
reviewed: 2026-11-20
start: a
steps:
  a: {%s}
"""


@pytest.mark.parametrize(
    ("step", "is_right"),
    [
        ("check: 'Lit?', answers: [{answer: 'Yes', to: a}]", True),
        ("fix: {use: replace-fuse}, share: 3", True),
        ("measure: Volts, unit: V, bands: [{below: 3, answer: low, to: a}]", True),
        ("check: 'Lit?', do: it", False),
        ("say: Nothing else", False),
        ("check: 'Lit?', share: 3", False),
        ("do: It, answers: []", False),
        ("check: 'Lit?', anwsers: []", False),
        ("check: 'Lit?', who: everybody", False),
        ("do: It, then: Not An Id", False),
        ("do: It, takes: a while", False),
        ("fix: It, cures: 1.5", False),
    ],
)
def test_steps_bear_the_keys_of_their_kind(step: str, is_right: bool) -> None:  # noqa: FBT001 - a case's verdict
    """One kind key, keys that belong to it, values that it may hold; anything else is an error."""
    checker = jsonschema.Draft7Validator(schema_of("tree"))
    assert checker.is_valid(read(STEPS % step)) == is_right


def test_every_key_is_described() -> None:
    """Each key of each declared entity has a description where an editor shows it."""
    for entity in (e.Tree, e.Step, e.Hazard, e.Caution, e.Proof):
        for role in ROLES:
            definition = schema_of(role)["$defs"].get(entity.__name__)
            if definition:
                assert set(definition["properties"]) == set(keys_of(entity))
                assert all(one["description"] for one in definition["properties"].values())
