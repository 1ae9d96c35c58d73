"""Schemas for editors: they offer the ids of a library, and its files name them in their first line."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import jsonschema
import pytest
import yaml
from click.testing import CliRunner

from kb_tools.author.start import start
from kb_tools.cli._main import main
from kb_tools.model.build import load
from kb_tools.model.schema import FOLDER, GLOBS, ROLES, editor_line, schema_of, write_schemas

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).parent.parent.parent
NOT_AREAS = ("shared", "tables", "maps")


class _Loader(yaml.SafeLoader):
    """YAML as an editor's schema check sees it: dates are texts."""


_Loader.yaml_implicit_resolvers = {
    first: [(tag, pattern) for tag, pattern in resolvers if not tag.endswith(":timestamp")]
    for first, resolvers in yaml.SafeLoader.yaml_implicit_resolvers.items()
}


def offered(schema: Any) -> Iterator[str]:  # noqa: ANN401 - any part of a schema
    """Yield every value that some key offers."""
    if isinstance(schema, dict):
        yield from schema.get("enum", ())
        for part in schema.values():
            yield from offered(part)
    elif isinstance(schema, list):
        for part in schema:
            yield from offered(part)


def test_the_demo_library_passes_its_own_schemas() -> None:
    """Every file of the demo library is valid against the schema that offers the library's ids."""
    library = load(ROOT)
    checked = 0
    for role in ROLES:
        validator = jsonschema.Draft7Validator(schema_of(role, library))
        for path in ROOT.glob(GLOBS[role]):
            if role != "tree" or path.parent.name not in NOT_AREAS:
                data = yaml.load(path.read_text("utf-8"), Loader=_Loader)  # noqa: S506 - a safe loader without dates
                assert [error.message for error in validator.iter_errors(data)] == [], path
                checked += 1
    assert checked >= library.tree_files


def test_every_id_of_a_library_is_offered() -> None:
    """Hazards, cautions, proofs, tools, spares, equipment, maps, parts, trees and shared bodies complete."""
    library = load(ROOT)
    found = set(offered(schema_of("tree", library)))
    for shelf in ("hazards", "cautions", "proofs", "tools", "spares", "equipment", "maps", "trees", "checks", "fixes"):
        assert set(map(str, getattr(library, shelf))) <= found, shelf
    assert {str(part) for one in library.maps.values() for part in one.parts} <= found


def test_an_id_that_is_not_known_yet_stays_allowed() -> None:
    """A schema may be older than the library: a new id is no mistake to it, a malformed one is."""
    validator = jsonschema.Draft7Validator(schema_of("tree", load(ROOT)))
    text = "title: A\nreviewed: 2026-11-20\nstart: a\nsteps:\n  a: {done: Over, proof: %s}\n"
    for name, is_right in (("brand-new", True), ("Not An Id", False)):
        data = yaml.load(text % name, Loader=_Loader)  # noqa: S506 - a safe loader without dates
        assert validator.is_valid(data) == is_right


def test_a_new_library_names_schemas_that_are_there(tmp_path: Path) -> None:
    """The first line of each file that `kb start` writes leads to the schema of its kind."""
    written = start(tmp_path / "new")
    named = 0
    for name in written:
        if name.parts[0] == "trees":
            path = tmp_path / "new" / name
            line = path.read_text("utf-8").partition("\n")[0]
            assert line.startswith("# yaml-language-server: $schema=")
            schema = (path.parent / line.partition("=")[2]).resolve()
            assert schema == tmp_path / "new" / FOLDER / f"{role_of(name)}.json"
            jsonschema.Draft7Validator.check_schema(json.loads(schema.read_text("utf-8")))
            named += 1
    assert named >= 2
    assert write_schemas(tmp_path / "new" / FOLDER, load(tmp_path / "new")) == []


def role_of(name: Path) -> str:
    """Return the role of a library's file."""
    return name.stem if name.parts[1] == "shared" else "tree"


@pytest.mark.parametrize("role", ROLES)
def test_the_line_of_each_kind_of_file(role: str) -> None:
    """The line names the role of the file and climbs to the library's root."""
    name = GLOBS[role].replace("*", "one")
    assert editor_line(name).endswith(f"{'../' * name.count('/')}{FOLDER}/{role}.json\n")


def test_schemas_follow_the_library(tmp_path: Path) -> None:
    """`kb schema --library` writes every schema with the ids of today, and says how many changed."""
    start(tmp_path / "new")
    proofs = tmp_path / "new/trees/shared/proofs.yml"
    proofs.write_text(proofs.read_text("utf-8") + "\nanother-proof:\n  title: Another\n  items: [One]\n", "utf-8")
    done = CliRunner().invoke(main, ["schema", "--library", str(tmp_path / "new")])
    assert done.exit_code == 0, done.output
    tree = json.loads((tmp_path / "new" / FOLDER / "tree.json").read_text("utf-8"))
    assert "another-proof" in set(offered(tree))
    shown = CliRunner().invoke(main, ["schema", "tree", "--library", str(tmp_path / "new")])
    assert json.loads(shown.output) == tree
