"""Read a group of keys into the entity that declares them.

An entity is a dataclass whose first field is its `place` and whose other fields are made with
`key`. The declaration is the only list of keys there is: this reader, the editor schema and the
format page work from it.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from typing import TYPE_CHECKING, Any

from yaml.nodes import MappingNode, Node, ScalarNode

from kb_tools.findings import Severity
from kb_tools.model.values import MISSING, Context, Id, Kind, ListOf, MapOf, OneOf, Text
from kb_tools.source.yaml_nodes import is_nothing

if TYPE_CHECKING:
    from collections.abc import Iterable

_EMPTY: dict[type, Any] = {}


@dataclass(frozen=True, slots=True)
class Key:
    """What is declared of one key."""

    kind: Kind
    doc: str
    required: bool = False
    steps: tuple[str, ...] = ()
    """The kinds of step that may bear it; empty for all, and for entities that are no step."""
    written: str = ""
    """The key in YAML where it is a reserved word in Python (`from`)."""


def key(
    kind: Kind,
    doc: str,
    *,
    required: bool = False,
    steps: str = "",
    default: Any = None,  # noqa: ANN401 - the default has the kind's type
    written: str = "",
) -> Any:  # noqa: ANN401 - stands for a field of the declared type
    """Declare a key of an entity: its kind, what it says, and which kinds of step may bear it."""
    declared = Key(kind, doc, required, tuple(steps.split()), written)
    return dataclasses.field(default=default, metadata={"key": declared})


@cache
def keys_of(entity: type) -> dict[str, tuple[str, Key]]:
    """Return the keys that `entity` declares: as written in YAML -> (field name, declaration)."""
    return {
        (field.metadata["key"].written or field.name): (field.name, field.metadata["key"])
        for field in dataclasses.fields(entity)
        if "key" in field.metadata
    }


_NEAR = 0.7
_NEAR_SHORT = 0.6
_SHORT = 3
"""Letters of a word in which a single slip leaves a likeness (difflib's ratio) of no more than 0.67."""


def nearest(word: str, known: Iterable[str]) -> str:
    """Return the known word nearest to `word`, or an empty text when none is near.

    Any single slip in a word (a letter too many, too few, another one, two exchanged) keeps it near;
    capital and small letters count only where more than one word fits.
    """
    names = list(known)
    cutoff = _NEAR_SHORT if len(word) <= _SHORT else _NEAR
    matches = get_close_matches(word, names, n=1, cutoff=cutoff)
    if not matches:
        folded = {name.casefold(): name for name in names}
        matches = [folded[name] for name in get_close_matches(word.casefold(), list(folded), n=1, cutoff=cutoff)]
    return matches[0] if matches else ""


def pairs_of(node: MappingNode, context: Context) -> list[tuple[ScalarNode, Node]]:
    """Return the pairs of a mapping; keys that are no text, and repeated ones, are findings."""
    pairs: list[tuple[ScalarNode, Node]] = []
    seen: dict[str, Node] = {}
    for key_node, value_node in node.value:
        if not isinstance(key_node, ScalarNode):
            context.wrong_type(key_node, "A key")
        elif key_node.value in seen:
            first = context.place(seen[key_node.value])
            context.report(
                key_node,
                "key-repeated",
                f"The key `{key_node.value}` stands here a second time; the first is at line {first.line}",
                "Keep one of the two; the other would be lost without a word",
            )
        else:
            seen[key_node.value] = key_node
            pairs.append((key_node, value_node))
    return pairs


def read_entity(entity: type, node: Node, context: Context, short: str = "") -> Any:  # noqa: ANN401 - an instance of `entity`
    """Return an instance of `entity` read from `node`, or `MISSING`.

    All mistakes are findings: unknown keys, missing keys, values of the wrong kind. A required
    text that is missing is an empty one, a required group or list likewise, so that whoever looks
    at the entity need not ask.
    """
    if not isinstance(node, MappingNode):
        if short and isinstance(node, ScalarNode):
            text = Text().read(node, context)
            return MISSING if text is MISSING else entity(place=context.place(node), **{short: text})
        return context.wrong_type(node, "A group of keys", "Write keys, each followed by a colon and its value")
    declared = keys_of(entity)
    here = context.place(node)
    values: dict[str, Any] = {}
    for key_node, value_node in pairs_of(node, context):
        name = key_node.value
        before = len(context.findings)
        known = declared.get(name)
        if known is None:
            alone = node.flow_style and is_nothing(value_node)
            _unknown_key(key_node, declared, context, alone=alone)
            head = name.partition(":")[0]
            name = head if head in declared else nearest(name, declared)
        else:
            value = known[1].kind.read(value_node, context)
            if value is not MISSING:
                values[known[0]] = value
        found = context.findings
        if len(found) > before and any(one.severity is Severity.ERROR for one in found[before:]):
            context.doubts.keys.add((here, name))
    for name, (field_name, declaration) in declared.items():
        if declaration.required and field_name not in values:
            if not context.doubts.key(here, name):
                _missing_key(node, name, declaration, context)
                context.doubts.keys.add((here, name))
            values[field_name] = _blank(declaration.kind, node, context)
    return entity(place=here, **values)


def _blank(kind: Kind, node: Node, context: Context) -> Any:  # noqa: ANN401 - the kind's own type
    """Return what stands for a required value that is missing."""
    if isinstance(kind, MapOf):
        return {}
    if isinstance(kind, ListOf):
        return ()
    if isinstance(kind, (Text, Id, OneOf)):
        return context.word(ScalarNode("", "", node.start_mark))
    return None


def _unknown_key(node: ScalarNode, known: Iterable[str], context: Context, *, alone: bool) -> None:
    """Report a key that is not declared, with the nearest one that is.

    Args:
        node: The key.
        known: The keys that are declared.
        context: Where the finding goes.
        alone: Whether it stands between commas without a value, as what follows a comma in a text
            without quotes does.

    """
    names = list(known)
    close = nearest(node.value, names)
    head, colon, _ = node.value.partition(":")
    if colon and head in names:
        remedy = f"Put a space behind the colon of `{head}`"
    elif node.value == "<<":
        remedy = "Groups of keys are not merged here: write the keys out"
    elif alone:
        remedy = "If the comma before it belongs to a text, put that text in quotes"
    elif close:
        remedy = f"Did you mean `{close}`?"
    else:
        remedy = f"The keys known here are {', '.join(names)}"
    context.report(node, "key-known", f"The key `{node.value}` is not known here", remedy)


def _missing_key(node: Node, name: str, declaration: Key, context: Context) -> None:
    """Report a key that must be there."""
    context.report(
        node,
        "key-required",
        f"The key `{name}` is missing",
        f"Add `{name}`: {declaration.doc[:1].lower()}{declaration.doc[1:].rstrip('.')}",
    )


@dataclass(frozen=True)
class Group:
    """A group of the keys that an entity declares; `short` is the key that a lone text stands for."""

    entity: type
    short: str = ""

    def read(self, node: Node, context: Context) -> Any:  # noqa: ANN401 - an instance of the entity
        """Return an instance of the entity."""
        return read_entity(self.entity, node, context, self.short)

    def schema(self) -> dict[str, Any]:
        """Return a reference to the entity's own schema."""
        reference = {"$ref": f"#/$defs/{self.entity.__name__}"}
        return {"anyOf": [Text().schema(), reference]} if self.short else reference

    def words(self) -> str:
        """Return the kind in words."""
        name = self.entity.__name__
        link = f"[{name}](#{name.lower()})"
        return f"text or {link}" if self.short else link
