"""What a drawing of a tree shows: shapes, arrows, parts; and its DOT.

Shapes follow ISO 5807 (flow-chart symbols) in a look of our own, flattened so that text fits.
An arrow that would cross much of the drawing ends in a connector, the standard's circle, which
bears the number of the step where it goes on; large trees are drawn in parts that are joined by
connectors too. So a drawing stays narrow enough for a phone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import accumulate, pairwise
from typing import TYPE_CHECKING

import graphviz

from kb_tools.model.entities import Band
from kb_tools.model.units import shown_unit
from kb_tools.pages.layout import POINTS, Layout, layout
from kb_tools.pages.text_width import width, wrap

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from kb_tools.model.entities import Step, Tree
    from kb_tools.model.graph import Way
    from kb_tools.pages.words import Words

FONT, FONT_SIZE, LINE = "Helvetica", 14, 17
LABEL_SIZE, LABEL_LINE = 13, 15
LABEL_SPACE = 14.5
"""Graphviz is told a larger size, for fonts that run wide and for air between label and arrow."""
TEXT_ROOM, TEXT_LINES = 126.0, 6
LABEL_ROOM, LABEL_LINES = 84.0, 4
NARROWEST = 84
CONNECTOR = 30
"""Diameter of a connector."""
MOST_STEPS, MOST_RANKS = 30, 14
"""A tree of more steps, or of a longer way through, is drawn in parts."""
EXIT_ROOM, EXIT_NUMBER = 104.0, 26
"""Width of the answers in a list of exits, and of the column of numbers."""
WIDEST, TALLEST, FEWEST_STEPS = 650, 1400, 3
"""A drawing wider or taller than this, in points, is cut in two, but not below so few steps."""
PHONE = 288
"""What the narrowest phone shows of a drawing before it is moved: 320 pixels without the page's margins."""
FARTHEST = 2
"""An arrow over more ranks than this ends in a connector."""
MOST_ARRIVING = 3
"""Further arrows to one step end in connectors."""

_PADDING = {"check": 18, "measure": 18, "do": 11, "fix": 17, "escalate": 15, "done": 15, "link": 12}
"""Room left and right of the text, by kind of step."""
POINT = 12
"""Height of the point of a link's shape."""


@dataclass(frozen=True, slots=True)
class Exit:
    """A line of a list of exits: an answer, and the step where it goes on."""

    lines: tuple[str, ...]
    step: str
    number: int


@dataclass(frozen=True, slots=True)
class Shape:
    """A step, a connector to one that is drawn elsewhere, or a list of several such exits."""

    name: str
    """Its name in the DOT."""
    step: str
    """The step that it shows or leads to."""
    number: int
    kind: str
    """The kind of the step, `connector`, or `exits`."""
    lines: tuple[str, ...]
    width: int
    """In points; width and height are even, so that the middle is whole."""
    height: int
    exits: tuple[Exit, ...] = ()
    exposes: bool = False
    """Whether a hazard is laid open or worked live there."""
    told: str = ""
    """What it is called where its lines say too little; empty where they are enough."""


@dataclass(frozen=True, slots=True)
class Arrow:
    """The ways from one step to the next; parallel ones are one arrow."""

    tail: str
    head: str
    lines: tuple[str, ...]
    kind: str
    """`plain`, or `side` for ways of somebody who cannot tell or cannot do it, and for `not cured`."""
    odds: float | None = None
    """How likely it is taken, where that is known."""


@dataclass(slots=True)
class Drawing:
    """One drawing: a tree or a part of it."""

    name: str
    first: int
    """Number of the first step in it."""
    last: int
    shapes: list[Shape] = field(default_factory=list)
    arrows: list[Arrow] = field(default_factory=list)


@dataclass(frozen=True, slots=True, eq=False)
class _Edge:
    """All ways between two steps."""

    source: str
    target: str
    ways: tuple[Way, ...]


class Chart:
    """A tree prepared for drawing, whole or in parts: parts are ranges of step numbers."""

    def __init__(
        self,
        tree: Tree,
        ways: Mapping[str, list[Way]],
        numbers: Mapping[str, int],
        texts: Mapping[str, str],
        words: Words,
        odds: Mapping[str, Sequence[float]] | None = None,
    ) -> None:
        """Prepare a tree.

        Args:
            tree: The tree.
            ways: Step id -> its ways on, as the graph of the library has them.
            numbers: Step id -> its number, as `step_numbers` gives them.
            texts: Step id -> what its shape says, as plain text.
            words: The words of the library's language.
            odds: Step id -> the odds of its ways in their order; left out: arrows have none.

        """
        self._tree_id, self._ways, self._numbers, self._texts, self._odds = tree.id, ways, numbers, texts, odds
        self._words = words
        self._steps: dict[str, Step] = dict(tree.steps.items())
        self._order = list(numbers)
        self._edges = self._joined()
        self._depth = self._depths()
        self._crossing = self._crossings()

    def parts(self) -> list[tuple[int, int]]:
        """Return the parts, each as the first step's number and the number after the last."""
        total = len(self._order)
        ranks = 1 + max(self._depth.values(), default=0)
        count = max(math.ceil(total / MOST_STEPS), math.ceil(ranks / MOST_RANKS), 1)
        cuts = [1]
        for part in range(1, count):
            reach = max(1, total // count // 5)
            ideal = 1 + round(total * part / count)
            cuts.append(self._best_cut(max(cuts[-1] + 1, ideal - reach), min(total, ideal + reach), ideal))
        return list(pairwise([*cuts, total + 1]))

    def halves(self, first: int, end: int) -> tuple[tuple[int, int], tuple[int, int]]:
        """Return a part cut in two near its middle, where few ways are cut."""
        quarter = (end - first) // 4
        cut = self._best_cut(first + max(1, quarter), end - max(1, quarter), (first + end) // 2)
        return (first, cut), (cut, end)

    def _best_cut(self, low: int, high: int, ideal: int) -> int:
        """Return the number from `low` to `high`, near `ideal`, before which few ways are cut."""
        return min(range(low, high + 1), key=lambda cut: (self._crossing[cut] + abs(cut - ideal), cut))

    def drawing(self, first: int, end: int) -> Drawing:
        """Return the drawing of the steps numbered from `first` to before `end`."""
        inside = self._order[first - 1 : end - 1]
        is_whole = len(inside) == len(self._order)
        drawing = Drawing(self._tree_id if is_whole else f"{self._tree_id}-{first}", first, end - 1)
        for name in inside:
            drawing.shapes.append(_shape(name, self._steps[name], self._numbers[name], self._texts[name]))
        kept = self._kept(set(inside))
        leaving: dict[str, list[_Edge]] = {name: [] for name in inside}
        for edge in self._edges:
            if edge in kept:
                drawing.arrows.append(self._arrow(edge, f"s{self._numbers[edge.target]}"))
            elif edge.source in leaving:
                leaving[edge.source].append(edge)
        for name, edges in leaving.items():
            self._add_exits(name, edges, drawing)
        return drawing

    def _joined(self) -> list[_Edge]:
        """Return one edge for each pair of steps that ways join, in the order of numbers and ways."""
        result: list[_Edge] = []
        for name in self._order:
            joined: dict[str, list[Way]] = {}
            for way in self._ways.get(name, ()):
                if way.kind != "link" and way.named in self._numbers:
                    joined.setdefault(way.named, []).append(way)
            result += [_Edge(name, target, tuple(group)) for target, group in joined.items()]
        return result

    def _depths(self) -> dict[str, int]:
        """Return how many steps the longest way to each step has; ways against the order do not count."""
        depth = dict.fromkeys(self._order, 0)
        for edge in self._edges:
            if self._numbers[edge.source] < self._numbers[edge.target]:
                depth[edge.target] = max(depth[edge.target], depth[edge.source] + 1)
        return depth

    def _crossings(self) -> list[int]:
        """Return, for each number, how many edges a cut before it would cut."""
        steps = [0] * (len(self._order) + 2)
        for edge in self._edges:
            low, high = sorted((self._numbers[edge.source], self._numbers[edge.target]))
            steps[low + 1] += 1
            if high + 1 < len(steps):
                steps[high + 1] -= 1
        return list(accumulate(steps))

    def _kept(self, inside: set[str]) -> set[_Edge]:
        """Return the edges that are drawn in full: short ones, and few to each step."""
        arriving: dict[str, list[_Edge]] = {}
        for edge in self._edges:
            if edge.source in inside and edge.target in inside and 0 < self._span(edge) <= FARTHEST:
                arriving.setdefault(edge.target, []).append(edge)
        kept: set[_Edge] = set()
        for near in arriving.values():
            near.sort(key=lambda edge: (_is_side(edge.ways), self._span(edge)))
            kept.update(near[:MOST_ARRIVING])
        return kept

    def _span(self, edge: _Edge) -> int:
        return self._depth[edge.target] - self._depth[edge.source]

    def _arrow(self, edge: _Edge, head: str) -> Arrow:
        """Return an arrow for an edge, with the answers that take it."""
        lines = wrap(self._label(edge), LABEL_SIZE, LABEL_ROOM, LABEL_LINES)
        kind = "side" if _is_side(edge.ways) else "plain"
        return Arrow(f"s{self._numbers[edge.source]}", head, lines, kind, self._chance(edge))

    def _label(self, edge: _Edge) -> str:
        step, lone = self._steps[edge.source], len(edge.ways) == 1
        labels = dict.fromkeys(way_label(way, step, self._words) if lone else str(way.label) for way in edge.ways)
        return " / ".join(labels)

    def _add_exits(self, name: str, edges: list[_Edge], drawing: Drawing) -> None:
        """Add what stands for the edges of a step that are not drawn in full: a connector, or a list of exits."""
        if not edges:
            return
        source = self._numbers[name]
        if len(edges) == 1:
            number = self._numbers[edges[0].target]
            told = self._words.say("tree.connector", n=number)
            lines, size = (str(number),), CONNECTOR
            shape = Shape(f"c{source}", edges[0].target, number, "connector", lines, size, size, told=told)
            arrow = self._arrow(edges[0], shape.name)
        else:
            exits = tuple(
                Exit(
                    wrap(self._label(edge), LABEL_SIZE, EXIT_ROOM, LABEL_LINES), edge.target, self._numbers[edge.target]
                )
                for edge in edges
            )
            shape = _exits_shape(f"c{source}", name, exits)
            all_side = all(_is_side(edge.ways) for edge in edges)
            arrow = Arrow(f"s{source}", shape.name, (), "side" if all_side else "plain")
        drawing.shapes.append(shape)
        drawing.arrows.append(arrow)

    def _chance(self, edge: _Edge) -> float | None:
        """Return the odds of all ways of an edge together, where odds are known."""
        if not self._odds:
            return None
        chances = zip(self._ways[edge.source], self._odds[edge.source], strict=True)
        return math.fsum(chance for way, chance in chances if way in edge.ways)


def _is_side(ways: Iterable[Way]) -> bool:
    return all(way.kind in ("unsure", "cannot", "not_cured") for way in ways)


def _exits_shape(name: str, step: str, exits: tuple[Exit, ...]) -> Shape:
    """Return the list of exits of a step: one row for each, the answer left, the number right."""
    room = max(width(line, LABEL_SIZE) for exit_ in exits for line in exit_.lines)
    wide = math.ceil(room) + EXIT_NUMBER + 16
    high = sum(row_height(exit_) for exit_ in exits)
    return Shape(name, step, 0, "exits", (), wide + wide % 2, high + high % 2, exits)


def row_height(exit_: Exit) -> int:
    """Return the height of a row in a list of exits."""
    return len(exit_.lines) * LABEL_LINE + 11


def _shape(name: str, step: Step, number: int, text: str) -> Shape:
    """Return the shape of a step, with its text wrapped."""
    lines = wrap(f"{number} {text}", FONT_SIZE, TEXT_ROOM, TEXT_LINES)
    room = max((width(line, FONT_SIZE) for line in lines), default=0.0)
    wide = max(NARROWEST, math.ceil(room) + 2 * _PADDING.get(step.kind, 12))
    high = len(lines) * LINE + 18 + (POINT if step.kind == "link" else 0)
    at_risk = bool(step.exposes or step.works_live)
    return Shape(f"s{number}", name, number, step.kind, lines, wide + wide % 2, high + high % 2, exposes=at_risk)


def way_label(way: Way, step: Step, words: Words) -> str:
    """Return what stands at a way: the answer, with the readings of a band; nothing at a lone way."""
    if way.kind == "then":
        return words.say("readings.done") if step.cannot else ""
    if isinstance(way.origin, Band) and step.unit:
        return f"{way.label}: {readings(way.origin, step.unit, words)}"
    return str(way.label)


def readings(band: Band, unit: str, words: Words) -> str:
    """Return the readings of a band in words, as in `18 to under 22 V`."""
    sign = f" {shown_unit(unit)}".rstrip()
    if band.start is None:
        if band.below is None:
            return words.say("readings.any")
        return words.say("readings.below", below=f"{band.below.word}{sign}")
    if band.below is None:
        return words.say("readings.start", start=f"{band.start.word}{sign}")
    return words.say("readings.band", start=band.start.word, below=f"{band.below.word}{sign}")


def dot_of(drawing: Drawing) -> str:
    """Return a drawing as DOT: sizes of shapes and order of arrows are fixed, places are left to Graphviz."""
    graph = graphviz.Digraph(
        drawing.name,
        graph_attr={"rankdir": "TB", "nodesep": "0.18", "ranksep": "0.3", "splines": "true"},
        node_attr={"shape": "box", "fixedsize": "true", "fontname": FONT, "fontsize": f"{FONT_SIZE:g}"},
        edge_attr={"arrowhead": "none", "fontname": FONT, "fontsize": f"{LABEL_SPACE:g}"},
    )
    for shape in drawing.shapes:
        size = {"width": _inches(shape.width), "height": _inches(shape.height)}
        if shape.kind == "connector":
            size["shape"] = "circle"
        lines = shape.lines or tuple(f"{' '.join(row.lines)} {row.number}" for row in shape.exits)
        graph.node(shape.name, _label(lines), **size)
    for arrow in drawing.arrows:
        weight = {} if arrow.kind == "side" else {"weight": "3"}
        graph.edge(arrow.tail, arrow.head, _label(arrow.lines), **weight)
    return str(graph.source)


def _label(lines: tuple[str, ...]) -> str:
    return "\\n".join(graphviz.escape(line) for line in lines)


def _inches(points: float) -> str:
    return f"{points / POINTS:.4f}"


def laid_out(
    chart: Chart, dot_program: str = "", *, widest: int = WIDEST, tallest: int = TALLEST
) -> list[tuple[Drawing, Layout]]:
    """Return the drawings of a tree with their layouts; a part that comes out too large is cut in two.

    Args:
        chart: The tree.
        dot_program: Path of a system `dot`; empty for the embedded engine.
        widest: A drawing wider than this, in points, is too large.
        tallest: So is one that is taller than this.

    """
    done: list[tuple[Drawing, Layout]] = []
    waiting = chart.parts()[::-1]
    while waiting:
        first, end = waiting.pop()
        drawing = chart.drawing(first, end)
        places = layout(dot_of(drawing), dot_program)
        too_large = places.width > widest or places.height > tallest
        if too_large and end - first > FEWEST_STEPS:
            waiting.extend(reversed(chart.halves(first, end)))
        else:
            done.append((drawing, _opening_left(drawing, places)))
    return done


def _opening_left(drawing: Drawing, places: Layout) -> Layout:
    """Return the layout so that a phone, which shows the left of a wide drawing first, shows its first step."""
    first = drawing.shapes[0]
    centre = places.centres[first.name][0]
    is_hidden = centre + first.width // 2 > PHONE
    return places.mirrored() if is_hidden and 2 * centre > places.width else places
