"""The questions of `kb branch` for what its options leave open, until the branch has all that it needs.

One dialogue may make several branches: a check, and what is to be written behind its answers. Each is
a command of its own, in the order in which they have to be run.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import click

from kb_tools.author.branch import Branch, judge_place, slug
from kb_tools.author.branch_case import judge_case, waiting_cases, waits_alike
from kb_tools.author.branch_place import isolated_there
from kb_tools.cli import _prompts as prompts
from kb_tools.cli._branch_options import KIND_HELP, blank
from kb_tools.model.entities import ENDS, STEP_KINDS
from kb_tools.model.graph import link_target
from kb_tools.model.units import UnitProblem, unit_of
from kb_tools.model.values import folded

if TYPE_CHECKING:
    from kb_tools.model.entities import Case, Library, Step, Tree

Plan = list[dict[str, Any]]
"""The options of each branch."""
BETWEEN = ("check", "measure", "do", "fix")
"""Kinds of step that lead on."""
_OPEN = "-"
_LEAST_ANSWERS = 2


@dataclass(slots=True)
class Dialogue:
    """Asks, and puts what was answered into the plan at once: whoever stops finds it there."""

    library: Library
    tree: Tree
    plan: Plan
    _state: list[str] = field(default_factory=list)
    """Hazards that may be isolated where the branch begins."""
    _waiting: list[Case] = field(default_factory=list)
    _behind: list[tuple[dict[str, Any], str, str]] = field(default_factory=list)
    """New steps that are still to be asked for: the check, its answer, the kind; or a new step that is named twice."""

    def run(self) -> None:
        """Ask for all that is missing."""
        options = self.plan[0]
        step = self.tree.steps[options["step"]]
        click.echo(f"{options['step']}: {step.text}")
        for way in step.answers or step.bands or ():
            click.echo(f"  {way.answer} -> {way.to}")
        self._waiting = waiting_cases(self.library, self.tree)
        if options["case_name"]:
            self._settle_name(options)
            judge_case(self.library, self._branch(options), options["case_name"])
        judge_place(self.library, self._branch(options))
        if not options["answer"] and not options["before"]:
            self._ask_where(step, options)
        offers = not options["to"] and not options["use"] and not any(options[kind] for kind in STEP_KINDS)
        if offers:
            self._ask_what(options)
        kind = _kind(options)
        if not kind:
            return
        self._state = isolated_there(self.library, self._branch(options))
        self._ask_new(options, kind, offers=offers)
        while self._behind:
            self._ask_behind(*self._behind.pop(0))
        if options["case_name"] is None:
            self._ask_case(options)
        if options["case_name"]:
            self._settle_path(options)

    def _branch(self, options: dict[str, Any]) -> Branch:
        """Return where a branch goes, as far as it is known."""
        return Branch(
            self.tree.id, options["step"], options["answer"] or "", options["to"] or "", options["before"] or ""
        )

    # --- where, and what ----------------------------------------------------------------------------

    def _ask_where(self, step: Step, options: dict[str, Any]) -> None:
        if step.kind not in ("check", "measure"):
            onward = step.then or step.not_cured
            known = [str(way) for way in (step.then, step.not_cured, step.cannot) if way]
            options["before"] = prompts.one_of("Before which step", known, "step behind it:", str(onward or ""))
            return
        ways = {folded(way.answer): way for way in step.answers or step.bands or ()}
        while True:
            answer = prompts.text("The new answer")
            known_way = ways.get(folded(answer))
            if known_way is None:
                options["answer"] = answer
                break
            click.echo(f"  {options['step']} has the answer {str(known_way.answer)!r} already, to {known_way.to}")
            if click.confirm(f"  Put a new step behind it, before {known_way.to}", default=True):
                options["answer"], options["before"] = str(known_way.answer), str(known_way.to)
                return
        if step.kind == "measure":
            for key, told in (("start", "From which reading on"), ("below", "Below which reading")):
                if options[key] is None:
                    options[key] = prompts.number(f"{told} (empty: no edge)")
        if not options["unsure"]:
            options["stop_use"] = options["stop_use"] or prompts.optional("Advice to stop using the chair after it")

    def _ask_what(self, options: dict[str, Any]) -> None:
        """Ask where the answer leads: to a step that there is, or to a new one of a kind."""
        if options["before"]:
            kind = prompts.one_of("The new step is a", BETWEEN, "kind of step that leads on:")
        else:
            kind = self._ask_target("It leads to", STEP_KINDS)
        if kind in STEP_KINDS:
            self._ask_text(options, kind)
        else:
            options["to"] = kind

    def _ask_target(self, question: str, kinds: tuple[str, ...], default: str = "") -> str:
        """Return a step that there is, or one of the kinds."""
        known = [*self.tree.steps, *self._new_ids()]

        def wrong(given: str) -> str:
            if given in kinds or given in known:
                return ""
            if not given:
                return "Name a step, or the kind of a new one"
            return prompts.missing(given, [*known, *kinds], f"step in {self.tree.id}")

        new = f"a step, or for a new one: {', '.join(kinds)}" if kinds else "a step"
        return prompts.ask(f"{question} ({new})", wrong, default)

    def _ask_step(self, question: str, default: str = "") -> str:
        return self._ask_target(question, (), default)

    def _ask_text(self, options: dict[str, Any], kind: str) -> None:
        if kind != "link":
            options[kind] = prompts.text(KIND_HELP[kind].capitalize())
            return

        def wrong(given: str) -> str:
            if link_target(given, self.library):
                return ""
            trees = self.library.trees
            tree, _, step = given.partition("/")
            return (
                prompts.missing(step, trees[tree].steps, f"step in {tree}:")
                if tree in trees
                else (prompts.missing(tree, trees, "tree"))
            )

        options["link"] = prompts.ask(KIND_HELP["link"].capitalize(), wrong)

    def _new_ids(self) -> list[str]:
        return [one["new_id"] for one in self.plan if one["new_id"]]

    # --- a new step -----------------------------------------------------------------------------------

    def _ask_new(self, options: dict[str, Any], kind: str, *, offers: bool) -> None:
        """Ask what a new step of a kind cannot do without, what keeps people safe, and then what it may have."""
        if not options["new_id"]:
            others = [one for one in self._new_ids() if one]
            taken = [*self.tree.steps, *others]
            options["new_id"] = prompts.new_id("Its id", taken, self._likely_id(options, kind, taken))
        if kind in BETWEEN:
            self._ask_onward(options, kind, offers=offers)
        if kind in ENDS:
            self._ask_end(options, kind, offers=offers)
        if offers:
            self._offer(options, kind)

    def _ask_onward(self, options: dict[str, Any], kind: str, *, offers: bool) -> None:
        """Ask where a step that is no end leads, and which hazards it touches."""
        if kind == "check" and not options["way"]:
            self._ask_ways(options)
        elif kind == "measure":
            self._ask_measure(options)
        if not options["exposes"] and self.library.hazards:
            self._ask_exposes(options)
        if kind == "do":
            self._ask_do(options, offers=offers)

    def _ask_end(self, options: dict[str, Any], kind: str, *, offers: bool) -> None:
        """Ask for the proof of an end, what it puts back and how the chair is left."""
        proofs = self.library.proofs
        if kind == "fix":
            options["proof"] = options["proof"] or prompts.one_of("Its proof", proofs, "proof")
        elif kind == "done" and offers:
            options["proof"] = options["proof"] or prompts.one_of("Its proof", proofs, "proof", needed=False) or None
        self._ask_left(options, kind, offers=offers)
        if kind == "fix":
            self._ask_share(options)
            default = options["before"] or self._usual_desk()
            options["not_cured"] = options["not_cured"] or self._ask_step("Where to go when the proof fails", default)

    def _likely_id(self, options: dict[str, Any], kind: str, taken: list[str]) -> str:
        """Return the id that a case waits for, else one made of the step's words."""
        wanted = [
            str(case.ends_at) for case in self._waiting if folded(case.case) == folded(options["case_name"] or "")
        ]
        wanted = wanted or [str(case.ends_at) for case in self._waiting]
        free = [one for one in wanted if one not in taken and "/" not in one]
        return free[0] if free and kind in ENDS else slug(str(options[kind]), taken)

    def _ask_exposes(self, options: dict[str, Any]) -> None:
        options["exposes"] = prompts.several("Hazards that it lays open", self.library.hazards, "hazard")
        bare = [one for one in options["exposes"] if one not in self._state]
        if bare:
            click.echo(f"  {', '.join(bare)}: not isolated here; a `do` that isolates it has to come before")

    def _ask_measure(self, options: dict[str, Any]) -> None:
        def wrong(given: str) -> str:
            try:
                unit_of(given)
            except UnitProblem as problem:
                return f"{problem.message}. {problem.hint}"
            return ""

        options["unit"] = options["unit"] or prompts.ask("Unit of the reading (1 for a plain number)", wrong)
        options["source"] = options["source"] or prompts.text("Where do its limits come from", "common practice")
        if options["band"]:
            return
        start = _OPEN
        while True:
            bands = options["band"]
            below = prompts.number(f"Band {len(bands) + 1}: from {start} to below (empty: no end)")
            if below is not None and start != _OPEN and below <= float(start):
                click.echo(f"  A band that begins at {start} ends above it")
                continue
            answer = prompts.text("  What such a reading means")
            target = self._ask_step(f"  {answer} leads to", options["before"] or "")
            end = _OPEN if below is None else f"{below:g}"
            options["band"] = (*bands, (start, end, answer, target))
            if below is None:
                return
            start = end

    def _ask_ways(self, options: dict[str, Any]) -> None:
        """Ask for the answers of a new check; what leads to a new step is written behind it afterwards."""
        told: list[str] = []

        def wrong(given: str) -> str:
            if given:
                return "This answer is there already" if folded(given) in map(folded, told) else ""
            if len(told) < _LEAST_ANSWERS:
                return "A check needs two answers at least"
            return "" if options["way"] else "One answer at least leads to a step that there is: add it"

        while answer := prompts.ask(f"Answer {len(told) + 1} (empty: no more)", wrong):
            told.append(answer)
            kinds = tuple(kind for kind in STEP_KINDS if kind != "link")
            target = self._ask_target(f"  {answer} leads to", kinds, options["before"] or "")
            if target in self.tree.steps:
                options["way"] = (*options["way"], (answer, target))
            else:
                self._behind.append((options, answer, target))

    def _ask_behind(self, check: dict[str, Any], answer: str, target: str) -> None:
        """Ask for a new step behind an answer of a new check."""
        options = blank(check)
        options |= {"step": check["new_id"], "answer": answer}
        self.plan.append(options)
        if target not in STEP_KINDS:
            options["to"] = target
            return
        click.echo(f"Behind “{answer}” of {check['new_id']}:")
        self._ask_text(options, target)
        self._ask_new(options, target, offers=True)

    def _ask_do(self, options: dict[str, Any], *, offers: bool) -> None:
        hazards = self.library.hazards
        options["then"] = options["then"] or options["before"] or self._ask_step("The step after it")
        cannot = options["cannot"] or prompts.one_of(
            "The step for somebody who cannot do it", self.tree.steps, "step", needed=False
        )
        options["cannot"] = cannot or None
        if not (offers and hazards):
            return
        options["isolates"] = options["isolates"] or prompts.several("Hazards that it isolates", hazards, "hazard")
        if options["isolates"] and not options["confirms"]:
            options["confirms"] = prompts.several("Of these it confirms", hazards, "hazard", options["isolates"])
            options["confirm"] = options["confirm"] or prompts.optional("How to see that it worked")
        if self._state and not options["restores"]:
            options["restores"] = prompts.several("Hazards that it puts back", self._state, "isolated hazard")
            self._ask_put_back(options)

    def _ask_left(self, options: dict[str, Any], kind: str, *, offers: bool) -> None:
        """Ask what an end puts back of what may be isolated where it stands, and how the chair is left."""
        proof = self.library.proofs.get(options["proof"])
        needed = [hazard for hazard in self._state if proof and hazard in proof.needs]
        if needed and not options["restores"]:
            click.echo(f"  Isolated here, or it may be: {', '.join(self._state)}. The proof needs {', '.join(needed)}.")
            question = "Hazards that are back before its proof"
            options["restores"] = prompts.several(question, self._state, "isolated hazard", needed)
        if options["restores"]:
            self._ask_put_back(options)
        back = {one for text in options["restores"] for one in text.replace(",", " ").split()}
        left = [hazard for hazard in self._state if hazard not in back]
        if left and not options["leave"]:
            options["leave"] = prompts.text(
                f"How to leave the chair, with {', '.join(left)} isolated, and what is tagged"
            )
        elif kind == "escalate" and not options["leave"] and offers:
            options["leave"] = prompts.optional("How to leave the chair")

    def _ask_put_back(self, options: dict[str, Any]) -> None:
        hazards = self.library.hazards
        names = [one for text in options["restores"] for one in text.replace(",", " ").split() if one in hazards]
        if names and not options["put_back"]:
            told = " ".join(" ".join(str(hazards[one].put_back).split()) for one in names)
            options["put_back"] = prompts.text("How they are put back", told)

    def _ask_share(self, options: dict[str, Any]) -> None:
        if options["share"] is not None:
            return
        others = [(name, step.share) for name, step in self.tree.steps.items() if step.share is not None]
        if others:
            known = ", ".join(f"{name} {share:g}" for name, share in others)
            click.echo(f"  Shares of this tree's causes: {known}; {sum(share for _, share in others):g} together")
        options["share"] = prompts.number("Its share, a weight beside those", "1")

    def _usual_desk(self) -> str:
        ends = [str(name) for name, step in self.tree.steps.items() if step.kind == "escalate"]
        return "desk" if "desk" in ends else ends[0] if len(ends) == 1 else ""

    def _offer(self, options: dict[str, Any], kind: str) -> None:
        """Ask for what a step may have besides."""
        if kind in BETWEEN:
            options["takes"] = options["takes"] or prompts.span("Minutes hands on")
        for key, kinds in (("tools", BETWEEN), ("spares", ("do", "fix"))):
            known = getattr(self.library, key)
            if kind in kinds and known and not options[key]:
                options[key] = prompts.several(f"{key.capitalize()} that it takes", known, key.rstrip("s"))

    # --- the case -------------------------------------------------------------------------------------

    def _ask_case(self, options: dict[str, Any]) -> None:
        ends = {*self._new_ids(), *(one["to"] for one in self.plan if one["to"])}
        meant = next((case for case in self._waiting if str(case.ends_at) in ends), None)
        for case in self._waiting:
            click.echo(f"  Waiting: {case.case}, ends at {case.ends_at}")
        if meant is not None:
            given = prompts.ask(f"The case that shows it ({prompts.NONE} for none)", lambda _: "", str(meant.case))
            options["case_name"] = None if given == prompts.NONE else given
        else:
            options["case_name"] = prompts.optional("A case that shows it, in a few words")
        if options["case_name"]:
            self._settle_name(options)
            judge_case(self.library, self._branch(options), options["case_name"])

    def _settle_name(self, options: dict[str, Any]) -> None:
        """Ask whether a case that waits is meant, where the name is nearly its name."""
        name = folded(options["case_name"])
        if options["new_case"] or any(folded(case.case) == name for case in self.tree.cases):
            return
        alike = waits_alike(options["case_name"], self._waiting)
        if alike is None:
            return
        click.echo(f"  There is no case {options['case_name']!r}; {str(alike.case)!r} waits")
        if click.confirm("  Is that one meant", default=True):
            options["case_name"] = str(alike.case)
        else:
            options["new_case"] = True

    def _settle_path(self, first: dict[str, Any]) -> None:
        """Ask which answer the case gives at each new check, and move it to the branch that it goes over last."""
        waiting = next((case for case in self._waiting if folded(case.case) == folded(first["case_name"])), None)
        options, name = first, first["case_name"]
        while options["check"]:
            check = options["new_id"]
            given = dict(options["given"]).get(check)
            behind = {one["answer"]: one for one in self.plan if one["step"] == check}
            if given is None and waiting is not None:
                given = next((said for said, one in behind.items() if one["new_id"] == waiting.ends_at), None)
            answers = [*(answer for answer, _ in options["way"]), *behind]
            if given is None:
                question = f"What does the case {name!r} answer at {check}"
                given = prompts.one_of(question, answers, "answer")
            further = next((one for said, one in behind.items() if folded(said) == folded(given)), None)
            if further is None:
                others = tuple(pair for pair in options["given"] if pair[0] != check)
                options["given"] = (*others, (check, given))
                return
            rest = tuple(pair for pair in options["given"] if pair[0] != check)
            moved = {"case_name": options["case_name"], "new_case": options["new_case"], "given": rest}
            options |= {"case_name": None, "new_case": False, "given": ()}
            further |= moved
            options = further


def _kind(options: dict[str, Any]) -> str:
    return next((kind for kind in STEP_KINDS if options[kind]), "")
