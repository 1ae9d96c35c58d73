"""Walk codes: a walk packed into letters that can be read out over the phone.

A walk is a row of digits, one for each step from the start of its first tree: 0 says "stop here",
k takes the k-th of the step's r choices. They make one number in the mixed radix r + 1, first digit
least. Below it stand 20 bits of the walked trees' shape and 20 bits that name the first tree; the
whole is written in Crockford's base 32 with its check symbol, in groups of four. (D. Crockford,
"Base 32", from memory: 0-9 and A-Z without I, L, O, U; I and L are read as 1, O as 0; the check
symbol is the value modulo 37 in the same alphabet, lengthened by `*~$=U`.)

The twin of the browser's `code.js`.
"""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING, Final, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from kb_tools.model.compiled import CompiledStep

ALPHABET: Final = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
CHECK_SYMBOLS: Final = ALPHABET + "*~$=U"
LONGEST: Final = 120
"""Symbols of the longest code that is read."""
_LONGEST_TYPED = 4 * LONGEST
_BITS = 20
_MASK = (1 << _BITS) - 1
_LEAST = 2 * _BITS // 5
_GROUP = 4
_BETWEEN = frozenset(" \t\r\n\u00a0-\u2010\u2011\u2012\u2013\u2014\u2015")
_FNV_START, _FNV_PRIME = 0x811C9DC5, 0x01000193


class WalkProblem(Exception):  # noqa: N818 - a person's mistake
    """Something that a walk does not take; nothing was changed."""

    def __init__(self, code: str, message: str) -> None:
        """Keep the code that callers tell problems apart by, and what is wrong in words."""
        super().__init__(message)
        self.code = code
        self.message = message


class Parts(NamedTuple):
    """What stands in a code."""

    number: int
    """The digits, packed."""
    shape: int
    """20 bits of the walked trees' shape."""
    tag: int
    """20 bits that name the first tree."""


def _readable() -> dict[str, int]:
    values = {symbol: value for value, symbol in enumerate(CHECK_SYMBOLS)}
    values |= {symbol.lower(): value for symbol, value in values.items()}
    return values | dict.fromkeys("iIlL", 1) | dict.fromkeys("oO", 0)


_VALUES = _readable()


def pack(digits: Sequence[tuple[int, int]]) -> int:
    """Return pairs of a digit and its radix as one number, the first digit least."""
    number = 0
    for digit, radix in reversed(digits):
        number = digit + radix * number
    return number


def write(parts: Parts) -> str:
    """Return the code of `parts`."""
    value = (parts.number << _BITS | parts.shape) << _BITS | parts.tag
    symbols = CHECK_SYMBOLS[value % len(CHECK_SYMBOLS)]
    while value or len(symbols) <= _LEAST:
        symbols = ALPHABET[value & 31] + symbols
        value >>= 5
    return "-".join(symbols[at : at + _GROUP] for at in range(0, len(symbols), _GROUP))


def read(text: str) -> Parts:
    """Return what stands in a code, however it was typed.

    Raises:
        WalkProblem: `too-long`, or `mistyped` when a symbol is foreign or the check symbol does not fit.

    """
    if len(text) > _LONGEST_TYPED:
        raise _too_long()
    symbols = [char for char in text if char not in _BETWEEN]
    if len(symbols) > LONGEST:
        raise _too_long()
    values = [_VALUES.get(symbol, -1) for symbol in symbols]
    if len(values) <= 1 or -1 in values or max(values[:-1]) >= len(ALPHABET):
        raise _mistyped()
    value = 0
    for digit in values[:-1]:
        value = value << 5 | digit
    if value % len(CHECK_SYMBOLS) != values[-1]:
        raise _mistyped()
    return Parts(value >> 2 * _BITS, value >> _BITS & _MASK, value & _MASK)


def _too_long() -> WalkProblem:
    return WalkProblem("too-long", "This is too long for a walk code.")


def _mistyped() -> WalkProblem:
    return WalkProblem("mistyped", "This code has a typing mistake.")


def fold(fingerprints: Iterable[int]) -> int:
    """Return 20 bits of the fingerprints of the walked trees, in the order of entering them.

    FNV-1a over their bytes, the highest first, folded to 20 bits by exclusive or (G. Fowler,
    L. C. Noll, K.-P. Vo, D. Eastlake, "The FNV Non-Cryptographic Hash Algorithm", sections 2 and 3).
    """
    value = _FNV_START
    for fingerprint in fingerprints:
        for byte in fingerprint.to_bytes(4, "big"):
            value = (value ^ byte) * _FNV_PRIME & 0xFFFFFFFF
    return (value ^ value >> _BITS) & _MASK


def tag_of(tree_id: str) -> int:
    """Return the 20 bits that name a tree in a code."""
    return int.from_bytes(hashlib.sha256(tree_id.encode()).digest()[:3], "big") >> 4


def fingerprint_of(
    tree_id: str, start: str, steps: Mapping[str, CompiledStep], first: Callable[[str, str], tuple[str, str]]
) -> int:
    """Return 32 bits of a tree's shape: its steps, their answers and where these lead.

    Wording, limits of bands, shares and the order of the steps do not matter; nor do ids that
    changed: each counts as the one that it was first.

    Args:
        tree_id: The tree.
        start: Its first step.
        steps: Its steps by id.
        first: What gives the first ids of a tree and step, as `Moves.first`.

    """

    def named(target: str | None) -> str | None:
        tree, slash, step = (target or "").partition("/")
        return "/".join(first(tree, step)) if slash else first(tree_id, tree)[1] if tree else None

    shape = [
        [
            named(name),
            step["kind"],
            bool(step.get("proof")),
            [[way["label"], named(way.get("to"))] for way in step["ways"]],
        ]
        for name, step in sorted(steps.items(), key=lambda item: named(item[0]) or "")
    ]
    text = json.dumps([first(tree_id, "")[0], named(start), shape], ensure_ascii=False, separators=(",", ":"))
    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:4], "big")
