"""A tree as a troubleshooting topic of DITA 1.3; `export_dita` tells what becomes what."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

from kb_tools.carriers.dita_xml import add, blocks_of, element, inline_of
from kb_tools.carriers.export_json import written_keys
from kb_tools.model.entities import Band
from kb_tools.pages.diagram import readings
from kb_tools.pages.numbering import step_numbers
from kb_tools.pages.rich_text import blocks
from kb_tools.pages.tree_page import named, way_name
from kb_tools.pages.words import words_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from xml.etree.ElementTree import Element

    from kb_tools.model.entities import Case, Library, Step, Tree
    from kb_tools.model.graph import StepGraph, Way

_ENDS = ("fix", "escalate", "done")
_TOLD = frozenset(
    "check measure do fix escalate done link say how answers bands confirm proof then cannot not_cured put_back bring "
    "leave stop_use picture picture_text source live_because controls cautions".split()
)
"""Keys of a step that stand in elements; all others become `data`."""
_PARTIES = {True: "Anyone", False: "Technician"}


class Topic:
    """The troubleshooting topic of a tree."""

    def __init__(self, library: Library, graph: StepGraph, tree: Tree) -> None:
        """Prepare a tree of a sound library."""
        self._library, self._graph, self._tree = library, graph, tree
        self._numbers = step_numbers(tree)
        self._steps: dict[str, Step] = dict(tree.steps.items())

    def made(self) -> Element:
        """Return the topic."""
        tree = self._tree
        asked = [name for name in self._numbers if self._steps[name].kind not in _ENDS]
        body = element("troublebody", self._condition())
        if asked:
            steps = element("steps", *[self._step(name) for name in asked])
            party = element("responsibleParty", "Technician; anyone, where a step says so")
            remedy = element("remedy", element("title", "Find the cause"), party, steps)
            add(body, element("troubleSolution", remedy))
        for name in self._numbers:
            if self._steps[name].kind in _ENDS:
                add(body, self._solution(name))
        short = f"Holds for: {tree.applies_to}" if tree.applies_to else None
        return element(
            "troubleshooting",
            element("title", tree.title),
            element("shortdesc", short) if short else None,
            self._prolog(),
            body,
            id=tree.id,
            **language(self._library),
        )

    def _prolog(self) -> Element:
        tree = self._tree
        prolog = element("prolog")
        if tree.reviewed:
            day = tree.reviewed.date.isoformat()
            add(prolog, element("critdates", element("created", date=day), element("revised", modified=day)))
        words = [element("indexterm", phrase) for phrase in tree.heard_as]
        more = data_of(tree, frozenset(("title", "steps", "cases", "heard_as", "cautions", "stop_use", "applies_to")))
        # Cases that end in another tree have no cause here that could tell of them.
        away = [_case(case) for case in tree.cases if case.ends_at not in self._steps]
        metadata = element("metadata", element("keywords", *words) if words else None, *more, *away)
        add(prolog, metadata if len(metadata) else None)
        return prolog

    def _condition(self) -> Element:
        tree, library = self._tree, self._library
        condition = element("condition")
        equipment = [named(library.equipment, name) for name in tree.equipment]
        if equipment:
            add(condition, element("p", f"About: {', '.join(equipment)}"))
        if tree.heard_as:
            add(condition, element("p", "Also told as:"))
            add(condition, element("ul", *[element("li", element("q", phrase)) for phrase in tree.heard_as]))
        for caution in hazard_statements(tree.cautions, library):
            add(condition, caution)
        add(condition, _stop_use(tree.stop_use))
        if not len(condition):
            add(condition, element("p", tree.title))
        return condition

    def _step(self, name: str) -> Element:
        """Return a step: cautions, what to do, what there is to know, the ways on."""
        step = self._steps[name]
        made = element("step", id=name)
        self._put_notes(made, step)
        made.append(element("cmd", *self._command(step)))
        add(made, self._info(name, step))
        ways = self._graph.nodes[f"{self._tree.id}/{name}"].ways
        on = [way for way in ways if way.kind != "not_cured"]
        if on:
            made.append(element("choices", *[self._choice(way) for way in on]))
        if step.confirm:
            made.append(element("stepresult", *blocks_of(blocks(step.confirm))))
        wrong = [way for way in ways if way.kind == "not_cured"]
        if wrong:
            made.append(element("steptroubleshooting", *[element("p", "Not cured: ", self._to(way)) for way in wrong]))
        return made

    def _put_notes(self, made: Element, step: Step) -> None:
        library = self._library
        at_risk = (*step.exposes, *step.works_live)
        names = [*step.cautions, *(name for hazard in at_risk for name in library.cautions_for(hazard))]
        for caution in hazard_statements(dict.fromkeys(names), library):
            made.append(caution)
        for hazard in step.exposes:
            made.append(
                element("note", f"{named(library.hazards, hazard)} is laid open. Isolate it first.", type="important")
            )
        for hazard in step.works_live:
            why = f"{step.live_because or ''} Controls: {step.controls or ''}"
            told = f"{named(library.hazards, hazard)} is present: {why}"
            made.append(element("note", told, type="important"))
        add(made, _stop_use(step.stop_use))

    def _command(self, step: Step) -> list[str | Element]:
        if step.kind == "link":
            tree = self._library.trees.get((step.text or "").partition("/")[0])
            return [f"Go on in: {tree.title if tree else step.text}"]
        return inline_of(blocks(step.text or ""))

    def _info(self, name: str, step: Step) -> Element:
        """Return what there is to know of a step, in words and then as data."""
        library, words = self._library, words_of(self._library)
        info = element("info")
        if step.say:
            add(info, element("p", "In plain words: ", element("q", step.say)))
        for block in blocks_of(blocks(step.how)) if step.how else ():
            add(info, block)
        if step.put_back and step.kind not in _ENDS:
            add(info, element("p", "Put back: ", *inline_of(blocks(step.put_back))))
        facts = [f"Who: {_PARTIES[step.for_anyone].lower()}"]
        facts += [f"Takes: {words.minutes(step.minutes)}"] if step.minutes else []
        facts += [f"Then wait: {words.minutes(step.wait.minutes)}"] if step.wait else []
        facts += [f"Tools: {', '.join(named(library.tools, one) for one in step.tools)}"] if step.tools else []
        facts += [f"Spares: {', '.join(named(library.spares, one) for one in step.spares)}"] if step.spares else []
        add(info, element("p", ". ".join(facts)))
        if step.source:
            add(info, element("p", "Source: ", *inline_of(blocks(step.source))))
        if step.picture:
            alt = element("alt", step.picture_text or "")
            add(info, element("fig", element("image", alt, href=f"../{step.picture}")))
        add(info, element("data", name="number", value=str(self._numbers[name])))
        add(info, element("data", name="kind", value=step.kind))
        for one in data_of(step, _TOLD):
            add(info, one)
        if step.use:
            add(info, element("data", name="use", value=str(step.use)))
        return info

    def _choice(self, way: Way) -> Element:
        words, band = words_of(self._library), way.origin
        unit = self._steps[way.source.partition("/")[2]].unit
        shown = f" ({readings(band, unit, words)})" if isinstance(band, Band) and unit else ""
        made = element("choice", f"{way_name(way, words)}{shown}: ", self._to(way))
        if way.origin and way.origin.say:
            add(made, element("p", "In plain words: ", element("q", way.origin.say)))
        add(made, _stop_use(way.stop_use))
        add(made, element("data", name="way", value=way.kind))
        told = frozenset(("answer", "to", "say", "stop_use"))
        for one in data_of(way.origin, told) if way.origin else ():
            add(made, one)
        return made

    def _to(self, way: Way) -> Element:
        """Return a reference to where a way leads."""
        tree, _, step = (way.target or f"{self._tree.id}/{way.named}").partition("/")
        if tree == self._tree.id:
            return element("xref", f"step {self._numbers[step]}", href=f"#{tree}/{step}")
        other = self._library.trees[tree]
        if other.is_draft:
            return element("ph", other.title)
        return element("xref", other.title, href=f"{tree}.dita#{tree}/{step}")

    def _solution(self, name: str) -> Element:
        """Return a fix, a handing over or an end as cause and remedy."""
        step, library = self._steps[name], self._library
        made = self._step(name)
        steps = element("steps", made)
        follow = partial(element, "step")
        if step.put_back:
            steps.append(follow(element("cmd", "Put back: ", *inline_of(blocks(step.put_back)))))
        if step.proof and step.proof in library.proofs:
            title = library.proofs[step.proof].title
            to = element("xref", title, href=f"../proofs/{step.proof}.dita", type="task")
            steps.append(follow(element("cmd", "Prove: ", to)))
        if step.leave:
            steps.append(follow(element("cmd", "Leave the chair like this: ", *inline_of(blocks(step.leave)))))
        if step.bring:
            listed = element("ul", *[element("li", one) for one in step.bring])
            steps.append(
                follow(element("cmd", "Have ready what whoever takes over needs to know"), element("info", listed))
            )
        remedy = element("remedy", element("responsibleParty", _PARTIES[step.for_anyone]), steps)
        return element("troubleSolution", self._cause(name), remedy)

    def _cause(self, name: str) -> Element:
        """Return a cause: the cases that ended there, in words and as data."""
        ended = [case for case in self._tree.cases if case.ends_at == name]
        cause = element("cause")
        if ended:
            add(cause, element("ul", *[element("li", case.case) for case in ended]))
        else:
            add(cause, element("p", *self._command(self._steps[name])))
        for case in ended:
            add(cause, _case(case))
        return cause


def _case(case: Case) -> Element:
    given = [element("data", name=str(step), value=str(value)) for step, value in case.given.items()]
    end = element("data", name="ends_at", value=str(case.ends_at))
    return element("data", *given, end, name="case", value=str(case.case))


def data_of(entity: Any, told: frozenset[str]) -> Iterator[Element]:  # noqa: ANN401 - any entity of the format
    """Yield the keys of an entity that no element tells, as `data`; of a list one for each value."""
    for name, value in written_keys(entity).items():
        if name not in told:
            for one in value if isinstance(value, list) else [value]:
                yield element("data", name=name, value=str(one).lower() if isinstance(one, bool) else str(one))


def hazard_statements(names: Iterable[str], library: Library) -> Iterator[Element]:
    """Yield cautions as hazard statements, whose type is the signal word."""
    for name in names:
        if name in library.cautions:
            one = library.cautions[name]  # type: ignore[index]
            panel = element(
                "messagepanel",
                element("typeofhazard", *inline_of(blocks(one.text))),
                element("consequence", *inline_of(blocks(one.consequence))),
                element("howtoavoid", *inline_of(blocks(one.avoid))),
            )
            yield element("hazardstatement", panel, type=one.signal.lower())


def _stop_use(text: str | None) -> Element | None:
    """Return advice to stop using the chair."""
    return (
        element("note", "Stop use. ", *inline_of(blocks(text)), type="important", outputclass="stop-use")
        if text
        else None
    )


def language(library: Library) -> dict[str, str]:
    """Return the attribute that says in which language the library is written."""
    return {"xml:lang": library.language}
