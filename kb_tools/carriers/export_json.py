"""The library as one JSON file, and the schema of that file.

What authors wrote stands under the keys of the file format, in their words: a tree of `trees` is
itself a file that a library can read, since JSON is YAML. What was computed from it stands apart,
under `computed`.
"""

from __future__ import annotations

import dataclasses
import json
from typing import TYPE_CHECKING, Any

from kb_tools.model.build import SHARED_KINDS
from kb_tools.model.entities import OWN_KEYS_WITH_USE, STEP_KINDS, Library, Step
from kb_tools.model.records import keys_of
from kb_tools.model.schema import DOCUMENTS, schema_of
from kb_tools.model.values import Day, Days, Duration, Number, Use
from kb_tools.numbers.odds import library_numbers
from kb_tools.pages.numbering import step_numbers

if TYPE_CHECKING:
    from collections.abc import Mapping

    from kb_tools.model.entities import Tree
    from kb_tools.numbers.odds import StepNumbers, TreeNumbers
    from kb_tools.rules.contract import Subject

FORMAT = "fault-tree-library/1"
"""Raised when a reader of the old form would misread the new one; further keys may come without."""
DIALECT = "https://json-schema.org/draft/2020-12/schema"
_SHELVES = {"tree": "trees", "table": "tables", "map": "maps", "figures": "figures"}
"""Kind of file with an id of its own -> the key under which all of them stand by their ids."""
_DIGITS = 12


def export_json(subject: Subject) -> str:
    """Return the library as JSON text, ended by a line break; the same library gives the same bytes."""
    return f"{json.dumps(document(subject), ensure_ascii=False, indent=1, allow_nan=False)}\n"


def document(subject: Subject) -> dict[str, Any]:
    """Return the library as JSON data; see `export_schema`.

    Args:
        subject: A library without errors.

    """
    library = subject.library
    numbers = library_numbers(subject.graph, library)
    shared = {role: _written(_shelf(library, role)) for role in SHARED_KINDS}
    return {
        "format": FORMAT,
        **{role: value for role, value in shared.items() if value},
        **{key: _written(getattr(library, key)) for key in _SHELVES.values()},
        "computed": {tree.id: _computed(subject, tree, numbers[tree.id]) for tree in library.trees.values()},
    }


def _shelf(library: Library, role: str) -> Any:  # noqa: ANN401 - what a shared file holds
    """Return what a shared file says, from where the library keeps it."""
    if role == "equipment":
        return {key: getattr(library, key) for key in ("equipment", "tools", "spares") if getattr(library, key)}
    return getattr(library, "settings" if role == "library" else role)


def _written(value: Any) -> Any:  # noqa: ANN401 - any value of the library
    """Return a value as an author would write it; what a key leaves out is left out."""
    if isinstance(value, Step):
        return _step(value)
    if dataclasses.is_dataclass(value) and not isinstance(value, (Use, Day, Duration, Days)):
        return written_keys(value)
    if isinstance(value, dict):
        return {str(key): _written(item) for key, item in value.items()}
    if isinstance(value, tuple):
        return [_written(item) for item in value]
    return _plain(value)


def _plain(value: Any) -> Any:  # noqa: ANN401 - a value of a kind of the format
    """Return a single value: a text, a number, a truth, or what is written as a text."""
    if isinstance(value, Use):
        return {"use": str(value.id)}
    if isinstance(value, Day):
        return value.date.isoformat()
    if isinstance(value, (Duration, Days)):
        return str(value.word)
    if isinstance(value, Number):
        return int(value) if value.is_integer() else float(value)
    return str(value) if isinstance(value, str) else value


def written_keys(entity: Any) -> dict[str, Any]:  # noqa: ANN401 - an entity of the format
    """Return the keys of an entity that say something, with their values as an author would write them."""
    shown = {}
    kind: type = type(entity)
    for name, (field, key) in keys_of(kind).items():
        value = getattr(entity, field)
        if key.required or (value is not None and value is not False and value not in ((), {})):
            shown[name] = _written(value)
    return shown


def _step(step: Step) -> dict[str, Any]:
    """Return a step; one that takes its body from a shared item says only what it may say itself."""
    shown = written_keys(step)
    if step.use:
        shown = {name: value for name, value in shown.items() if name == step.kind or name in OWN_KEYS_WITH_USE}
    if step.shared_answers and not step.use:
        shown["answers"] = [_written(answer) for answer in step.shared_answers]
    return shown


def _computed(subject: Subject, tree: Tree, numbers: TreeNumbers) -> dict[str, Any]:
    """Return what follows from a tree: numbers of steps, odds, minutes, what is isolated where."""
    ahead = numbers.ahead
    return {
        "area": tree.area,
        "file": tree.file,
        "minutes": {key: _figure(getattr(ahead, key)) for key in ("minutes", "worst", "waiting")},
        "steps": {
            name: _computed_step(subject, tree, name, at, numbers.steps) for name, at in step_numbers(tree).items()
        },
    }


def _computed_step(
    subject: Subject, tree: Tree, name: str, number: int, numbers: Mapping[str, StepNumbers]
) -> dict[str, Any]:
    node = subject.graph.nodes[f"{tree.id}/{name}"]
    state = subject.isolation.before.get(node.key)
    own = numbers.get(name)
    odds: tuple[float | None, ...] = own.odds if own and len(own.odds) == len(node.ways) else (None,) * len(node.ways)
    shown: dict[str, Any] = {
        "number": number,
        "kind": node.step.kind,
        "text": str(node.step.text or ""),
        "minutes": _figure(node.step.minutes),
        "minutes_assumed": node.step.takes is None,
        "reach": _figure(own.reach) if own else None,
        "isolated": subject.isolation.names(state.surely) if state else [],
        "maybe_isolated": subject.isolation.names(state.maybe) if state else [],
        "ways": [
            {
                "kind": way.kind,
                "label": str(way.label),
                "to": way.target,
                "odds": None if chance is None else _figure(chance),
            }
            for way, chance in zip(node.ways, odds, strict=True)
        ],
    }
    return shown


def _figure(value: float) -> float:
    """Return a figure with as many digits as are the same on every machine."""
    rounded = float(f"{value:.{_DIGITS}g}")
    return int(rounded) if rounded.is_integer() else rounded


def export_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of the file that `export_json` writes."""
    definitions: dict[str, Any] = {}
    properties: dict[str, Any] = {"format": {"const": FORMAT, "description": "The form of this file."}}
    for role in (*SHARED_KINDS, *DOCUMENTS):
        own = schema_of(role)
        definitions |= own.pop("$defs")
        kept = {key: value for key, value in own.items() if key not in ("$schema", "title")}
        if role in DOCUMENTS:
            name = DOCUMENTS[role].__name__
            definitions[name] = kept
            properties[_SHELVES[role]] = {"type": "object", "additionalProperties": {"$ref": f"#/$defs/{name}"}}
        else:
            properties[role] = {"description": f"What trees/shared/{role}.yml says.", **kept}
    properties["computed"] = {
        "description": "What follows from each tree, by its id; a reader may pass over it.",
        "type": "object",
        "additionalProperties": {"$ref": "#/$defs/ComputedTree"},
    }
    return {
        "$schema": DIALECT,
        "title": "A fault-tree library as one JSON file",
        "description": "Texts are Markdown where the file format says so. Ids are unique on their shelf.",
        "type": "object",
        "properties": properties,
        "required": ["format", *_SHELVES.values(), "computed"],
        "additionalProperties": False,
        "$defs": dict(sorted({**definitions, **_COMPUTED}.items())),
    }


def _object(description: str, properties: dict[str, Any]) -> dict[str, Any]:
    """Return the schema of a group all of whose keys are there."""
    return {
        "type": "object",
        "description": description,
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }


def _of(kind: str | list[str], description: str) -> dict[str, Any]:
    return {"type": kind, "description": description}


_CHANCE = {"type": ["number", "null"], "minimum": 0, "maximum": 1}
_HAZARDS = {"type": "array", "items": {"type": "string"}}
_COMPUTED = {
    "ComputedTree": _object(
        "What follows from a tree.",
        {
            "area": _of("string", "The folder below trees/ in which it stands."),
            "file": _of("string", "Its file, from the root of the library."),
            "minutes": _object(
                "Minutes from the first step on.",
                {
                    "minutes": _of("number", "Expected minutes hands on, proofs included."),
                    "worst": _of("number", "Minutes hands on along the longest way."),
                    "waiting": _of("number", "Expected minutes that only pass."),
                },
            ),
            "steps": {"type": "object", "additionalProperties": {"$ref": "#/$defs/ComputedStep"}},
        },
    ),
    "ComputedStep": _object(
        "What follows from a step.",
        {
            "number": {"type": "integer", "minimum": 1, "description": "Its number on its page and on paper."},
            "kind": {"enum": list(STEP_KINDS), "description": "The key that says what it is."},
            "text": _of("string", "What stands under that key, taken from the shared item where one is used."),
            "minutes": _of("number", "Minutes hands on."),
            "minutes_assumed": _of("boolean", "Whether the minutes are those of its kind, since `takes` is left out."),
            "reach": {**_CHANCE, "description": "The chance that a visit passes it; null: no visit does."},
            "isolated": {**_HAZARDS, "description": "Hazards that are isolated before it on every path."},
            "maybe_isolated": {**_HAZARDS, "description": "Hazards that are isolated before it on some path."},
            "ways": {"type": "array", "items": {"$ref": "#/$defs/ComputedWay"}},
        },
    ),
    "ComputedWay": _object(
        "One way on.",
        {
            "kind": {"enum": ["answer", "unsure", "band", "then", "cannot", "not_cured", "link"]},
            "label": _of("string", "What the person says, sees or does."),
            "to": _of(["string", "null"], "The step that it leads to, as `tree/step`."),
            "odds": {**_CHANCE, "description": "The chance that it is taken; null: not known."},
        },
    ),
}
