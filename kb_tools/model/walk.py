"""One run through the trees, on the data that the browser gets.

The twin of the browser's `walk.js`: the same answers lead to the same step, odds, minutes and code
(`tests/in_step`). Whatever a walk is given either fits, or raises
`WalkProblem` and changes nothing. States are dictionaries in the shape of design section 6.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeAlias
from urllib.parse import quote

from kb_tools.model import code as codes
from kb_tools.model.code import WalkProblem
from kb_tools.model.reading import number_text
from kb_tools.model.stand import EFFECTS, Pick, Stand, Trees, causes, choices, end_of, follow, pick_for

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from kb_tools.model.compiled import CompiledWay

State: TypeAlias = dict[str, Any]
_QUESTIONS = ("check", "measure")


class Walk:
    """One run through the trees."""

    def __init__(
        self, trees: Trees, first: str, picks: Sequence[Pick] = (), acks: Sequence[dict[str, Any]] = ()
    ) -> None:
        """Stand where `picks` lead from the start of the tree `first`."""
        self._trees, self._first = trees, first
        # A row of answers is replaced, never changed: where it leads is worked out once.
        self._picks, self._acks = list(picks), list(acks)
        self._reached: tuple[list[Pick], Stand] | None = None
        stand = self._stand()
        self._doubted = stand.isolated
        read = {ack["caution"] for ack in self._acks if ack["tree"] == stand.tree["id"]}
        # After how many answers somebody took the walk over who has not read the present tree's cautions; -1: nobody.
        self._taken = -1 if read.issuperset(stand.tree["cautions"]) else len(self._picks)

    def _stand(self) -> Stand:
        if self._reached is None or self._reached[0] is not self._picks:
            self._reached = self._picks, follow(self._trees, self._first, self._picks)
        return self._reached[1]

    def state(self) -> State:
        """Return where the walk stands, in the shape of design section 6."""
        stand = self._stand()
        step = stand.step
        keys = {"expected": "left", "worst": "worst", "waiting": "waiting"}
        return {
            "tree": stand.tree["id"],
            "step": stand.id,
            "kind": step["kind"],
            "trail": self._trail(),
            "causes": causes(stand, self._picks),
            "minutes": {name: 0 if stand.cured else step[key] for name, key in keys.items()},  # type: ignore[literal-required]
            "isolated": [*stand.isolated],
            "stop_use": stand.advice[-1]["text"] if stand.advice else None,
            "advice": [*stand.advice],
            "ended": end_of(stand),
        }

    def _trail(self) -> list[dict[str, Any]]:
        return [
            {"tree": pick.tree, "step": pick.step, "value": pick.value, "answer": self._way(pick)["label"]}
            for pick in self._picks
        ]

    def _way(self, pick: Pick) -> CompiledWay:
        return choices(self._trees[pick.tree]["steps"][pick.step])[pick.pick]

    def answer(self, step: str, value: str | float) -> None:
        """Answer the present step: an answer's text, a reading, `done`, `cannot`, `cured`, `not cured`, `go`."""
        stand = self._stand()
        if step not in (stand.id, f"{stand.tree['id']}/{stand.id}"):
            raise WalkProblem("wrong-step", f"The walk stands at {stand.id}.")
        self._take(pick_for(self._trees, stand, value))

    def peek(self, value: str | float) -> State:
        """Return the state that an answer would lead to; nothing is changed."""
        other = Walk(self._trees, self._first, self._picks)
        other.answer(other._stand().id, value)
        return other.state()

    def _take(self, pick: Pick) -> None:
        picks = [*self._picks, pick]
        self._reached = picks, follow(self._trees, self._first, picks)
        self._picks = picks
        isolates = self._way(pick)["isolates"]
        self._doubted = [hazard for hazard in self._doubted if hazard not in isolates]

    def back(self) -> None:
        """Take the last answer back, out of a linked tree too."""
        if not self._picks:
            raise WalkProblem("at-start", "The walk stands at its first step.")
        way = self._way(self._picks[-1])
        self._picks = self._picks[:-1]
        self._acks = [ack for ack in self._acks if ack["at"] <= len(self._picks)]
        if any(way[key] for key in EFFECTS):
            self._doubted = self._stand().isolated

    def jump(self, facts: Mapping[str, str | float]) -> None:
        """Go on to the deepest step that known facts determine, over checks and measurements alone.

        Args:
            facts: Step, or `tree/step` -> answer or reading.

        """
        ahead = Walk(self._trees, self._first, self._picks, self._acks)
        ahead._taken = self._taken
        while True:
            stand = ahead._stand()
            step = stand.step
            value = _fact(stand.tree["id"], stand.id, facts)
            effects = [hazard for way in step["ways"] for key in EFFECTS for hazard in way[key]]
            touched = step["exposes"] + step["works_live"] + effects + ahead.cautions_due()
            if value is None or touched or step["kind"] not in _QUESTIONS:
                break
            ahead._take(pick_for(self._trees, stand, value))
        if len(ahead._picks) > len(self._picks):
            self._doubted = ahead._stand().isolated
        self._picks = ahead._picks

    def known(self, facts: Mapping[str, str | float]) -> list[dict[str, Any]]:
        """Return the causes still possible when checks further on are answered too, in any order.

        Empty where the facts do not go together.
        """
        stand = self._stand()
        told = {}
        for name, step in stand.tree["steps"].items():
            value = _fact(stand.tree["id"], name, facts)
            if value is not None and step["kind"] in _QUESTIONS:
                told[name] = pick_for(self._trees, Stand(stand.tree, name), value).pick
        return causes(stand, self._picks, told)

    def acknowledge(self, caution: str) -> None:
        """Note that a caution of the present step was read."""
        stand = self._stand()
        if caution not in stand.tree["caution_texts"]:
            raise WalkProblem("unknown-caution", "This tree has no such caution.")
        if caution in self._due():
            ack = {"at": len(self._picks), "tree": stand.tree["id"], "step": stand.id, "caution": caution}
            self._acks.append(ack)

    def _due(self) -> list[str]:
        stand = self._stand()
        step, tree = stand.step, stand.tree
        proof = tree["proofs"][step["proof"]] if step.get("proof") else None
        first = tree["cautions"] if len(self._picks) in (stand.since, self._taken) else []
        return list(dict.fromkeys([*first, *step["cautions"], *(proof["cautions"] if proof else [])]))

    def cautions_due(self) -> list[str]:
        """Return the cautions of the present step that nobody acknowledged.

        They are the tree's own at its first step and where the walk was taken over, the step's, and its proof's.
        """
        read = {ack["caution"] for ack in self._acks if ack["at"] == len(self._picks)}
        return [caution for caution in self._due() if caution not in read]

    def asks_again(self) -> list[str]:
        """Return the hazards whose isolation is to be asked again before the next exposing step."""
        return [hazard for hazard in self._stand().isolated if hazard in self._doubted]

    def still_isolated(self, hazard: str) -> None:
        """Note that somebody has looked: the hazard is still isolated."""
        if hazard not in self._stand().isolated:
            raise WalkProblem("not-isolated", "This hazard is not isolated.")
        self._doubted = [one for one in self._doubted if one != hazard]

    def isolated_by(self, hazard: str) -> dict[str, Any] | None:
        """Return the answer that isolated a hazard, where it is isolated now."""
        if hazard not in self._stand().isolated:
            return None
        at = max(at for at, pick in enumerate(self._picks) if hazard in self._way(pick)["isolates"])
        return {"at": at, **self._trail()[at]}

    def code(self) -> str:
        """Return the walk code."""
        digits = [(pick.pick + 1, len(choices(self._trees[pick.tree]["steps"][pick.step])) + 1) for pick in self._picks]
        shape = codes.fold(self._trees[name]["fingerprint"] for name in self._stand().entered)
        return codes.write(codes.Parts(codes.pack(digits), shape, self._trees[self._first]["tag"]))

    def link(self) -> str:
        """Return the walk as an address's fragment, readings included."""
        readings = []
        for at, (pick, entry) in enumerate(zip(self._picks, self._trail(), strict=True)):
            kind = self._trees[pick.tree]["steps"][pick.step]["kind"]
            if kind == "measure" and pick.value != entry["answer"]:
                value = pick.value if isinstance(pick.value, str) else number_text(pick.value)
                readings.append(f"{at}:{value}")
        fragment = f"#walk={_component(self.code())}"
        return f"{fragment}&readings={_component(';'.join(readings))}" if readings else fragment

    def to_json(self) -> dict[str, Any]:
        """Return what `restore` makes the walk of again."""
        return {
            "version": 1,
            "first": self._first,
            "trees": {name: self._trees[name]["fingerprint"] for name in self._stand().entered},
            "trail": self._trail(),
            "acks": list(self._acks),
        }


def _fact(tree: str, step: str, facts: Mapping[str, str | float]) -> str | float | None:
    """Return what is known of a step, named `step` or `tree/step`."""
    return facts.get(f"{tree}/{step}", facts.get(step))


def _component(text: str) -> str:
    """Return `text` encoded as JavaScript's `encodeURIComponent` does."""
    return quote(text, safe="!'()*-._~")


def start(trees: Trees, tree: str) -> Walk:
    """Begin a walk.

    Args:
        trees: Compiled trees by their ids.
        tree: Which one.

    """
    return Walk(trees, tree)
