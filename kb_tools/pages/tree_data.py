"""A tree as the browser gets it: steps, ways, odds, minutes, and all that its steps name.

Bytes depend on the library alone; figures are rounded to 12 significant digits.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from kb_tools.model.code import fingerprint_of, tag_of
from kb_tools.model.entities import ENDS, Band, signal_rank
from kb_tools.model.moved import Moves
from kb_tools.model.units import UnitProblem, accepted, unit_of
from kb_tools.pages.isolators import isolators
from kb_tools.pages.numbering import step_numbers
from kb_tools.pages.rich_text import blocks, plain

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from kb_tools.model.compiled import CompiledStep, CompiledTree, CompiledWay
    from kb_tools.model.entities import Library, Proof, Step, Tree
    from kb_tools.model.graph import StepGraph, Way
    from kb_tools.model.hazards import Isolation
    from kb_tools.numbers.odds import StepNumbers, TreeNumbers

_DIGITS = 12


def compile_tree(
    library: Library, graph: StepGraph, isolation: Isolation, tree: Tree, numbers: TreeNumbers
) -> CompiledTree:
    """Return a tree as the browser gets it.

    Args:
        library: The library.
        graph: Its graph.
        isolation: What is isolated where.
        tree: A tree without loops.
        numbers: Its odds and minutes.

    """
    return _Compiler(library, graph, isolation, tree, numbers).tree()


def _figure(value: float) -> float:
    """Return a figure rounded, as a whole number where it is one."""
    rounded = float(f"{value:.{_DIGITS}g}")
    return int(rounded) if rounded.is_integer() else rounded


def rich(text: str | None) -> list[Any] | None:
    """Return a text as blocks; None where there is none."""
    return list(blocks(text)) if text else None


def _rich_line(text: str | None) -> list[Any] | None:
    """Return a text as blocks without the paragraph around it, where it is a single one."""
    made = rich(text)
    return made[0][1] if made and len(made) == 1 and made[0][0] == "p" else made


def _text(text: str | None) -> str | None:
    return str(text) if text else None


def _filled(data: dict[str, Any]) -> Any:  # noqa: ANN401 - a typed dictionary, which one the caller knows
    """Return `data` without the keys that hold nothing."""
    return {key: value for key, value in data.items() if value is not None}


def _words(ids: Iterable[str]) -> list[str]:
    return [str(name) for name in ids]


class _Compiler:
    """One tree on its way to the browser."""

    def __init__(
        self, library: Library, graph: StepGraph, isolation: Isolation, tree: Tree, numbers: TreeNumbers
    ) -> None:
        self.library, self.source, self.isolation, self.numbers = library, tree, isolation, numbers
        self.ways = {str(name): graph.nodes[f"{tree.id}/{name}"].ways for name in tree.steps}
        self.places = step_numbers(tree)
        self.moves = Moves(library)
        self.isolated_by = isolators(tree, self.ways, self.places)

    def tree(self) -> CompiledTree:
        """Return the tree."""
        tree, library = self.source, self.library
        steps = {str(name): self.step(str(name)) for name in self.places}
        all_steps = list(tree.steps.values())
        proofs = self._named(library.proofs, (step.proof for step in all_steps if step.proof))
        cautions = [caution for step in steps.values() for caution in step["cautions"]]
        cautions += [caution for proof in proofs.values() for caution in proof.cautions]
        map_ = library.maps.get(tree.map or "")
        start = str(tree.start)
        compiled: CompiledTree = _filled(
            {
                "id": tree.id,
                "title": str(tree.title),
                "area": tree.area,
                "applies_to": _text(tree.applies_to),
                "equipment": [self._name(library.equipment, name) for name in tree.equipment],
                "reviewed": tree.reviewed.date.isoformat() if tree.reviewed else None,
                "stop_use": rich(tree.stop_use),
                "map": _text(tree.map),
                "start": start,
                "tag": tag_of(self.moves.first(tree.id)[0]),
                "fingerprint": fingerprint_of(tree.id, start, steps, self.moves.first),
                "cautions": self.by_gravity(tree.cautions),
                "caution_texts": self._caution_texts([*tree.cautions, *cautions]),
                "hazards": self._hazards(proofs.values()),
                "tools": self._names(library.tools, (tool for step in all_steps for tool in step.tools)),
                "spares": {
                    name: _filled({"name": str(spare.name), "price": _price(spare.price)})
                    for name, spare in self._named(
                        library.spares, (spare for step in all_steps for spare in step.spares)
                    ).items()
                },
                "proofs": {name: self._proof(proof) for name, proof in proofs.items()},
                "parts": self._names(map_.parts if map_ else {}, (part for one in all_steps for part in one.looks_at)),
                "steps": steps,
            }
        )
        return compiled

    def step(self, name: str) -> CompiledStep:
        """Return one step."""
        step, numbers = self.source.steps[name], self.numbers.steps[name]  # type: ignore[index]
        data: dict[str, Any] = {
            "n": self.places[name],
            "kind": step.kind,
            "text": self._question(step),
            "say": _text(step.say),
            "how": rich(step.how),
            "who": str(step.who or "technician"),
            "minutes": _figure(step.minutes),
            "assumed": step.takes is None,
            "wait": _figure(step.wait.minutes) if step.wait else 0,
            "tools": _words(step.tools),
            "spares": _words(step.spares),
            "looks_at": _words(step.looks_at),
            "picture": {"src": str(step.picture), "text": str(step.picture_text or "")} if step.picture else None,
            "confirm": rich(step.confirm),
            "put_back": rich(step.put_back),
            "ways": [self.way(way, odds, numbers) for way, odds in zip(self.ways[name], numbers.odds, strict=True)],
            "proof": _text(step.proof),
            "leave": rich(step.leave),
            "stop_use": rich(step.stop_use),
            "bring": [plain(text) for text in step.bring] or None,
        }
        data |= self._safety(name, step) | self._reading(step) | self._figures(name, step, numbers)
        compiled: CompiledStep = _filled(data)
        return compiled

    def _question(self, step: Step) -> str:
        """Return the step's question or action as plain text; of a link the title of the tree it leads to."""
        if step.kind == "link":
            tree = self.library.trees.get((step.text or "").partition("/")[0])
            return plain(tree.title) if tree else str(step.text)
        return plain(step.text or "")

    def _safety(self, name: str, step: Step) -> dict[str, Any]:
        """Return what a step has to do with hazards."""
        library = self.library
        at_risk = (*step.exposes, *step.works_live)
        cautions = [*step.cautions, *(caution for hazard in at_risk for caution in library.cautions_for(hazard))]
        is_end = step.kind in ENDS
        return {
            "cautions": self.by_gravity(cautions),
            "exposes": _words(step.exposes),
            "works_live": _words(step.works_live),
            "needs": _words(step.needs),
            "isolated_by": self.isolated_by.get(name) or None,
            "live_because": _text(step.live_because),
            "controls": _text(step.controls),
            "isolates": _words(step.isolates) or None if is_end else None,
            "restores": _words(step.restores) or None if is_end else None,
        }

    def _reading(self, step: Step) -> dict[str, Any]:
        """Return what a step's reading is given in."""
        data: dict[str, Any] = {"source": _rich_line(step.source)}
        if step.kind == "measure":
            unit = str(step.unit or "1")
            data["unit"] = unit
            data["plausible"] = [_figure(edge) for edge in step.plausible] if step.plausible else None
            try:
                offered = accepted(unit_of(unit))
            except UnitProblem:
                offered = {unit: (1.0, 0.0)}
            data["units"] = [[other, _exact(factor), _exact(offset)] for other, (factor, offset) in offered.items()]
        return data

    def _figures(self, name: str, step: Step, numbers: StepNumbers) -> dict[str, Any]:
        """Return a step's odds and minutes, and where a link leads."""
        target = next((way.target for way in self.ways[name] if way.kind == "link" and way.target), None)
        return {
            "share": _figure(self.numbers.causes[name]) if name in self.numbers.causes else None,
            "stop": _figure(numbers.stop) if numbers.stop else None,
            "cures": _figure(step.cures) if step.cures is not None and step.kind == "fix" else None,
            "link": dict(zip(("tree", "step"), target.split("/"), strict=True)) if target else None,
            "mass": _figure(numbers.mass),
            "left": _figure(numbers.ahead.minutes),
            "worst": _figure(numbers.ahead.worst),
            "waiting": _figure(numbers.ahead.waiting),
        }

    def way(self, way: Way, odds: float, numbers: StepNumbers) -> CompiledWay:
        """Return one way on."""
        origin = way.origin
        target = way.target if way.kind == "link" or not way.target else way.target.partition("/")[2]
        compiled: CompiledWay = _filled(
            {
                "via": way.kind,
                "label": str(way.label),
                "say": _text(origin.say) if origin else None,
                "to": target,
                "from": _figure(origin.start) if isinstance(origin, Band) and origin.start is not None else None,
                "below": _figure(origin.below) if isinstance(origin, Band) and origin.below is not None else None,
                "odds": _figure(odds),
                "onward": _figure(numbers.own_onward) if way.kind == "not_cured" else None,
                "isolates": _words(way.isolates),
                "confirms": _words(way.confirms),
                "restores": _words(way.restores),
                "stop_use": rich(way.stop_use),
            }
        )
        return compiled

    def by_gravity(self, cautions: Iterable[str]) -> list[str]:
        """Return the known ones among cautions, each once, the gravest first."""
        known = self._named(self.library.cautions, cautions)
        return sorted(known, key=lambda name: signal_rank(known[name].signal))

    def _caution_texts(self, cautions: Iterable[str]) -> dict[str, dict[str, Any]]:
        return {
            name: {
                "signal": str(caution.signal),
                "hazard": _text(caution.hazard),
                "text": rich(caution.text),
                "consequence": rich(caution.consequence),
                "avoid": rich(caution.avoid),
            }
            for name, caution in self._named(self.library.cautions, cautions).items()
        }

    def _hazards(self, proofs: Iterable[Proof]) -> dict[str, dict[str, Any]]:
        """Return the hazards that the tree names, and those that may be isolated on coming in by a link."""
        named = [hazard for proof in proofs for hazard in proof.needs]
        for name, step in self.source.steps.items():
            state = self.isolation.before.get(f"{self.source.id}/{name}")
            named += [*step.exposes, *step.works_live, *step.needs, *step.isolates, *step.confirms, *step.restores]
            named += [hazard for way in self.ways[name] for hazard in (*way.isolates, *way.confirms, *way.restores)]
            named += self.isolation.names(state.maybe) if state else []  # type: ignore[arg-type]
        return {
            name: {
                "name": str(hazard.name),
                "how_isolated": rich(hazard.how_isolated),
                "put_back": rich(hazard.put_back),
                "confirm": hazard.confirm,
            }
            for name, hazard in self._named(self.library.hazards, named).items()
        }

    def _proof(self, proof: Proof) -> dict[str, Any]:
        return {
            "title": str(proof.title),
            "minutes": _figure(proof.minutes),
            "people": proof.people or 1,
            "needs": _words(proof.needs),
            "cautions": self.by_gravity(proof.cautions),
            "items": [{"item": rich(item.item), "optional": item.optional} for item in proof.items],
        }

    def _named(self, shelf: Mapping[Any, Any], names: Iterable[str]) -> dict[str, Any]:
        """Return the things of a shelf by id, each once; unknown ids are passed over."""
        return {str(name): shelf[name] for name in dict.fromkeys(names) if name in shelf}

    def _name(self, shelf: Mapping[Any, Any], name: str) -> str:
        return str(shelf[name].name) if name in shelf else str(name)

    def _names(self, shelf: Mapping[Any, Any], names: Iterable[str]) -> dict[str, str]:
        """Return the names of things by id; what is not declared goes by its id."""
        return {str(name): self._name(shelf, name) for name in dict.fromkeys(names)}


def _price(price: float | None) -> float | None:
    return None if price is None else _figure(price)


def _exact(value: float) -> float:
    """Return a factor or offset in full, as a whole number where it is one."""
    return int(value) if value.is_integer() else value
