"""The addresses of links and pictures in a Markdown text, found by its marks without rendering it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING
from urllib.parse import unquote

if TYPE_CHECKING:
    from collections.abc import Iterator

ANGLED = re.compile(r"<([a-z][a-z0-9+.&#;-]*:[^\s<>]*)>", re.IGNORECASE)
_DEFINITION = re.compile(r"\[([^\[\]]+)\]:(?=\s*(<[^<>]*>|\S+))")
_REFERENCE = re.compile(r"!\[([^\[\]]*)\](?:\s?\[([^\[\]]*)\])?")
_BRACKET = re.compile(r"\\.|!?\[|\]\(?", re.DOTALL)
_WHOLE = re.compile(r"\s*(?:<([^<>]*)>|((?:[^\s()<>]|\([^\s()<>]*\))*))")
_RELATIVE = re.compile(r"(?![a-z][a-z0-9+.-]*:|[/\\#?]|$)", re.IGNORECASE)

LONGEST = 300
"""Characters of an address that are looked at: how it starts says where it leads."""


def links(text: str) -> Iterator[str]:
    """Yield the address of every link in a Markdown text, perhaps with something after it."""
    for match in ANGLED.finditer(text):
        yield match[1]
    for target, is_picture in _inline(text):
        if not is_picture:
            yield target
    for match in _DEFINITION.finditer(text):
        yield match[2]


def pictures(text: str) -> Iterator[str]:
    """Yield the address of every picture in a Markdown text, perhaps with something after it."""
    if "![" not in text:
        return
    for target, is_picture in _inline(text):
        if is_picture:
            yield target
    labels = {_label(match[2] or match[1]) for match in _REFERENCE.finditer(text)}
    for match in _DEFINITION.finditer(text):
        if _label(match[1]) in labels:
            yield match[2]


def _label(text: str) -> str:
    return " ".join(text.split()).casefold()


def _inline(text: str) -> Iterator[tuple[str, bool]]:
    """Yield the start of the address in each `[...](address)`, and whether it is a picture's."""
    opened: list[bool] = []
    for match in _BRACKET.finditer(text):
        if match[0].endswith("["):
            opened.append(match[0] == "![")
        elif match[0].startswith("]"):
            is_picture = opened.pop() if opened else False
            if match[0] == "](":
                yield text[match.end() : match.end() + LONGEST], is_picture


def relative(addresses: Iterator[str]) -> Iterator[str]:
    """Yield those of `addresses` that name a file below the site's root: its path, and nothing after it."""
    for address in addresses:
        whole = _WHOLE.match(address)
        path = unquote((whole[1] or whole[2] or "") if whole else "")
        if _RELATIVE.match(path):
            yield re.split("[?#]", path, maxsplit=1)[0]
