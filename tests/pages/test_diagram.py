"""Drawings: what they show, that they stay narrow, and that equal trees give equal bytes."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from kb_tools.findings import BuildError
from kb_tools.model.build import load
from kb_tools.model.graph import build_graph
from kb_tools.pages.diagram import PHONE, WIDEST, Chart, dot_of, laid_out, readings
from kb_tools.pages.diagram_svg import MARGIN, svg_of
from kb_tools.pages.layout import layout
from kb_tools.pages.numbering import step_numbers
from kb_tools.pages.tree_page import chart_of
from kb_tools.pages.words import words_in
from making import answer, step, tree, word
from random_trees import random_trees, read_library, seeded

if TYPE_CHECKING:
    from collections.abc import Callable

    from kb_tools.model.entities import Library, Tree

SMALL = Path(__file__).parent.parent / "data" / "small"
DEMO = Path(__file__).parent.parent.parent


def svgs(library: Library, tree_id: str) -> list[str]:
    """Return the drawings of a tree as SVG."""
    chart = chart_of(library, build_graph(library), tree_id)
    return [svg_of(drawing, places, "Flow chart") for drawing, places in laid_out(chart)]


def chart(made: Tree) -> Chart:
    """Return a tree that stands for itself, prepared for drawing."""
    library_graph = build_graph(_alone(made))
    ways: dict[str, list] = {name: library_graph.nodes[f"{made.id}/{name}"].ways for name in made.steps}  # type: ignore[type-arg]
    return Chart(
        made, ways, step_numbers(made), {name: str(one.text) for name, one in made.steps.items()}, words_in("en")
    )


def _alone(made: Tree) -> Library:
    from_making = load(SMALL)
    from_making.trees = {made.id: made}
    return from_making


def test_dot_and_svg_are_as_accepted(gold: Callable[[str, str], None]) -> None:
    """DOT and SVG of a tree with every kind of step are those that somebody has looked at."""
    library = load(SMALL)
    graph = build_graph(library)
    for name in ("seat-stuck", "buttons-dead"):
        made = chart_of(library, graph, name)
        gold(f"diagram/{name}.dot", "\n".join(dot_of(made.drawing(*part)) for part in made.parts()))
        gold(f"diagram/{name}.svg", "\n".join(svgs(library, name)).replace("><", ">\n<") + "\n")


def test_equal_trees_give_equal_bytes() -> None:
    """Drawn twice, read anew in between, a tree gives the same bytes, and none tells of the engine."""
    first, second = (svgs(load(SMALL), "seat-stuck") for _ in range(2))
    assert first == second
    assert "raphviz" not in "".join(first)
    assert "<!--" not in "".join(first)


@pytest.mark.parametrize("seed", range(4))
def test_every_step_and_every_way_is_drawn(seed: int, tmp_path: Path) -> None:
    """In random trees each step is a shape once, and each way an arrow, a connector or an exit."""
    library = read_library(tmp_path, random_trees(seeded(seed), 12, most_steps=40))
    graph = build_graph(library)
    for tree_id, one in library.trees.items():
        made = chart_of(library, graph, tree_id)
        drawn = laid_out(made)
        numbers = step_numbers(one)
        shapes = [shape for drawing, _ in drawn for shape in drawing.shapes]
        assert sorted(shape.number for shape in shapes if shape.kind not in ("connector", "exits")) == sorted(
            numbers.values()
        )
        led = set()
        for drawing, places in drawn:
            by_name = {shape.name: shape for shape in drawing.shapes}
            for arrow in drawing.arrows:
                assert places.curves[arrow.tail, arrow.head]
                head, tail = by_name[arrow.head], by_name[arrow.tail].number
                led |= {(tail, exit_.number) for exit_ in head.exits} or {(tail, head.number)}
        wanted = {
            (numbers[name], numbers[way.named])
            for name in one.steps
            for way in graph.nodes[f"{tree_id}/{name}"].ways
            if way.kind != "link"
        }
        assert led == wanted


def test_a_wide_tree_is_drawn_in_parts() -> None:
    """Nine branches of three steps each stay within the width, in parts that follow one another."""
    steps = {"ask": step("check", answers=tuple(answer(f"b{n}x0", f"Pattern number {n}") for n in range(9)))}
    for branch in range(9):
        for depth in range(3):
            to = f"b{branch}x{depth + 1}" if depth < 2 else "end"
            steps[f"b{branch}x{depth}"] = step("check", answers=(answer(to, "Yes"), answer("end", "No")))
    steps["end"] = step("escalate")
    drawn = laid_out(chart(tree("wide", "ask", steps)))
    assert len(drawn) > 1
    assert all(places.width <= WIDEST for _, places in drawn)
    assert [drawing.first for drawing, _ in drawn][1:] == [drawing.last + 1 for drawing, _ in drawn][:-1]
    assert 'class="ft-exits"' in svg_of(*drawn[0], "Flow chart")


def test_a_phone_shows_the_first_step_before_it_is_moved() -> None:
    """The narrowest phone shows the beginning of each drawing of the demo's trees, not blank space at its left."""
    library = load(DEMO)
    graph = build_graph(library)
    drawn = [one for name in library.trees for one in laid_out(chart_of(library, graph, str(name)))]
    assert any(places.width > PHONE for _, places in drawn)
    for drawing, places in drawn:
        first = drawing.shapes[0]
        centre = places.centres[first.name][0]
        assert centre - first.width // 2 < PHONE, drawing.name
        assert centre + first.width // 2 <= PHONE or 2 * centre <= places.width, drawing.name


def test_a_mirrored_layout_keeps_its_places() -> None:
    """Mirrored twice, a layout is what it was; mirrored once, each place is as far from the other edge."""
    places = layout("digraph { a [width=2]; a -> b [label=x]; a -> c; c -> d }")
    over = places.mirrored()
    assert over.mirrored() == places != over
    assert all(x + over.centres[name][0] == places.width for name, (x, _) in places.centres.items())


def test_hostile_words_stay_words() -> None:
    """Quotes, tags, backslashes and DOT's own signs in texts and answers neither break DOT nor SVG."""
    nasty = '"]; evil [label="x\\n\\N \\" <b>&amp;</b> </text><script>alert(1)</script> {a|b} \\'
    made = tree("nasty", "ask", {"ask": step("check", answers=(answer("end", nasty),)), "end": step("done")})
    for one in made.steps.values():
        one.text = word(nasty)
    svg = "".join(svg_of(drawing, places, nasty) for drawing, places in laid_out(chart(made)))
    assert "<script" not in svg
    assert "<b>" not in svg
    assert svg.count("<a ") == 2
    assert "&lt;b&gt;" in svg


def test_shapes_lie_inside_the_drawing() -> None:
    """Every number in the drawing of the sample is within its box, so that nothing is cut off."""
    for svg in svgs(load(SMALL), "seat-stuck"):
        box = re.search(r'viewBox="(-?\d+) (-?\d+) (\d+) (\d+)"', svg)
        assert box
        left, top, wide, high = map(int, box.groups())
        assert (left, top) == (-MARGIN, -MARGIN)
        for x, y in re.findall(r'<tspan x="(-?\d+)" y="(-?\d+)"', svg):
            assert left <= int(x) <= left + wide
            assert top <= int(y) <= top + high


def test_readings_in_words() -> None:
    """A band says its readings as they were written; a plain number has no unit."""
    library = load(SMALL)
    bands = [
        (band, str(one.unit))
        for made in library.trees.values()
        for one in made.steps.values()
        for band in one.bands or ()
    ]
    told = {readings(band, unit, words_in("en")) for band, unit in bands}
    assert told
    assert all(text.startswith("under ") or " or more" in text or " to under " in text for text in told)
    assert readings(bands[0][0], "1", words_in("en")).split()[-1] != "1"


@pytest.mark.parametrize("place", ["kept", "a-file"])
def test_the_engine_is_kept_where_it_can_be(place: str, tmp_path: Path) -> None:
    """Its machine code is left in the user's cache folder; where there can be none, it draws the same."""
    (tmp_path / "a-file").write_text("x", "utf-8")
    folder = str(tmp_path / place)
    program = "from kb_tools.pages.layout import layout; print(layout('digraph { a -> b }'))"
    done = subprocess.run(
        [sys.executable, "-c", program],
        env={**os.environ, "HOME": folder, "XDG_CACHE_HOME": folder, "LOCALAPPDATA": folder},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stdout == f"{layout('digraph { a -> b }')}\n", done.stderr
    assert any((tmp_path / place).rglob("modules")) == (place == "kept")


def test_a_missing_dot_says_so() -> None:
    """A system dot that is not there is told with what to do, not traced."""
    with pytest.raises(BuildError, match="install Graphviz"):
        layout("digraph {}", "/nowhere/dot")
