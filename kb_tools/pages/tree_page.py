"""What a tree's page shows, filled in one place; the templates only lay it out."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta
from typing import TYPE_CHECKING

from kb_tools.model.entities import DEFAULT_REVIEW_DAYS
from kb_tools.model.units import shown_unit
from kb_tools.pages.diagram import Chart, readings
from kb_tools.pages.diagram_svg import svg_of
from kb_tools.pages.isolators import isolators
from kb_tools.pages.map_page import map_drawing
from kb_tools.pages.numbering import step_numbers
from kb_tools.pages.numbers_view import NumbersView, numbers_view
from kb_tools.pages.panels import Panel, ProofView, panels_of, proof_view
from kb_tools.pages.rich_text import html, inline, plain
from kb_tools.pages.words import words_of

if TYPE_CHECKING:
    from markupsafe import Markup

    from kb_tools.model.entities import Answer, Band, Case, Library, Step, Tree
    from kb_tools.model.graph import StepGraph, Way
    from kb_tools.numbers.odds import TreeNumbers
    from kb_tools.numbers.visit import Visits
    from kb_tools.pages.diagram import Drawing
    from kb_tools.pages.layout import Layout
    from kb_tools.pages.words import Words

ROOT = "../"
"""From a tree's page to the site's root."""
_NAMED_WAYS = ("then", "cannot", "not_cured", "link")
"""Ways that bear no answer of the author's."""


@dataclass(frozen=True, slots=True)
class WayView:
    """One way on."""

    label: str
    say: str
    readings: str
    """The readings of a band in words."""
    href: str
    number: int | None
    """The number of the step it leads to."""
    leads_to: str
    """The title of the other tree; empty where it stays in this one."""
    stop_use: Markup | None
    effects: tuple[str, ...]
    is_side: bool


@dataclass(frozen=True, slots=True)
class LiveView:
    """Work with a hazard present."""

    hazard: str
    because: str
    controls: str


@dataclass(frozen=True, slots=True)
class StepView:
    """One step."""

    id: str
    number: int
    kind: str
    kind_word: str
    text: Markup
    say: str
    how: Markup | None
    for_anyone: bool
    takes: str
    assumed: bool
    wait: str
    tools: list[tuple[str, str]]
    """Id and name."""
    spares: list[tuple[str, str]]
    looks_at: list[str]
    picture: tuple[str, str] | None
    """Address and text alternative."""
    source: Markup | str
    plausible: str
    panels: list[Panel]
    told: frozenset[str]
    """Cautions that stand in full further up the page."""
    exposes: list[tuple[str, list[tuple[str, int]]]]
    """Hazard, and the steps (id, number) that may have isolated it."""
    live: list[LiveView]
    effects: tuple[str, ...]
    """What holds after it."""
    isolation: list[tuple[str, Markup]]
    """Hazard and how it is isolated, where the step itself does not say how."""
    confirm: Markup | None
    ways: list[WayView]
    put_back: Markup | None
    proof: ProofView | None
    proof_at: int | None
    """The number of the step that lists the items of the proof, where it is an earlier one."""
    bring: list[str]
    leave: Markup | None
    stop_use: Markup | None
    odds: str


@dataclass(frozen=True, slots=True)
class CaseView:
    """A case."""

    title: str
    given: list[tuple[str, int, str]]
    """Step id, its number, what was found there."""
    end: str
    end_href: str


@dataclass(slots=True)
class TreePage:
    """A tree's page."""

    id: str
    title: str
    equipment: list[str]
    applies_to: str
    heard_as: list[str]
    reviewed: str
    review_due: str
    stop_use: Markup | None
    panels: list[Panel]
    steps: list[StepView]
    cases: list[CaseView]
    drawings: list[tuple[int, int, Markup]] = field(default_factory=list)
    """First and last step of each drawing, and the drawing."""
    minutes: str = ""
    """How long it takes, in words."""
    is_draft: bool = False
    numbers: NumbersView | None = None
    """Odds, minutes and what to take along, where there are any."""
    tables: list[tuple[str, str]] = field(default_factory=list)
    """Title and address of the evidence tables that judge it."""
    map: MapView | None = None
    """The equipment map, with the parts that the steps look at marked."""


@dataclass(frozen=True, slots=True)
class MapView:
    """The equipment map on a tree's page."""

    id: str
    title: str
    href: str
    drawing: Markup


@dataclass(frozen=True, slots=True)
class _Source:
    """What the views of a tree are filled from."""

    library: Library
    tree: Tree
    steps: dict[str, Step]
    ways: dict[str, list[Way]]
    numbers: dict[str, int]
    words: Words


def chart_of(library: Library, graph: StepGraph, tree_id: str, numbers: TreeNumbers | None = None) -> Chart:
    """Return a tree prepared for drawing, with the odds of its ways where there are any; see `tree_page`."""
    tree = library.trees[tree_id]
    ways: dict[str, list[Way]] = {name: graph.nodes[f"{tree_id}/{name}"].ways for name in tree.steps}
    texts = {str(name): plain(_words(step, library)) for name, step in tree.steps.items()}
    odds = {name: own.odds for name, own in numbers.steps.items()} if numbers else None
    return Chart(tree, ways, step_numbers(tree), texts, words_of(library), odds)


def tree_page(
    library: Library,
    graph: StepGraph,
    tree_id: str,
    drawn: list[tuple[Drawing, Layout]],
    visits: Visits | None = None,
    dot_program: str = "",
) -> TreePage:
    """Return what the page of a tree shows.

    Args:
        library: A sound library.
        graph: Its graph.
        tree_id: Which tree.
        drawn: Its drawings, as `laid_out` makes them of `chart_of`.
        visits: What visits need, with odds and minutes of every tree, where there are any.
        dot_program: Path of a system `dot` for the map; empty for the embedded engine.

    """
    tree, words = library.trees[tree_id], words_of(library)
    ways: dict[str, list[Way]] = {name: graph.nodes[f"{tree_id}/{name}"].ways for name in tree.steps}
    source = _Source(library, tree, dict(tree.steps.items()), ways, step_numbers(tree), words)
    page = TreePage(
        tree_id,
        tree.title,
        [named(library.equipment, name) for name in tree.equipment],
        tree.applies_to or "",
        list(tree.heard_as),
        words.day(tree.reviewed.date) if tree.reviewed else "",
        _due(tree, words),
        _rich(tree.stop_use),
        panels_of(tree.cautions, library, ROOT),
        _steps(source),
        [_case(case, source) for case in tree.cases],
        minutes=minutes_told(visits.numbers.get(tree_id) if visits else None, words, "tree"),
        is_draft=tree.is_draft,
    )
    for drawing, places in drawn:
        first, last = drawing.first, drawing.last
        is_part = drawing.name != tree.id
        title = words.say("tree.drawing_part", first=first, last=last) if is_part else words.say("tree.drawing")
        page.drawings.append((first, last, svg_of(drawing, places, title)))
    if visits and tree_id in visits.numbers:
        page.numbers = numbers_view(library, graph, tree, visits)
    page.map = _map(tree, library, dot_program)
    if page.numbers:
        page.tables = [
            (str(table.title), f"{ROOT}tables/{name}.html")
            for name, table in library.tables.items()
            if table.tree == tree_id and table.causes and table.checks
        ]
    return page


def _map(tree: Tree, library: Library, dot_program: str) -> MapView | None:
    shown = library.maps.get(tree.map) if tree.map else None
    if shown is None:
        return None
    href = f"{ROOT}maps/{shown.id}.html"
    return MapView(shown.id, shown.title, href, map_drawing(shown, words_of(library), dot_program, tree, href))


def named(things: dict, name: str) -> str:  # type: ignore[type-arg]
    """Return the name of a thing of the library, or its id where it is not declared."""
    thing = things.get(name)
    return str(thing.name if thing else name)


def way_name(way: Way, words: Words) -> str:
    """Return what a way on is called: by its answer, or by its kind where it bears none of the author's."""
    return words.say(f"step.ways.{way.kind}") if way.kind in _NAMED_WAYS else way.label


def _rich(text: str | None) -> Markup | None:
    return html(text, ROOT) if text else None


def minutes_told(numbers: TreeNumbers | None, words: Words, group: str) -> str:
    """Return how long a tree takes, hands on; waiting is told apart.

    Args:
        numbers: The numbers of the tree; None where there are none.
        words: The words of the library's language.
        group: The group of the words that holds the sentence.

    """
    if numbers is None:
        return ""
    ahead = numbers.ahead
    time, worst = words.minutes(ahead.minutes), words.minutes(ahead.worst)
    if ahead.waiting < 1:
        return words.say(f"{group}.minutes", time=time, worst=worst)
    return words.say(f"{group}.minutes_waiting", time=time, worst=worst, waiting=words.minutes(ahead.waiting))


def _due(tree: Tree, words: Words) -> str:
    if not tree.reviewed:
        return ""
    days = tree.review_every.days if tree.review_every else DEFAULT_REVIEW_DAYS
    return words.day(tree.reviewed.date + timedelta(days=days))


def _steps(source: _Source) -> list[StepView]:
    by = isolators(source.tree, source.ways, source.numbers)
    seen = _Seen(set(source.tree.cautions))
    return [_step(name, number, source, by.get(name, {}), seen) for name, number in source.numbers.items()]


@dataclass(slots=True)
class _Seen:
    """What stands on the page already, above the step that is being filled."""

    cautions: set[str]
    proofs: dict[str, int] = field(default_factory=dict)
    """Proof -> the number of the step that lists its items."""


def _step(name: str, number: int, source: _Source, by: dict[str, list[str]], seen: _Seen) -> StepView:
    step, library, words = source.steps[name], source.library, source.words
    at_risk = (*step.exposes, *step.works_live)
    cautions = [*step.cautions, *(caution for hazard in at_risk for caution in library.cautions_for(hazard))]
    told = frozenset(seen.cautions)
    seen.cautions.update(cautions)
    proof = proof_view(step.proof, library, ROOT) if step.proof else None
    proof_at = seen.proofs.setdefault(proof.id, number) if proof else None
    if proof:
        seen.cautions.update(panel.id for panel in proof.panels)
    return StepView(
        id=name,
        number=number,
        kind=step.kind,
        kind_word=words.say(f"step.kinds.{step.kind}") if step.kind else "",
        text=_text(step, library),
        say=step.say or "",
        how=_rich(step.how),
        for_anyone=step.for_anyone,
        takes=words.minutes(step.minutes) if step.minutes else "",
        assumed=step.takes is None,
        wait=words.minutes(step.wait.minutes) if step.wait else "",
        tools=[(tool, named(library.tools, tool)) for tool in step.tools],
        spares=[(spare, named(library.spares, spare)) for spare in step.spares],
        looks_at=_parts(step, source),
        picture=(ROOT + step.picture, step.picture_text or "") if step.picture else None,
        source=inline(step.source, ROOT) if step.source else "",
        plausible=_plausible(step, words),
        panels=panels_of(dict.fromkeys(cautions), library, ROOT),
        told=told,
        exposes=[
            (named(library.hazards, hazard), [(other, source.numbers[other]) for other in by.get(hazard, [])])
            for hazard in step.exposes
        ],
        live=[
            LiveView(named(library.hazards, hazard), step.live_because or "", step.controls or "")
            for hazard in step.works_live
        ],
        effects=_effects(step, library, words),
        isolation=[
            (named(library.hazards, hazard), html(library.hazards[hazard].how_isolated, ROOT))
            for hazard in step.isolates
            if not step.how and hazard in library.hazards
        ],
        confirm=_rich(step.confirm),
        ways=[_way(way, source) for way in source.ways[name]],
        put_back=_rich(step.put_back),
        proof=proof,
        proof_at=None if proof_at == number else proof_at,
        bring=list(step.bring),
        leave=_rich(step.leave),
        stop_use=_rich(step.stop_use),
        odds="",
    )


def _text(step: Step, library: Library) -> Markup:
    return inline(_words(step, library), ROOT)


def _words(step: Step, library: Library) -> str:
    """Return the step's question or action as written; of a link the title of the tree it leads to."""
    if step.kind == "link":
        tree = library.trees.get((step.text or "").partition("/")[0])
        return tree.title if tree else step.text or ""
    return step.text or ""


def _parts(step: Step, source: _Source) -> list[str]:
    map_ = source.library.maps.get(source.tree.map or "")
    return [named(map_.parts, part) if map_ else str(part) for part in step.looks_at]


def _plausible(step: Step, words: Words) -> str:
    if not step.plausible:
        return ""
    sign = f" {shown_unit(str(step.unit))}".rstrip()
    least, most = step.plausible
    return words.say("readings.range", least=least.word, most=f"{most.word}{sign}")


def _effects(of: Step | Answer | Band | Way, library: Library, words: Words) -> tuple[str, ...]:
    """Return what holds afterwards, in words."""
    sure = "isolated_sure" if set(of.isolates) <= set(of.confirms) else "isolated"
    left = [hazard for hazard in of.confirms if hazard not in of.isolates]
    return tuple(
        words.say(f"step.{key}", hazards=words.listed([named(library.hazards, hazard) for hazard in hazards]))
        for key, hazards in ((sure, of.isolates), ("confirmed", left), ("restored", of.restores))
        if hazards
    )


def _way(way: Way, source: _Source) -> WayView:
    origin = way.origin
    other, _, target = way.target.partition("/") if way.kind == "link" and way.target else ("", "", "")
    tree = source.library.trees.get(other)
    numbers = step_numbers(tree) if tree else source.numbers
    unit, words = source.steps[way.source.partition("/")[2]].unit, source.words
    return WayView(
        label=way_name(way, words),
        say=(origin.say or "") if origin else "",
        readings=readings(origin, unit, words) if way.kind == "band" and unit else "",  # type: ignore[arg-type]
        href=f"{other}.html#{target}" if other else f"#{way.named}",
        number=numbers.get(target or way.named),
        leads_to=tree.title if tree else "",
        stop_use=inline(way.stop_use, ROOT) if way.stop_use else None,
        effects=_effects(way, source.library, words) if way.origin else (),
        is_side=way.kind in ("unsure", "cannot", "not_cured"),
    )


def _case(case: Case, source: _Source) -> CaseView:
    numbers = source.numbers
    given = []
    for key, value in case.given.items():
        step = key.rpartition("/")[2]
        given.append((str(key), numbers.get(key) or numbers.get(step) or 0, str(value)))
    tree, _, end = case.ends_at.rpartition("/")
    if tree and tree != source.tree.id:
        other = source.library.trees.get(tree)
        return CaseView(case.case, given, other.title if other else tree, f"{tree}.html#{end}")
    return CaseView(case.case, given, source.words.say("step.ref", n=numbers.get(end, "?")), f"#{end}")
