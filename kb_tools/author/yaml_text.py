"""Write YAML as `kb` writes it: block style, quotes only where they are needed."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

_PLAIN = re.compile(r"[A-Za-z0-9(][^:#\n\t\"'`{}\[\]&*!|>%@]*")
_LOOKS_TYPED = re.compile(
    r"(yes|no|true|false|null|on|off|y|n|~)|[-+]?[\d.][\d.,:_eE+-]*|\d{4}-\d{2}-\d{2}", re.IGNORECASE
)


class Written(str):
    """YAML that stands as it is: `{}`."""

    __slots__ = ()


def scalar(value: object) -> str:
    """Return a scalar as it stands in a block mapping or list.

    Numbers stay numbers; text that YAML, or another reader of it, could take for something else is quoted.
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:g}" if float(f"{value:g}") == value else repr(value)
    if isinstance(value, int):
        return str(value)
    text = str(value)
    if isinstance(value, Written):
        return text
    plain = _PLAIN.fullmatch(text) and text == text.strip() and not _LOOKS_TYPED.fullmatch(text)
    if plain or re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
        return text
    return "'" + text.replace("'", "''") + "'"


def flow(value: object) -> str:
    """Return a value as it stands between braces or brackets, on one line.

    Keys without a value (None, an empty list) are left out, as `mapping` does.
    """
    if isinstance(value, dict):
        pairs = [(key, item) for key, item in value.items() if item is not None and item not in ([], {})]
        return "{" + ", ".join(f"{flow(key)}: {flow(item)}" for key, item in pairs) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(flow, value)) + "]"
    if isinstance(value, Written):
        return str(value)
    text = scalar(" ".join(value.split()) if isinstance(value, str) else value)
    return text if text.startswith("'") or not re.search(r"[,?]", text) else "'" + text.replace("'", "''") + "'"


def mapping(values: Mapping[str, Any], indent: str = "") -> Iterator[str]:
    """Yield the lines of a block mapping; keys without a value (None, an empty list) are left out."""
    for key, value in values.items():
        if value is None or value in ([], {}):
            continue
        yield from _entry(key, value, indent)


def _entry(key: str, value: Any, indent: str) -> Iterator[str]:  # noqa: ANN401 - any value of a tree file
    if isinstance(value, dict):
        yield f"{indent}{key}:"
        yield from mapping(value, indent + "  ")
    elif isinstance(value, list) and all(not isinstance(item, dict) for item in value):
        if all(re.fullmatch(r"[a-z0-9.-]+", scalar(item)) for item in value):
            yield f"{indent}{key}: [{', '.join(scalar(item) for item in value)}]"
        else:
            yield f"{indent}{key}:"
            yield from (f"{indent}  - {scalar(item)}" for item in value)
    elif isinstance(value, list):
        yield f"{indent}{key}:"
        for item in value:
            first, *rest = mapping(item)
            yield f"{indent}  - {first}"
            yield from (f"{indent}    {line}" for line in rest)
    elif isinstance(value, str) and "\n" in value:
        yield f"{indent}{key}: |"
        yield from (f"{indent}  {line}".rstrip() for line in value.rstrip("\n").split("\n"))
    else:
        yield f"{indent}{key}: {scalar(value)}"
