"""Draws trees ahead of their pages: Graphviz works in a thread of its own while pages are filled."""

from __future__ import annotations

import sys
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TYPE_CHECKING

from kb_tools.pages.diagram import laid_out

if TYPE_CHECKING:
    from collections.abc import Mapping

    from kb_tools.pages.diagram import Chart, Drawing
    from kb_tools.pages.layout import Layout

SWITCH = 0.0005
"""Seconds after which a thread that waits gets the interpreter, while trees are drawn.

A drawing calls the engine some fifteen times and waits for its turn after each; with Python's five milliseconds it
would hardly come on beside threads that calculate.
"""


class Drawer:
    """Lays out trees in the order given; one thread, since there is one engine."""

    def __init__(self, charts: Mapping[str, Chart], dot_program: str = "") -> None:
        """Begin to draw.

        Args:
            charts: Tree id -> what is to be drawn.
            dot_program: Path of a system `dot`; empty for the embedded engine.

        """
        self._charts, self._dot = charts, dot_program
        self._usual = sys.getswitchinterval()
        sys.setswitchinterval(min(SWITCH, self._usual))
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="drawing")
        self._ahead: dict[str, Future[list[tuple[Drawing, Layout]]]] = {
            name: self._pool.submit(laid_out, chart, dot_program) for name, chart in charts.items()
        }

    def drawn(self, tree_id: str) -> list[tuple[Drawing, Layout]]:
        """Return the drawings of a tree, when they are there; raises what drawing it raised.

        They are handed out and not kept: a thousand trees would fill the memory.
        """
        ahead = self._ahead.pop(tree_id, None) or self._pool.submit(laid_out, self._charts[tree_id], self._dot)
        return ahead.result()

    def stop(self) -> None:
        """Draw no more."""
        sys.setswitchinterval(self._usual)
        self._pool.shutdown(wait=False, cancel_futures=True)
