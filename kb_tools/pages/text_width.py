"""How wide a text is drawn, near enough to wrap it, without a font at hand.

Widths are the advance widths of Helvetica in thousandths of the size, from memory of its metrics
file; fonts that stand in for it are at most about a tenth wider, which `SLACK` allows for.
"""

from __future__ import annotations

from functools import cache

SLACK = 1.08
"""Room for fonts that run wider than the one that was measured."""

_WIDTHS: dict[str, int] = {}
for _width, _chars in (
    (191, "'"),
    (222, "ijl"),
    (278, " !,./:;I[\\]ft|"),
    (333, '()-`r"'),
    (389, "*"),
    (500, "cksvxyzJ"),
    (556, "abdeghnopqu0123456789?#$_L"),
    (584, "+<=>~"),
    (611, "FTZ"),
    (667, "&ABEKPSVXY"),
    (722, "CDHNRUw"),
    (778, "GOQ"),
    (833, "Mm"),
    (889, "%"),
    (944, "W"),
    (1000, "@…—"),
):
    _WIDTHS |= dict.fromkeys(_chars, _width)
_OTHER, _WIDE = 600, 1000
_FIRST_WIDE = 0x1100
"""From here on scripts are drawn in full squares, near enough."""


@cache
def width(text: str, size: float) -> float:
    """Return the width of `text` in a font of `size`, in the unit of `size`."""
    thousandths = sum(_WIDTHS.get(char, _WIDE if ord(char) >= _FIRST_WIDE else _OTHER) for char in text)
    return thousandths * size * SLACK / 1000


def wrap(text: str, size: float, room: float, lines: int) -> tuple[str, ...]:
    """Break `text` into at most `lines` lines no wider than `room`; what is left over is cut with `…`.

    Args:
        text: One line of plain text.
        size: Size of the font.
        room: Greatest width of a line, in the unit of `size`; a longer word is broken.
        lines: Greatest number of lines.

    """
    done: list[str] = []
    line = ""
    for word in _pieces(text, size, room):
        longer = f"{line} {word}" if line else word
        if not line or width(longer, size) <= room:
            line = longer
        else:
            done.append(line)
            line = word
    if line:
        done.append(line)
    if len(done) <= lines:
        return tuple(done)
    last = done[lines - 1]
    while last and width(f"{last}…", size) > room:
        last = last[:-1]
    return (*done[: lines - 1], f"{last.rstrip(' ,.;:')}…")


def _pieces(text: str, size: float, room: float) -> list[str]:
    """Return the words of `text`; a word that is too wide is cut into pieces that fit."""
    pieces = []
    for word in text.split():
        rest = word
        while width(rest, size) > room:
            cut = max(1, next(n for n in range(1, len(rest) + 1) if width(rest[:n], size) > room) - 1)
            pieces.append(rest[:cut])
            rest = rest[cut:]
        pieces.append(rest)
    return pieces
