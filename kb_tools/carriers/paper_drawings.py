"""Drawings of a tree in pieces that fit a page of the book, in black and white."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kb_tools.pages.diagram import dot_of
from kb_tools.pages.diagram_svg import MARGIN, svg_of
from kb_tools.pages.layout import layout

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from kb_tools.pages.diagram import Chart, Drawing
    from kb_tools.pages.layout import Layout
    from kb_tools.pages.words import Words

FONT = "Libertinus Serif"
"""The typesetter carries it; it runs narrower than what the drawings are measured with."""
WIDEST, TALLEST = 540, 740
"""Points. Such a drawing fits an A5 page at 0.64 of its size: text of 14 pt is printed at 9."""
_USUAL = 7
"""So many steps fit a page in most trees; the search for the most that fit begins there."""
_STYLE = f"""<style>
text {{ font-family: "{FONT}"; font-size: 14px; text-anchor: middle; fill: #000 }}
.ft-answer {{ font-size: 13px; stroke: #fff; stroke-width: 4px; stroke-linejoin: round; paint-order: stroke }}
.ft-way {{ fill: none; stroke: #000; stroke-width: 1.4 }}
.ft-way-side {{ stroke-dasharray: 5 4 }}
.ft-shape path, .ft-shape rect, .ft-shape circle, .ft-exits path {{ fill: #fff; stroke: #000; stroke-width: 1.4 }}
.ft-exit-label {{ font-size: 13px; text-anchor: start }}
.ft-exit-number {{ font-size: 13px }}
.ft-hazard-mark path {{ fill: #fff; stroke-width: 1.3; stroke-linejoin: round }}
.ft-hazard-mark .ft-bang {{ fill: none; stroke-width: 1.7 }}
</style>"""
_XML = '<svg xmlns="http://www.w3.org/2000/svg" '
_ODDS = re.compile(r' stroke-width="[0-9.]+"(?= marker-end)')


@dataclass(frozen=True, slots=True)
class Spot:
    """A place on a drawing that leads to a step; in the drawing's own points, from its upper left corner."""

    target: str
    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class PaperDrawing:
    """A drawing of a tree, or of a part of it."""

    svg: str
    alt: str
    caption: str
    """Which steps it shows, where it is not the whole tree."""
    width: int
    height: int
    spots: list[Spot]


def paper_drawings(chart: Chart, steps: int, target: Callable[[str], str], words: Words) -> Iterator[PaperDrawing]:
    """Yield the drawings of a tree, each with as many steps as a page has room for.

    Args:
        chart: The tree.
        steps: How many steps it has.
        target: Step -> the place in the book that its shape leads to.
        words: The words of the library's language.

    """
    for drawing, places in _pieces(chart, steps):
        alt, caption = _told(drawing.first, drawing.last, steps, words)
        head, _, body = _ODDS.sub("", svg_of(drawing, places, alt)).partition(">")
        yield PaperDrawing(
            f"{head.replace('<svg ', _XML, 1)}>{_STYLE}{body}",
            alt,
            caption,
            places.width + 2 * MARGIN,
            places.height + 2 * MARGIN,
            list(_spots(drawing, places, target)),
        )


def _told(first: int, last: int, steps: int, words: Words) -> tuple[str, str]:
    """Return the text alternative and the caption of a drawing of some steps."""
    if (first, last) == (1, steps):
        return words.say("paper.drawing"), ""
    if first == last:
        return words.say("paper.drawing_step", n=first), words.say("walk.step_line", n=first)
    alt = words.say("paper.drawing_part", first=first, last=last)
    return alt, words.say("tree.chart_part", first=first, last=last)


def _pieces(chart: Chart, steps: int) -> Iterator[tuple[Drawing, Layout]]:
    first = 1
    while first <= steps:
        drawing, places = _longest(chart, first, steps)
        yield drawing, places
        first = drawing.last + 1


def _longest(chart: Chart, first: int, steps: int) -> tuple[Drawing, Layout]:
    """Return the drawing from a step on with as many steps as fit; of one step alone even where it does not."""
    tried = [_drawn(chart, first, min(first + _USUAL, steps + 1))]
    while _fits(tried[-1]) and tried[-1][0].last < steps:
        tried.append(_drawn(chart, first, tried[-1][0].last + 2))
    if _fits(tried[-1]):
        return tried[-1]
    if len(tried) > 1:
        return tried[-2]
    while not _fits(tried[-1]) and tried[-1][0].last > first:
        tried.append(_drawn(chart, first, tried[-1][0].last))
    return tried[-1]


def _drawn(chart: Chart, first: int, end: int) -> tuple[Drawing, Layout]:
    drawing = chart.drawing(first, end)
    return drawing, layout(dot_of(drawing))


def _fits(drawn: tuple[Drawing, Layout]) -> bool:
    return drawn[1].width <= WIDEST and drawn[1].height <= TALLEST


def _spots(drawing: Drawing, places: Layout, target: Callable[[str], str]) -> Iterator[Spot]:
    """Yield where each shape leads."""
    for shape in drawing.shapes:
        if not shape.exits:
            x, y = places.centres[shape.name]
            left, top = x - shape.width / 2 + MARGIN, y - shape.height / 2 + MARGIN
            yield Spot(target(shape.step), left, top, shape.width, shape.height)
