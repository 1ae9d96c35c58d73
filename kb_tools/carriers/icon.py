"""The app's icon as PNG, drawn by arithmetic: a branching path that ends in a tick, our own drawing."""

from __future__ import annotations

import math
import struct
import zlib

INK = (16, 42, 67)
PAPER = (255, 255, 255)
MARK = (64, 214, 164)
_Line = tuple[int, int, int, int, tuple[int, int, int]]
_LINES: tuple[_Line, ...] = (
    # from x, y to x, y, colour; in a square from 0 to 100
    (50, 14, 50, 34, PAPER),
    (50, 34, 26, 52, PAPER),
    (50, 34, 74, 52, PAPER),
    (26, 52, 26, 66, PAPER),
    (56, 74, 68, 86, MARK),
    (68, 86, 88, 60, MARK),
)
_HALF_WIDTH = 4.5


def png(size: int) -> bytes:
    """Return the icon as a PNG of `size` by `size` pixels; the same bytes everywhere.

    The drawing keeps within the middle 80 %, so that a device may cut it to its own shape.
    """
    pixels = bytearray(bytes(INK) * (size * size))
    for line in _LINES:
        _draw(pixels, size, line)
    rows = b"".join(b"\0" + pixels[row * size * 3 : (row + 1) * size * 3] for row in range(size))
    head = struct.pack(">IIBBBBB", size, size, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + _chunk(b"IHDR", head) + _chunk(b"IDAT", zlib.compress(rows, 9)) + _chunk(b"IEND", b"")


def _chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def _draw(pixels: bytearray, size: int, line: _Line) -> None:
    """Draw one line with round ends; edges are blended over one pixel's width."""
    x0, y0, x1, y1, ink = line
    # Shrink towards the middle: the outer tenth on each side may be cut away.
    start, end = _place(x0, y0, size), _place(x1, y1, size)
    half = _HALF_WIDTH * 0.8 * size / 100
    columns = range(*_reach(start[0], end[0], half, size))
    for row in range(*_reach(start[1], end[1], half, size)):
        for column in columns:
            share = min(1.0, half - _distance(column + 0.5, row + 0.5, start, end) + 0.5)
            if share > 0:
                at = 3 * (row * size + column)
                old = pixels[at : at + 3]
                pixels[at : at + 3] = bytes(
                    round(new * share + was * (1 - share)) for new, was in zip(ink, old, strict=True)
                )


def _place(x: float, y: float, size: int) -> tuple[float, float]:
    """Return where a point of the drawing lies, in pixels."""
    return (10 + 0.8 * x) * size / 100, (10 + 0.8 * y) * size / 100


def _reach(a: float, b: float, half: float, size: int) -> tuple[int, int]:
    """Return first and last pixel (excluded) that a line may touch in one direction."""
    return max(0, math.floor(min(a, b) - half - 1)), min(size, math.ceil(max(a, b) + half + 1))


def _distance(x: float, y: float, start: tuple[float, float], end: tuple[float, float]) -> float:
    """Return how far a point is from a line between two points."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    along = ((x - start[0]) * dx + (y - start[1]) * dy) / (dx * dx + dy * dy)
    along = min(1.0, max(0.0, along))
    return math.hypot(x - start[0] - along * dx, y - start[1] - along * dy)
