"""JSON Schema of a library's files, for completion and first checks in an editor.

Made from the declarations in `entities`, so that a new key appears by itself. The schema knows
less than `kb check`: it sees one file, and no path through it.

Draft 7 of JSON Schema (json-schema.org, 2018) is what editors for YAML understand best.
"""

from __future__ import annotations

import dataclasses
import json
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Any

from kb_tools.model import entities as e
from kb_tools.model.build import SHARED_KINDS
from kb_tools.model.records import Group, Key, keys_of
from kb_tools.model.values import NAMES, Kind, ListOf
from kb_tools.source.writing import write_whole

if TYPE_CHECKING:
    from collections.abc import Collection
    from pathlib import Path
from kb_tools.source.files import FIGURES

DRAFT = "http://json-schema.org/draft-07/schema#"
DOCUMENTS: dict[str, type] = {"tree": e.Tree, "table": e.Table, "map": e.EquipmentMap, "figures": e.FigureTable}
"""Files that are one entity whose id is the file's name."""
ROLES = (*DOCUMENTS, *SHARED_KINDS)
"""Every kind of file that has a schema."""
GLOBS = {
    "tree": "trees/*/*.yml",
    "table": "trees/tables/*.yml",
    "map": "trees/maps/*.yml",
    "figures": f"{FIGURES}/*.yml",
    **{role: f"trees/shared/{role}.yml" for role in SHARED_KINDS},
}
"""Where the files of each role lie; for `tree`, the folders shared, tables and maps are no areas."""
_REFERENCE = "#/$defs/"
FOLDER = ".schema"
"""Where a library keeps the schemas of its files, for editors."""
_ENTITIES: dict[str, type] = {
    name: entity
    for name, entity in vars(e).items()
    if isinstance(entity, type) and dataclasses.is_dataclass(entity) and keys_of(entity)
}


def schema_of(role: str, library: e.Library | None = None) -> dict[str, Any]:
    """Return the schema of the files of a role.

    Args:
        role: One of `ROLES`.
        library: Whose ids an editor is to offer; left out: any id is as good as another. An id that
            is not known yet stays allowed, so that a schema may be older than the library.

    """
    kind: Kind = Group(DOCUMENTS[role]) if role in DOCUMENTS else SHARED_KINDS[role]
    top = kind.schema()
    definitions = _definitions(top)
    definitions = _offering(definitions, ids_of(library) if library else {})
    if "$ref" in top:
        # Beside a reference draft 7 reads nothing, so what the file is stands at the top itself.
        top = definitions[top["$ref"].removeprefix(_REFERENCE)]
    return {"$schema": DRAFT, "title": f"{GLOBS[role]} of a fault-tree library", **top, "$defs": definitions}


def ids_of(library: e.Library) -> dict[str, list[str]]:
    """Return the ids of a library by what they name, as the declarations of keys say it."""
    parts = {str(part): None for one in library.maps.values() for part in one.parts}
    shelves: dict[str, Collection[str]] = {
        "hazard": library.hazards,
        "caution": library.cautions,
        "proof": library.proofs,
        "equipment": library.equipment,
        "tool": library.tools,
        "spare": library.spares,
        "map": library.maps,
        "part": parts,
        "tree": library.trees,
        "fix": library.fixes,
        "shared check": library.checks,
        "shared fix": library.fixes,
    }
    return {of: [str(name) for name in shelf] for of, shelf in shelves.items() if shelf}


def _offering(schema: Any, ids: dict[str, list[str]]) -> Any:  # noqa: ANN401 - any part of a schema
    """Return a part of a schema in which every id offers those that are known."""
    if isinstance(schema, list):
        return [_offering(part, ids) for part in schema]
    if not isinstance(schema, dict):
        return schema
    known = ids.get(schema.get(NAMES, ""))
    plain = {key: _offering(part, ids) for key, part in schema.items() if key != NAMES}
    if known is None:
        return plain
    bare = {key: plain.pop(key) for key in ("type", "pattern")}
    return {**plain, "anyOf": [{"enum": known}, bare]}


def _definitions(top: dict[str, Any]) -> dict[str, Any]:
    """Return every definition that a schema refers to, by name, those of definitions included."""
    found: dict[str, Any] = {}
    wanted = _references(top)
    while wanted:
        name = wanted.pop()
        if name not in found:
            found[name] = _step_schema(name) if name in ("Step", "SharedStep") else _entity_schema(_ENTITIES[name])
            wanted |= _references(found[name])
    return dict(sorted(found.items()))


def _references(schema: Any) -> set[str]:  # noqa: ANN401 - any part of a schema
    """Return the names of the definitions that a part of a schema refers to."""
    if isinstance(schema, dict):
        own = schema.get("$ref", "")
        named = {own.removeprefix(_REFERENCE)} if isinstance(own, str) and own.startswith(_REFERENCE) else set()
        return named.union(*(_references(part) for part in schema.values()))
    if isinstance(schema, list):
        return set().union(*(_references(part) for part in schema))
    return set()


def _entity_schema(entity: type) -> dict[str, Any]:
    """Return the schema of a group of keys."""
    declared = keys_of(entity)
    return {
        "type": "object",
        "description": summary_of(entity),
        "properties": {name: _described(key.kind.schema(), key) for name, (_, key) in declared.items()},
        "required": [name for name, (_, key) in declared.items() if key.required],
        "additionalProperties": False,
    }


def _step_schema(name: str) -> dict[str, Any]:
    """Return the schema of a step: exactly one kind key, and no key that belongs to another kind."""
    schema = _entity_schema(e.Step)
    declared = keys_of(e.Step)
    if name == "SharedStep":
        schema["description"] = "A body in checks.yml or fixes.yml; its answers need not say where they lead."
        schema["properties"]["answers"] = _described(ListOf(Group(e.SharedAnswer)).schema(), declared["answers"][1])
    schema["oneOf"] = [{"required": [kind]} for kind in e.STEP_KINDS]
    schema["allOf"] = [
        {
            "if": {"required": [kind]},
            "then": {
                "properties": {
                    other: False for other, (_, key) in declared.items() if key.steps and kind not in key.steps
                }
            },
        }
        for kind in e.STEP_KINDS
    ]
    return schema


def _described(schema: dict[str, Any], key: Key) -> dict[str, Any]:
    """Return a key's schema with its description; draft 7 passes over what stands beside `$ref`."""
    owners = f" For steps of kind {', '.join(key.steps)}." if key.steps else ""
    described = {"description": f"{key.doc}{owners}"}
    return {**described, "allOf": [schema]} if "$ref" in schema else {**described, **schema}


def summary_of(entity: type) -> str:
    """Return the first line of an entity's docstring."""
    return (entity.__doc__ or "").strip().partition("\n")[0]


def editor_line(name: str) -> str:
    """Return the comment line by which editors with YAML language support find a file's schema.

    Args:
        name: POSIX path of the file relative to the library's root, as in `trees/guard/no-lamp.yml`.

    """
    others = (role for role in ROLES if role != "tree" and PurePosixPath(name).match(GLOBS[role]))
    role = next(others, "tree")
    return f"# yaml-language-server: $schema={'../' * name.count('/')}{FOLDER}/{role}.json\n"


def write_schemas(folder: Path, library: e.Library | None) -> list[Path]:
    """Write the schema of every kind of file into a folder, for editors.

    Args:
        folder: Where to, as a library's `.schema`; each file is named after its role.
        library: Whose ids editors are to offer.

    Returns:
        The files that hold something else now.

    Raises:
        LibraryError: when a file cannot be written.

    """
    changed = []
    for role in ROLES:
        path, text = folder / f"{role}.json", f"{json.dumps(schema_of(role, library), indent=1)}\n"
        if not path.is_file() or path.read_text("utf-8") != text:
            write_whole(path, text)
            changed.append(path)
    return changed
