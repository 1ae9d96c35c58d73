"""Visit records as they are read to be counted: only what is counted, checked while it is parsed.

The fields are those of `pages/walker/record.schema.json`. Names, serial numbers, remarks and whatever
else somebody wrote are not even made into objects.
"""

from __future__ import annotations

import re
from datetime import datetime
from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta, Struct

FORMAT = "fault-tree visit record"
VERSION = 1

_Line = Annotated[str, Meta(max_length=4000)]
_Id = Annotated[str, Meta(max_length=4000, min_length=1)]
_Time = Annotated[datetime, Meta(tz=True)]
_Kind = Literal["check", "measure", "do", "fix", "escalate", "done", "link"]
_Outcome = Literal["cured", "nothing found", "part ordered", "made safe", "refused", "handed over"]


class Taken(Struct, gc=False):
    """One answer."""

    tree: _Id
    step: _Id
    kind: _Kind
    at: _Time
    answer: _Line
    assumed: bool
    kept: bool


class Withdrawn(Struct, gc=False):
    """One answer that was taken back."""

    tree: _Id
    step: _Id


class Entered(Struct, gc=False):
    """A tree that was entered."""

    tree: _Id


class Origin(Struct, gc=False):
    """The library that the visit was made with."""

    key: _Line


class Visit(Struct, gc=False):
    """One visit."""

    format: Literal["fault-tree visit record"]
    version: Literal[1]
    id: _Id
    library: Origin
    started: _Time
    ended: _Time | None
    trees: Annotated[list[Entered], Meta(min_length=1)]
    steps: list[Taken]
    withdrawn: list[Withdrawn]
    outcome: _Outcome | None
    searches: list[_Line] = []


class _Head(Struct):
    """What tells whether it is a visit record at all, and one that this version reads."""

    format: Any = None
    version: Any = None


decode = msgspec.json.Decoder(Visit).decode
"""Return the visit in a JSON text, or raise what `problem_of` puts into words."""
encode = msgspec.json.Encoder().encode
PROBLEMS = (msgspec.MsgspecError, RecursionError, UnicodeDecodeError)
"""What `decode` raises for a text that is no visit record."""

_AT_BYTE = re.compile(r"\(byte (\d+)\)")
_PATH = re.compile(r" - at `(\$[\w.\[\]]*)`$")
_TOLD = ("Expected `", "Object missing required field", "Invalid RFC3339", "Expected `array`")
"""What is said of a value without the value: nothing that stands in a record is repeated."""


def problem_of(raw: bytes, error: Exception) -> tuple[str, int]:
    """Return what is wrong with a text that is no visit record, and at which byte of it, from 0.

    Args:
        raw: The text.
        error: What `decode` raised.

    """
    if not isinstance(error, msgspec.ValidationError):
        at = _AT_BYTE.search(str(error))
        if isinstance(error, msgspec.DecodeError) and "truncated" in str(error):
            return "the JSON ends too early", max(0, len(raw.rstrip()) - 1)
        return "this is no JSON", int(at[1]) if at else 0
    try:
        head = msgspec.json.decode(raw, type=_Head)
    except PROBLEMS:
        head = _Head()
    if head.format != FORMAT:
        return "this is no visit record", 0
    if head.version != VERSION:
        known = f"version {head.version}" if type(head.version) is int else "a version that is no number"
        return f"the record is of {known}; this program reads version {VERSION}", 0
    text = str(error)
    path = _PATH.search(text)
    where = f" at {path[1]}" if path else ""
    if text.startswith(_TOLD):
        return f"{text[: path.start()] if path else text}{where}", 0
    return f"a value that the record's schema does not allow{where}", 0
