"""A drawing and its layout to inline SVG: classes instead of colours, a link on every step."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

from markupsafe import Markup

from kb_tools.pages.diagram import EXIT_NUMBER, LABEL_LINE, LINE, POINT, Shape, row_height

if TYPE_CHECKING:
    from kb_tools.pages.diagram import Arrow, Drawing
    from kb_tools.pages.layout import Layout

MARGIN = 4
FULL_SIZE = 656
"""A drawing up to this width keeps its size: one screen of 360 px and one more to the side."""
SMALLEST = 0.79
"""Wider ones shrink, but never below this: text of 14 px stays above 11 px."""
_SLANT = 12
_TIP = (
    '<defs><marker id="{}" viewBox="0 0 10 10" refX="9.5" refY="5" markerWidth="9" markerHeight="9" '
    'markerUnits="userSpaceOnUse" orient="auto"><path d="M0 0L10 5L0 10z"/></marker></defs>'
)
_CORNER = 21


def svg_of(drawing: Drawing, places: Layout, title: str, *, page: str = "", tip: str = "") -> Markup:
    """Return a drawing as an SVG element.

    Args:
        drawing: What it shows.
        places: Where Graphviz put it.
        title: The text alternative; the steps that follow on the page are the full one.
        page: Address of the page that the shapes lead to; left out: the page that shows the drawing.
        tip: Id of the arrows' tips, unique on the page; left out: made from the first step's number.

    """
    wide, high = places.width + 2 * MARGIN, places.height + 2 * MARGIN
    scale = min(1.0, max(SMALLEST, FULL_SIZE / wide))
    size = f'width="{round(wide * scale)}" height="{round(high * scale)}" viewBox="{-MARGIN} {-MARGIN} {wide} {high}"'
    marker = tip or f"ft-tip-{drawing.first}"
    parts = [
        f'<svg class="ft-drawing" role="group" aria-label="{escape(title)}" {size}>',
        _TIP.format(marker),
    ]
    parts += [_arrow(arrow, places, marker) for arrow in drawing.arrows]
    parts += [_shape(shape, places, page) for shape in drawing.shapes]
    parts.append("</svg>")
    return Markup("".join(parts))  # noqa: S704 - every text in it is escaped above


def _arrow(arrow: Arrow, places: Layout, marker: str) -> str:
    points = places.curves.get((arrow.tail, arrow.head))
    if not points:
        return ""
    (x, y), *rest = points
    curve = " ".join([f"{at} {down}" for at, down in rest])
    odds = "" if arrow.odds is None else f' stroke-width="{1.2 + 3.2 * arrow.odds:.2f}"'
    line = f'<path class="ft-way ft-way-{arrow.kind}"{odds} marker-end="url(#{marker})" d="M{x} {y}C{curve}"/>'
    at = places.labels.get((arrow.tail, arrow.head))
    return line + (_text(arrow.lines, at[0], at[1], "ft-answer", LABEL_LINE) if at and arrow.lines else "")


def _text(lines: tuple[str, ...], x: int, y: int, name: str, line: int = LINE) -> str:
    """Return lines of text centred on a point."""
    top = y - (len(lines) - 1) * line // 2 + 5
    spans = [f'<tspan x="{x}" y="{top + line * number}">{escape(text)}</tspan>' for number, text in enumerate(lines)]
    return f'<text class="{name}">{"".join(spans)}</text>'


def _shape(shape: Shape, places: Layout, page: str) -> str:
    x, y = places.centres[shape.name]
    if shape.exits:
        return _exits(shape, x - shape.width // 2, y - shape.height // 2, page)
    left, top = x - shape.width // 2, y - shape.height // 2
    outline = _OUTLINES.get(shape.kind, _process)(left, top, shape.width, shape.height)
    name = f"ft-shape ft-{shape.kind}"
    label = f' aria-label="{escape(shape.told)}"' if shape.told else ""
    middle = y - (POINT // 2 if shape.kind == "link" else 0)
    mark = _hazard_mark(left, top) if shape.exposes else ""
    text = _text(shape.lines, x, middle, "ft-label")
    return f'<a class="{name}" href="{escape(page)}#{escape(shape.step)}"{label}>{outline}{mark}{text}</a>'


def _exits(shape: Shape, x: int, y: int, page: str) -> str:
    """A list of exits: answers at the left, each with a connector at the right."""
    parts = [f'<g class="ft-exits"><path d="M{x} {y}h{shape.width}v{shape.height}h{-shape.width}z"/>']
    for row in shape.exits:
        high = row_height(row)
        top = y + high // 2 - (len(row.lines) - 1) * LABEL_LINE // 2 + 4
        spans = "".join(
            f'<tspan x="{x + 8}" y="{top + LABEL_LINE * number}">{escape(text)}</tspan>'
            for number, text in enumerate(row.lines)
        )
        right = x + shape.width - EXIT_NUMBER // 2 - 3
        parts.append(
            f'<a class="ft-shape ft-exit" href="{escape(page)}#{escape(row.step)}">'
            f'<text class="ft-exit-label">{spans}</text>'
            f'<circle cx="{right}" cy="{y + high // 2}" r="{EXIT_NUMBER // 2 - 1}"/>'
            f'<text class="ft-exit-number" x="{right}" y="{y + high // 2 + 4}">{row.number}</text></a>'
        )
        y += high
    return "".join([*parts, "</g>"])


def _decision(x: int, y: int, w: int, h: int) -> str:
    """A diamond flattened until text fits: pointed at the left and the right."""
    c, half = _SLANT, h // 2
    return f'<path d="M{x + c} {y}h{w - 2 * c}l{c} {half}l{-c} {half}h{2 * c - w}l{-c} {-half}z"/>'


def _data(x: int, y: int, w: int, h: int) -> str:
    """The parallelogram of input: a reading is taken."""
    c = _SLANT
    return f'<path d="M{x + c} {y}h{w - c}l{-c} {h}h{c - w}z"/>'


def _process(x: int, y: int, w: int, h: int) -> str:
    return f'<path d="M{x} {y}h{w}v{h}h{-w}z"/>'


def _predefined(x: int, y: int, w: int, h: int) -> str:
    """The rectangle with doubled sides: a procedure of its own."""
    return f'<path d="M{x} {y}h{w}v{h}h{-w}zm7 0v{h}m{w - 14} 0v{-h}"/>'


def _terminator(x: int, y: int, w: int, h: int) -> str:
    return f'<rect x="{x}" y="{y}" width="{w}" height="{h}" rx="{min(h // 2, _CORNER)}"/>'


def _handed_over(x: int, y: int, w: int, h: int) -> str:
    """A terminator with a second outline: the case goes on with somebody else."""
    return _terminator(x, y, w, h) + _terminator(x + 4, y + 4, w - 8, h - 8)


def _off_page(x: int, y: int, w: int, h: int) -> str:
    return f'<path d="M{x} {y}h{w}v{h - POINT}l{-(w // 2)} {POINT}l{-(w // 2)} {-POINT}z"/>'


def _connector(x: int, y: int, w: int, h: int) -> str:
    return f'<circle cx="{x + w // 2}" cy="{y + h // 2}" r="{w // 2}"/>'


_OUTLINES = {
    "check": _decision,
    "measure": _data,
    "do": _process,
    "fix": _predefined,
    "escalate": _handed_over,
    "done": _terminator,
    "link": _off_page,
    "connector": _connector,
}


def _hazard_mark(x: int, y: int) -> str:
    """A small warning triangle at the upper left corner."""
    return (
        f'<g class="ft-hazard-mark"><path d="M{x + 2} {y + 9}l9 -16l9 16z"/>'
        f'<path class="ft-bang" d="M{x + 11} {y - 2}v5.5m0 2v1.6"/></g>'
    )
