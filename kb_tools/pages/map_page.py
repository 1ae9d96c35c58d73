"""What the page of an equipment map shows: the drawing, the parts and who looks at them, the points."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kb_tools.model.map_table import table_from_map
from kb_tools.numbers.best_order import groups
from kb_tools.numbers.evidence import problem_of
from kb_tools.numbers.testability import testability
from kb_tools.pages.diagram import FONT_SIZE, LABEL_ROOM, LABEL_SIZE, LINE, TEXT_ROOM, Arrow, Drawing, Shape, dot_of
from kb_tools.pages.diagram_svg import svg_of
from kb_tools.pages.layout import layout
from kb_tools.pages.numbering import step_numbers
from kb_tools.pages.table_page import order_words, page_order, sight_words
from kb_tools.pages.text_width import width, wrap
from kb_tools.pages.words import words_of

if TYPE_CHECKING:
    from markupsafe import Markup

    from kb_tools.model.entities import EquipmentMap, Library, Tree
    from kb_tools.pages.words import Words

_PADDING, _NARROWEST, _LINES = 12, 84, 3


@dataclass(frozen=True, slots=True)
class Look:
    """The steps of a tree that look at a part."""

    tree: str
    steps: list[tuple[int, str]]
    """Number and address of each."""


@dataclass(frozen=True, slots=True)
class PartView:
    """A part on the map."""

    id: str
    name: str
    comes_from: list[str]
    """What reaches it, in words: `power from the fuse`."""
    looks: list[Look]
    """Empty for a blind spot."""


@dataclass(frozen=True, slots=True)
class PointView:
    """A place where a test can be made."""

    check: str
    part: str
    carries: str
    sight: list[str]
    """Where this point fails: what the other points can tell, in sentences."""


@dataclass(frozen=True, slots=True)
class MapPage:
    """What the page of a map shows."""

    id: str
    title: str
    drawing: Markup
    parts: list[PartView]
    points: list[PointView]
    trees: list[tuple[str, str]]
    """Title and address of each tree that uses the map."""

    @property
    def blind(self) -> list[PartView]:
        """The parts that no tree ever looks at."""
        return [part for part in self.parts if not part.looks]


def map_page(library: Library, map_id: str, trees: list[Tree], dot_program: str = "") -> MapPage:
    """Return what the page of an equipment map shows.

    Args:
        library: A sound library.
        map_id: Which map.
        trees: The trees that have pages.
        dot_program: Path of a system `dot`; empty for the embedded engine.

    """
    shown, words = library.maps[map_id], words_of(library)
    using = [tree for tree in trees if tree.map == map_id]
    looks: dict[str, list[Look]] = defaultdict(list)
    for tree in using:
        for part, steps in looked_at(tree).items():
            looks[part].append(Look(tree.title, [(n, f"../trees/{tree.id}.html#{name}") for n, name in steps]))
    arrives: dict[str, list[str]] = defaultdict(list)
    for flow in shown.flows:
        arrives[flow.to].append(words.say("map.flow", what=flow.carries, part=_name(shown, flow.start)))
    return MapPage(
        map_id,
        shown.title,
        map_drawing(shown, words, dot_program),
        [PartView(name, part.name, arrives[name], looks[name]) for name, part in shown.parts.items()],
        [
            PointView(point.check, _name(shown, point.at), point.carries, _sight(library, shown, str(point.id)))
            for point in shown.points
        ],
        [(tree.title, f"../trees/{tree.id}.html") for tree in using],
    )


def _sight(library: Library, shown: EquipmentMap, point: str) -> list[str]:
    """Say what may be broken where a point fails, what the other points can tell, and in how many minutes.

    The table is the one that `kb draft` derives: any part at or before the point may be broken.
    """
    words = words_of(library)
    problem = problem_of(table_from_map(library, shown.id, point), library)
    names = {part: _name(shown, part) for part in problem.causes}
    if len(problem.causes) == 1:
        return [words.say("map.only", part=names[problem.causes[0]])]
    if not problem.checks:
        return [words.say("map.no_check", parts=words.listed(names.values(), "or"))]
    result = page_order(problem)
    told = sight_words(testability(problem), problem, result.groups if result else groups(problem), names, words)
    parts = words.say("map.some", parts=", ".join(names.values()))
    return [parts, *told, *order_words(result, problem, "", words)]


def looked_at(tree: Tree) -> dict[str, list[tuple[int, str]]]:
    """Return, for each part that steps of a tree look at, their numbers and ids, in order."""
    numbers = step_numbers(tree)
    found: dict[str, list[tuple[int, str]]] = defaultdict(list)
    for name, step in tree.steps.items():
        for part in step.looks_at:
            found[part].append((numbers.get(name, 0), name))
    return {part: sorted(steps) for part, steps in found.items()}


def _name(shown: EquipmentMap, part: str) -> str:
    found = shown.parts.get(part)  # type: ignore[call-overload]
    return str(found.name if found else part)


def map_drawing(
    shown: EquipmentMap, words: Words, dot_program: str = "", tree: Tree | None = None, root: str = ""
) -> Markup:
    """Return the drawing of a map: parts as boxes, flows as arrows that say what they carry.

    Args:
        shown: The map.
        words: The words of the library's language.
        dot_program: Path of a system `dot`; empty for the embedded engine.
        tree: A tree whose parts are marked: those it looks at carry the numbers of the steps.
        root: Address of the map's page for the links of the parts; empty on that page itself.

    """
    marked = looked_at(tree) if tree else {}
    drawing = Drawing(shown.id, 1, len(shown.parts))
    names: dict[str, str] = {}
    for number, (part, entity) in enumerate(shown.parts.items()):
        names[part] = f"p{number}"
        steps = [str(number) for number, _ in marked.get(part, [])]
        steps_told = words.form("map.shape_steps", len(steps)).format(steps=", ".join(steps))
        told = wrap(steps_told, FONT_SIZE, TEXT_ROOM, 2) if steps else ()
        lines = (*wrap(entity.name, FONT_SIZE, TEXT_ROOM, _LINES), *told)
        wide = max(_NARROWEST, *(round(width(line, FONT_SIZE)) + 2 * _PADDING for line in lines))
        drawing.shapes.append(
            Shape(
                names[part],
                f"part-{part}",
                number + 1,
                "part-looked" if steps else "part",
                lines,
                wide + wide % 2,
                LINE * len(lines) + 18,
            )
        )
    # Flows between the same two parts are one arrow that names all that it carries.
    carried: dict[tuple[str, str], list[str]] = defaultdict(list)
    for flow in shown.flows:
        if flow.start in names and flow.to in names:
            carried[names[flow.start], names[flow.to]].append(str(flow.carries))
    for (tail, head), carries in carried.items():
        kind = carries[0] if len(carries) == 1 else "plain"
        drawing.arrows.append(Arrow(tail, head, tuple(wrap(", ".join(carries), LABEL_SIZE, LABEL_ROOM, 2)), kind))
    title = words.say("map.drawing", title=shown.title)
    return svg_of(drawing, layout(dot_of(drawing), dot_program), title, page=root, tip="ft-tip-map")
