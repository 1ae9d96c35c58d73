"""What stands inside an entity: all its texts, and all ids that it names.

Both follow from the declaration of the keys in `entities`, so that a new key is covered from its
first day.
"""

from __future__ import annotations

import dataclasses
from functools import cache
from operator import attrgetter
from typing import TYPE_CHECKING, Any, NamedTuple

from kb_tools.model.entities import StepGroup
from kb_tools.model.records import Group, keys_of
from kb_tools.model.values import Body, Id, ListOf, MapOf, Text, TextOrList, Use, Word

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from kb_tools.model.values import Kind

_NOT_DECLARED = ("shared_answers",)
"""Fields that hold entities and are no keys themselves: a shared check's `answers` stand there."""


_BODIES = frozenset({"shared check", "shared fix"})
"""What `{use: ID}` names; a text in its place names nothing."""


class Reference(NamedTuple):
    """An id that names something elsewhere."""

    of: str
    """What it names, as the key declares it: `hazard`, `tool`, `shared check`, ..."""
    word: Word
    """The id, with its place."""


class _Fields(NamedTuple):
    """The fields of an entity by what they hold."""

    texts: Callable[[Any], tuple[Any, ...]]
    entities: Callable[[Any], tuple[Any, ...]]
    ids: Callable[[Any], tuple[Any, ...]]
    named: tuple[str, ...]
    """What each of the `ids` names."""


def texts_of(value: object) -> list[Word]:
    """Return every text in an entity, or in a group or list of them, with its place.

    Ids, units of time, dates, numbers and words out of a fixed choice are no texts.
    """
    found: list[Word] = []
    _add_texts(value, found)
    return found


def references_of(value: object, wanted: frozenset[str] | None = None) -> list[Reference]:
    """Return every id that an entity, or a group or list of them, names.

    Args:
        value: The entity, group or list.
        wanted: What the ids shall name; left out: anything.

    """
    found: list[Reference] = []
    _add_references(value, wanted, found)
    return found


def _add_texts(value: Any, found: list[Word]) -> None:  # noqa: ANN401 - whatever may hold texts
    if isinstance(value, Word):
        found.append(value)
    elif isinstance(value, tuple | dict):
        for item in _items(value):
            _add_texts(item, found)
    elif hasattr(value, "place"):
        fields = _fields_of(value.__class__)
        for item in fields.texts(value):
            if item.__class__ is Word:
                found.append(item)
            elif item:
                _add_texts(item, found)
        for item in filter(None, fields.entities(value)):
            _add_texts(item, found)


def _add_references(
    value: Any,  # noqa: ANN401 - whatever may hold ids
    wanted: frozenset[str] | None,
    found: list[Reference],
) -> None:
    if isinstance(value, tuple | dict):
        for item in _items(value):
            _add_references(item, wanted, found)
    elif hasattr(value, "place"):
        fields = _fields_of(value.__class__, wanted)
        for of, item in zip(fields.named, fields.ids(value), strict=True):
            if item:
                found += _references(of, item)
        for item in filter(None, fields.entities(value)):
            _add_references(item, wanted, found)


def _items(value: tuple[Any, ...] | dict[Any, Any]) -> Iterable[Any]:
    return value.values() if isinstance(value, dict) else value


def _references(of: str, value: object) -> list[Reference]:
    """Return what the value of a key that holds ids names."""
    if isinstance(value, tuple):
        return [Reference(of, word) for word in value]
    if isinstance(value, Use):
        return [Reference(of, value.id)]
    return [Reference(of, value)] if isinstance(value, Word) and of not in _BODIES else []


@cache
def _fields_of(entity: type, wanted: frozenset[str] | None = None) -> _Fields:
    texts: list[str] = []
    entities = [field.name for field in dataclasses.fields(entity) if field.name in _NOT_DECLARED]
    ids: list[tuple[str, str]] = []
    for name, declared in keys_of(entity).values():
        leaf = _leaf(declared.kind)
        if isinstance(leaf, Body):
            texts.append(name)
            ids.append((f"shared {leaf.of}", name))
        elif isinstance(leaf, Text | TextOrList):
            texts.append(name)
        elif isinstance(leaf, Id):
            ids.append((leaf.of, name))
        elif isinstance(leaf, Group | StepGroup):
            entities.append(name)
    if wanted is not None:
        ids = [(of, name) for of, name in ids if of in wanted]
    named = tuple(of for of, _ in ids)
    return _Fields(_getter(texts), _getter(entities), _getter([name for _, name in ids]), named)


def _leaf(kind: Kind) -> Kind:
    """Return the kind of the single values in a list or group."""
    while isinstance(kind, ListOf | MapOf):
        kind = kind.of
    return kind


def _getter(names: list[str]) -> Callable[[Any], tuple[Any, ...]]:
    """Return a function that reads the named attributes at once, always as a tuple."""
    if not names:
        return lambda _: ()
    if len(names) == 1:
        return lambda value: (getattr(value, names[0]),)
    return attrgetter(*names)
