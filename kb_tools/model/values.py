"""Values that remember where they were written, and the kinds of value that a key can take.

A kind reads a YAML node into a value, or adds a finding and returns `MISSING`; it also says of
itself how the editor schema and the format page put it. Keys are declared with kinds in
`entities`; nothing else knows what a key may hold.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Final, Protocol

from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from kb_tools.findings import Finding, Place, Severity
from kb_tools.model.doubts import Doubts
from kb_tools.source.yaml_nodes import is_nothing

ID_PATTERN: Final = "[a-z][a-z0-9-]*"
NAMES: Final = "x-names"
"""Stands in the schema of an id and says what it names, until the ids of a library are put in."""
_ID = re.compile(ID_PATTERN)
_LONG = 40
_MOST_DIGITS = 6
_NUMBER = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]+)?")
_DURATION = re.compile(r"([0-9]{1,6}(?:\.[0-9]{1,6})?)\s*(s|min|h)")
_DAYS = re.compile(r"([0-9]+)\s*(day|days)")
_MINUTES = {"s": 1 / 60, "min": 1.0, "h": 60.0}


def is_id(text: str) -> bool:
    """Tell whether `text` has the form of an id."""
    return _ID.fullmatch(text) is not None


def id_meant(text: str) -> str:
    """Return the id that `text` is but for capital letters, spaces and underscores, or an empty text."""
    meant = re.sub(r"[\s_-]+", "-", text.strip().lower())
    return meant if is_id(meant) else ""


def folded(text: str) -> str:
    """Return `text` without case and spaces: two answers that differ only there are one."""
    return "".join(text.split()).casefold()


def shortened(text: str) -> str:
    """Return `text`, cut when it is too long for a message."""
    return text if len(text) <= _LONG else f"{text[: _LONG - 3]}..."


class Word(str):
    """A text with its place."""

    __slots__ = ("column", "file", "line")
    file: str
    line: int
    column: int

    @property
    def place(self) -> Place:
        """Where the text stands."""
        return Place(self.file, self.line, self.column)


class Number(float):
    """A number with its place and the text it was written as."""

    __slots__ = ("word",)
    word: Word

    @property
    def place(self) -> Place:
        """Where the number stands."""
        return self.word.place


@dataclass(frozen=True, slots=True)
class Duration:
    """A span of time in minutes, with the text it was written as."""

    minutes: float
    word: Word


@dataclass(frozen=True, slots=True)
class Day:
    """A calendar date with its place."""

    date: date
    word: Word


@dataclass(frozen=True, slots=True)
class Days:
    """A number of days with its place."""

    days: int
    word: Word


@dataclass(frozen=True, slots=True)
class Use:
    """A body taken from the shared file: `{use: ID}`."""

    id: Word


class _Missing:
    """What a kind returns when the node held no fitting value; the finding is already made."""


MISSING: Final = _Missing()


@dataclass(slots=True)
class Context:
    """What reading a file needs: its name, and where findings go."""

    name: str
    findings: list[Finding] = field(default_factory=list)
    doubts: Doubts = field(default_factory=Doubts)
    cut: dict[int, tuple[int, int]] = field(default_factory=dict)
    """Comments that may be meant as text; see `cut_lines`."""

    def report(self, node: Node, rule: str, message: str, remedy: str) -> None:
        """Add an error of `rule` at the start of `node`."""
        self.findings.append(Finding(self.place(node), rule, Severity.ERROR, message, remedy))

    def place(self, node: Node) -> Place:
        """Return where `node` starts."""
        mark = node.start_mark
        return Place(self.name, mark.line + 1, mark.column + 1)

    def word(self, node: ScalarNode, text: str | None = None) -> Word:
        """Return the text of a scalar, or `text` in its stead, with its place."""
        word = Word(node.value if text is None else text)
        mark = node.start_mark
        word.file = self.name
        word.line = mark.line + 1
        word.column = mark.column + 1
        return word

    def wrong_type(self, node: Node, wanted: str, remedy: str = "") -> _Missing:
        """Report that `node` is not `wanted`, and return `MISSING`."""
        if is_nothing(node) or (isinstance(node, ScalarNode) and not node.value.strip()):
            found = "nothing stands here"
            if node.value.strip():
                found = f"{node.value} stands for nothing in YAML"
        elif isinstance(node, ScalarNode):
            found = f"this is the text {shortened(node.value)!r}"
        elif isinstance(node, MappingNode):
            found = "keys stand here"
        else:
            found = "a list stands here"
        message = f"{wanted} belongs here, but {found}"
        self.report(node, "value-type", message, remedy or f"Write {wanted[:1].lower()}{wanted[1:]}")
        return MISSING

    def warn_if_cut(self, node: ScalarNode) -> None:
        """Warn when the rest of a text without quotes is a comment that may be meant as text."""
        line = node.end_mark.line
        end, column = self.cut.get(line, (-1, -1))
        if node.style or end != node.end_mark.column:
            return
        self.findings.append(
            Finding(
                Place(self.name, line + 1, column + 1),
                "yaml-syntax",
                Severity.WARNING,
                f"The text ends before this #: it is {shortened(node.value)!r}, and the rest a comment",
                "Put the text in quotes; if a comment is meant, put a space behind the #",
            )
        )


class Kind(Protocol):
    """A kind of value."""

    def read(self, node: Node, context: Context) -> Any:  # noqa: ANN401 - each kind has a type of its own
        """Return the value of `node`, or `MISSING` with a finding added."""

    def schema(self) -> dict[str, Any]:
        """Return the kind as JSON Schema."""

    def words(self) -> str:
        """Return the kind in words for the format page."""


@dataclass(frozen=True)
class Text:
    """A text; `markdown` says that the site renders it."""

    markdown: bool = False

    def read(self, node: Node, context: Context) -> Word | _Missing:
        """Return the text as a `Word`."""
        if isinstance(node, ScalarNode) and node.value.strip() and not is_nothing(node):
            if context.cut:
                context.warn_if_cut(node)
            return context.word(node)
        return context.wrong_type(node, "A text", self._remedy(node, context))

    @staticmethod
    def _remedy(node: Node, context: Context) -> str:
        if isinstance(node, MappingNode):
            return "Write a text; one that holds a colon and a space must be in quotes"
        if is_nothing(node) and node.end_mark.line in context.cut:
            return "Write a text; one that starts with # must be in quotes"
        if is_nothing(node) and node.value:
            return f"Write a text; put {node.value} in quotes if that is what it says"
        return ""

    def schema(self) -> dict[str, Any]:
        """Text may look like a number or a date: YAML editors would type it otherwise."""
        return {"type": ["string", "number", "boolean"]}

    def words(self) -> str:
        """Return the kind in words."""
        return "Markdown text" if self.markdown else "text"


@dataclass(frozen=True)
class Id:
    """An id; `of` says what it names, and the rule `reference-resolves` looks it up."""

    of: str = ""
    path: bool = False
    """Whether `tree/step` is allowed too."""

    def read(self, node: Node, context: Context) -> Word | _Missing:
        """Return the id as a `Word`."""
        wanted = f"The id of a {self.of}" if self.of else "An id"
        if not isinstance(node, ScalarNode) or is_nothing(node):
            return context.wrong_type(node, wanted)
        first, slash, second = node.value.partition("/") if self.path else (node.value, "", "")
        if not _ID.fullmatch(first) or (slash and not _ID.fullmatch(second)):
            ids = [id_meant(part) for part in ((first, second) if slash else (first,))]
            meant = f"`{'/'.join(ids)}`" if all(ids) else "an id"
            return context.wrong_type(node, wanted, f"Write {meant}: small letters, digits and hyphens, a letter first")
        return context.word(node)

    def schema(self) -> dict[str, Any]:
        """Return the kind as JSON Schema."""
        pattern = f"^{ID_PATTERN}(/{ID_PATTERN})?$" if self.path else f"^{ID_PATTERN}$"
        return {"type": "string", "pattern": pattern, **({NAMES: self.of} if self.of else {})}

    def words(self) -> str:
        """Return the kind in words."""
        if self.path:
            return "`tree` or `tree/step`"
        return f"id of a {self.of}" if self.of else "id"


@dataclass(frozen=True)
class Real:
    """A number within bounds."""

    least: float | None = None
    most: float | None = None

    def read(self, node: Node, context: Context) -> Number | _Missing:
        """Return the number with its place."""
        if not isinstance(node, ScalarNode) or not _NUMBER.fullmatch(node.value):
            remedy = ""
            if isinstance(node, ScalarNode) and re.fullmatch(r"[+-]?\d+,\d+", node.value):
                remedy = "Write the number with a point"
            return context.wrong_type(node, "A number", remedy)
        number = Number(node.value)
        if math.isinf(number):
            return context.wrong_type(node, "A finite number")
        number.word = context.word(node)
        low = self.least is not None and number < self.least
        if low or (self.most is not None and number > self.most):
            return context.wrong_type(node, f"A number {self._bounds()}")
        return number

    def _bounds(self) -> str:
        if self.most is None:
            return f"of at least {self.least:g}"
        return f"from {self.least:g} to {self.most:g}"

    def schema(self) -> dict[str, Any]:
        """Return the kind as JSON Schema."""
        schema: dict[str, Any] = {"type": "number"}
        if self.least is not None:
            schema["minimum"] = self.least
        if self.most is not None:
            schema["maximum"] = self.most
        return schema

    def words(self) -> str:
        """Return the kind in words."""
        return "number" if self.least is None else f"number {self._bounds()}"


@dataclass(frozen=True)
class Whole:
    """A whole number from `least` on."""

    least: int = 0

    def read(self, node: Node, context: Context) -> int | _Missing:
        """Return the number."""
        if isinstance(node, ScalarNode) and re.fullmatch(r"[0-9]{1,9}", node.value) and int(node.value) >= self.least:
            return int(node.value)
        return context.wrong_type(node, f"A whole number of at least {self.least}")

    def schema(self) -> dict[str, Any]:
        """Return the kind as JSON Schema."""
        return {"type": "integer", "minimum": self.least}

    def words(self) -> str:
        """Return the kind in words."""
        return f"whole number of at least {self.least}"


@dataclass(frozen=True)
class Flag:
    """True or false."""

    def read(self, node: Node, context: Context) -> bool | _Missing:
        """Return the truth."""
        if isinstance(node, ScalarNode) and not node.style and node.value in ("true", "false"):
            return bool(node.value == "true")
        return context.wrong_type(node, "`true` or `false`")

    def schema(self) -> dict[str, Any]:
        """Return the kind as JSON Schema."""
        return {"type": "boolean"}

    def words(self) -> str:
        """Return the kind in words."""
        return "`true` or `false` (left out: `false`)"


@dataclass(frozen=True)
class OneOf:
    """One of a few words."""

    choices: tuple[str, ...]

    def read(self, node: Node, context: Context) -> Word | _Missing:
        """Return the word."""
        if isinstance(node, ScalarNode) and node.value in self.choices:
            return context.word(node)
        return context.wrong_type(node, f"One of {', '.join(self.choices)}")

    def schema(self) -> dict[str, Any]:
        """Return the kind as JSON Schema."""
        return {"enum": list(self.choices)}

    def words(self) -> str:
        """Return the kind in words."""
        return "one of " + ", ".join(f"`{choice}`" for choice in self.choices)


@dataclass(frozen=True)
class Calendar:
    """A date as in 2026-10-14."""

    def read(self, node: Node, context: Context) -> Day | _Missing:
        """Return the date with its place."""
        if isinstance(node, ScalarNode) and re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", node.value):
            try:
                return Day(date.fromisoformat(node.value), context.word(node))
            except ValueError:
                pass
        return context.wrong_type(node, "A date", "Write year-month-day, for instance 2026-10-14")

    def schema(self) -> dict[str, Any]:
        """Return the kind as JSON Schema."""
        return {"type": "string", "pattern": r"^\d{4}-\d{2}-\d{2}$"}

    def words(self) -> str:
        """Return the kind in words."""
        return "date, as in 2026-10-14"


@dataclass(frozen=True)
class Clock:
    """A span of time: `<n> s`, `<n> min` or `<n> h`."""

    def read(self, node: Node, context: Context) -> Duration | _Missing:
        """Return the span in minutes."""
        if isinstance(node, ScalarNode):
            match = _DURATION.fullmatch(node.value.strip())
            if match:
                return Duration(float(match[1]) * _MINUTES[match[2]], context.word(node))
        return context.wrong_type(node, "A span of time", "Write a number and s, min or h, for instance 5 min")

    def schema(self) -> dict[str, Any]:
        """Return the kind as JSON Schema."""
        return {"type": "string", "pattern": r"^\d+(\.\d+)?\s*(s|min|h)$"}

    def words(self) -> str:
        """Return the kind in words."""
        return "span of time: a number and `s`, `min` or `h`"


@dataclass(frozen=True)
class DaySpan:
    """A span of days: `<n> days`."""

    def read(self, node: Node, context: Context) -> Days | _Missing:
        """Return the number of days."""
        if isinstance(node, ScalarNode):
            match = _DAYS.fullmatch(node.value.strip())
            if match and len(match[1]) <= _MOST_DIGITS:
                return Days(int(match[1]), context.word(node))
        return context.wrong_type(node, "A span of days", "Write a number and days, for instance 180 days")

    def schema(self) -> dict[str, Any]:
        """Return the kind as JSON Schema."""
        return {"type": "string", "pattern": r"^\d+\s*days?$"}

    def words(self) -> str:
        """Return the kind in words."""
        return "span of days, as in 180 days"


@dataclass(frozen=True)
class Body:
    """The question, action or mending of a step: a text, or `{use: ID}` of the shared file `of`."""

    of: str

    def read(self, node: Node, context: Context) -> Word | Use | _Missing:
        """Return the text, or which shared item is used."""
        if isinstance(node, MappingNode):
            pairs = node.value
            if len(pairs) == 1 and isinstance(pairs[0][0], ScalarNode) and pairs[0][0].value == "use":
                used = Id(f"shared {self.of}").read(pairs[0][1], context)
                return MISSING if isinstance(used, _Missing) else Use(used)
            return context.wrong_type(node, f"A text, or {{use: ID}} of a shared {self.of}")
        return Text().read(node, context)

    def schema(self) -> dict[str, Any]:
        """Return the kind as JSON Schema."""
        use = {
            "type": "object",
            "properties": {"use": Id(f"shared {self.of}").schema()},
            "required": ["use"],
            "additionalProperties": False,
        }
        return {"anyOf": [Text().schema(), use]}

    def words(self) -> str:
        """Return the kind in words."""
        return f"text, or `{{use: ID}}` of a shared {self.of}"


@dataclass(frozen=True)
class ListOf:
    """A list; `exactly` fixes its length."""

    of: Kind
    exactly: int | None = None

    def read(self, node: Node, context: Context) -> tuple[Any, ...] | _Missing:
        """Return the values that could be read; each bad one is a finding of its own."""
        if not isinstance(node, SequenceNode):
            return context.wrong_type(node, "A list", "Write a list: [one, two], or a line with a hyphen for each")
        if self.exactly is not None and len(node.value) != self.exactly:
            return context.wrong_type(node, f"A list of {self.exactly}", f"Give {self.exactly} values")
        read = self.of.read
        values = [read(child, context) for child in node.value]
        return tuple(value for value in values if value is not MISSING)

    def schema(self) -> dict[str, Any]:
        """Return the kind as JSON Schema."""
        schema: dict[str, Any] = {"type": "array", "items": self.of.schema()}
        if self.exactly is not None:
            schema |= {"minItems": self.exactly, "maxItems": self.exactly}
        return schema

    def words(self) -> str:
        """Return the kind in words."""
        inner = self.of.words()
        return f"list of lists{inner.removeprefix('list')}" if isinstance(self.of, ListOf) else f"list: {inner}"


@dataclass(frozen=True)
class MapOf:
    """Keys that the author chooses, each with a value.

    `ids` says that the keys are ids, `paths` that they may be `tree/step` too.
    """

    of: Kind
    ids: bool = True
    paths: bool = False

    def read(self, node: Node, context: Context) -> dict[Word, Any] | _Missing:
        """Return the values by key, in the order written; repeated keys and bad ids are findings."""
        if not isinstance(node, MappingNode):
            return context.wrong_type(node, "A group of keys", "Write keys, each followed by a colon")
        values: dict[Word, Any] = {}
        key_kind = self._key_kind()
        for key_node, value_node in node.value:
            key = key_kind.read(key_node, context)
            if key is MISSING:
                # What is declared under nearly an id is meant wherever that id is named.
                meant = id_meant(key_node.value) if self.ids and isinstance(key_node, ScalarNode) else ""
                if not meant or meant in values:
                    continue
                key = context.word(key_node, meant)
            if key in values:
                context.report(
                    key_node,
                    "key-repeated",
                    f"The key `{key}` stands here a second time",
                    "Keep one of the two; the other would be lost without a word",
                )
                continue
            value = self.of.read(value_node, context)
            if value is MISSING:
                context.doubts.ids.add(str(key))
            else:
                values[key] = value
        return values

    def _key_kind(self) -> Kind:
        return Id(path=self.paths) if self.ids else Text()

    def schema(self) -> dict[str, Any]:
        """Return the kind as JSON Schema."""
        schema: dict[str, Any] = {"type": "object", "additionalProperties": self.of.schema()}
        if self.ids:
            schema["propertyNames"] = {"pattern": self._key_kind().schema()["pattern"]}
        return schema

    def words(self) -> str:
        """Return the kind in words."""
        return f"keys, each with {self.of.words()}"


@dataclass(frozen=True)
class TextOrList:
    """A text or a list of texts, read as a list."""

    def read(self, node: Node, context: Context) -> tuple[Word, ...] | _Missing:
        """Return the texts."""
        if isinstance(node, SequenceNode):
            return ListOf(Text()).read(node, context)
        text = Text().read(node, context)
        return MISSING if isinstance(text, _Missing) else (text,)

    def schema(self) -> dict[str, Any]:
        """Return the kind as JSON Schema."""
        return {"anyOf": [Text().schema(), ListOf(Text()).schema()]}

    def words(self) -> str:
        """Return the kind in words."""
        return "text, or a list of texts"
