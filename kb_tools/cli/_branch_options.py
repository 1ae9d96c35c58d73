"""The options of `kb branch`: what a new step and a new answer can bear, and the questions for what is missing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from kb_tools.author.branch import slug
from kb_tools.findings import UsageError
from kb_tools.model.entities import STEP_KINDS
from kb_tools.model.values import is_id

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from kb_tools.model.entities import Library, Step, Tree

_KIND_HELP = {
    "check": "a question answered in words",
    "measure": "what to measure",
    "do": "an action with one way on",
    "fix": "what mends the fault",
    "escalate": "whom to hand the case to",
    "done": "an end that is no fault",
    "link": "a way into another tree: TREE or TREE/STEP",
}
_TEXTS = {
    "say": "Of the new step: the support desk's wording.",
    "how": "Of the new step: how to do it.",
    "who": "Of the new step: anyone or technician.",
    "takes": "Of the new step: minutes hands on, as in '5 min'.",
    "wait": "Of the new step: time that only passes.",
    "unit": "Of a new measurement: the unit of the reading.",
    "source": "Of the new step: where limits come from.",
    "live_because": "Of the new step: why it is done with the hazard present.",
    "controls": "Of the new step: what keeps the person safe meanwhile.",
    "confirm": "Of a new do: how to see that it worked.",
    "then": "Of a new do: the step after it (default: the one of --before).",
    "cannot": "Of a new do: the step for somebody who cannot.",
    "proof": "Of a new fix: the proof that returns the chair to service.",
    "not_cured": "Of a new fix: where to go when the proof fails (default: the one of --before).",
    "put_back": "Of the new step: how to put back what was isolated.",
    "leave": "Of a new end: how to leave the chair.",
}
_LISTS = {
    "tools": "tools",
    "spares": "spares",
    "looks_at": "parts of the map",
    "cautions": "cautions beside those of its hazards",
    "exposes": "hazards that it lays open",
    "needs": "hazards whose power it needs",
    "works_live": "hazards that are present while it is done",
    "isolates": "hazards that are isolated after it",
    "confirms": "hazards whose isolation it confirms",
    "restores": "hazards that are back after it",
}
_ORDER = (
    *("say", "how", "who", "takes", "wait", "tools", "looks_at", "cautions", "unit", "plausible", "source"),
    *("works_live", "live_because", "controls", "exposes", "needs", "confirm", "isolates", "confirms"),
    *("share", "cures", "spares", "restores", "put_back", "proof", "answers", "bands", "then", "cannot"),
    *("not_cured", "bring", "leave", "stop_use"),
)
"""The keys of a step in the order in which `kb` writes them."""
_OPEN = "-"
_ENDS = ("fix", "escalate", "done")


def branch_options(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the options of a branch."""
    options = [
        click.option("--answer", help="The new answer or band; with --before, the answer behind which the step goes."),
        click.option("--to", help="An existing step that the answer leads to."),
        click.option("--before", help="Put the new step between STEP and this one."),
        *(click.option(f"--{kind}", help=f"A new step: {told}.") for kind, told in _KIND_HELP.items()),
        click.option("--use", help="A new step with the body of this shared check or fix."),
        click.option("--id", "new_id", help="The id of the new step (default: from its words)."),
        click.option("--way", nargs=2, multiple=True, metavar="ANSWER STEP", help="Of a new check: an answer."),
        click.option(
            "--band",
            nargs=4,
            multiple=True,
            metavar="FROM BELOW ANSWER STEP",
            help=f"Of a new measurement: a band; {_OPEN} for no edge.",
        ),
        click.option("--plausible", nargs=2, type=float, help="Of a new measurement: least and most that is believed."),
        *(click.option(f"--{key.replace('_', '-')}", key, help=told) for key, told in _TEXTS.items()),
        click.option("--share", type=float, help="Of a new cause: its weight."),
        click.option("--cures", type=float, help="Of a new fix: the chance that it cures when it was the cause."),
        *(
            click.option(
                f"--{key.replace('_', '-')}",
                key,
                multiple=True,
                help=f"Of the new step: {told}; ids, by commas or repeated.",
            )
            for key, told in _LISTS.items()
        ),
        click.option("--bring", multiple=True, help="Of a new escalation: what whoever takes over needs to know."),
        click.option("--answer-say", help="Of the new answer: the support desk's wording."),
        click.option("--unsure", is_flag=True, help="Of the new answer: it is for somebody who cannot tell."),
        click.option("--from", "start", type=float, help="Of a new band: its least reading."),
        click.option("--below", type=float, help="Of a new band: readings are smaller than this."),
        click.option("--stop-use", help="Of the new answer, else of the new end: advice to stop using the chair."),
    ]
    for option in reversed(options):
        command = option(command)
    return command


def step_keys_of(options: dict[str, Any], library: Library) -> dict[str, Any]:
    """Return the keys of the new step, its kind first; none where no new step is asked for.

    Raises:
        UsageError: when options do not go together.

    """
    kinds = [kind for kind in STEP_KINDS if options[kind]]
    if len(kinds) + bool(options["use"]) > 1:
        raise UsageError("A new step is of one kind: give one of " + ", ".join(f"--{kind}" for kind in (*kinds, "use")))
    if not kinds and not options["use"]:
        return {}
    kind, body = (kinds[0], options[kinds[0]]) if kinds else _shared(options["use"], library)
    found: dict[str, Any] = {key: options[key] for key in (*_TEXTS, "share", "cures") if options[key] is not None}
    found |= {key: [one for text in options[key] for one in text.replace(",", " ").split()] for key in _LISTS}
    found["bring"] = list(options["bring"])
    found["plausible"] = list(options["plausible"] or ())
    found["answers"] = [{"answer": answer, "to": to} for answer, to in options["way"]]
    found["bands"] = [_band(*edges) for edges in options["band"]]
    if options["stop_use"] and not options["answer"] and kind in _ENDS:
        found["stop_use"] = options["stop_use"]
    if options["before"]:
        onward = {"do": "then", "fix": "not_cured"}.get(kind)
        if onward:
            found.setdefault(onward, options["before"])
    return {kind: body} | {key: found[key] for key in _ORDER if found.get(key) not in (None, [])}


def _shared(name: str, library: Library) -> tuple[str, dict[str, str]]:
    body = library.fixes.get(name) or library.checks.get(name)  # type: ignore[call-overload]
    if body is None:
        raise UsageError(f"There is no shared check or fix {name!r}")
    return body.kind, {"use": name}


def _band(start: str, below: str, answer: str, to: str) -> dict[str, Any]:
    try:
        edges = {key: float(edge) for key, edge in (("from", start), ("below", below)) if edge != _OPEN}
    except ValueError as error:
        raise UsageError(f"--band {start} {below}: the edges are numbers, or {_OPEN} for none") from error
    return {**edges, "answer": answer, "to": to}


def answer_keys_of(options: dict[str, Any], step: Step) -> dict[str, Any]:
    """Return the further keys of the new answer."""
    if options["before"] or step.kind not in ("check", "measure"):
        return {}
    found = {
        "from": options["start"],
        "below": options["below"],
        "say": options["answer_say"],
        "unsure": options["unsure"] or None,
        "stop_use": options["stop_use"],
    }
    return {key: value for key, value in found.items() if value is not None}


# --- questions ------------------------------------------------------------------------------------


def asked(library: Library, tree: Tree, step_id: str, options: dict[str, Any]) -> None:
    """Ask for what the options leave open, and put it there."""
    step = tree.steps[step_id]  # type: ignore[index]
    click.echo(f"{step_id}: {step.text}")
    for way in step.answers or step.bands or ():
        click.echo(f"  {way.answer} -> {way.to}")
    if not options["answer"] and not options["before"]:
        _ask_where(step, options)
    if not options["to"] and not options["use"] and not any(options[kind] for kind in STEP_KINDS):
        _ask_what(tree, options)
    kind = next((kind for kind in STEP_KINDS if options[kind]), "")
    if kind:
        options["new_id"] = options["new_id"] or click.prompt("Its id", default=slug(options[kind], tree.steps))
        _ask_rest(library, kind, options)
        if options["case_name"] is None:
            options["case_name"] = _optional("A case that shows it, in a few words")


def _ask_where(step: Step, options: dict[str, Any]) -> None:
    if step.kind in ("check", "measure"):
        options["answer"] = click.prompt("The new answer")
        if step.kind == "measure":
            for key, told in (("start", "From which reading on"), ("below", "Below which reading")):
                if options[key] is None:
                    given = click.prompt(f"{told} (empty: no edge)", default="", show_default=False)
                    options[key] = _number(given)
        if not options["unsure"]:
            options["stop_use"] = options["stop_use"] or _optional("Advice to stop using the chair after it")
    else:
        onward = step.then or step.not_cured
        options["before"] = click.prompt("Before which step", default=str(onward) if onward else None)


def _ask_what(tree: Tree, options: dict[str, Any]) -> None:
    """Ask where the answer leads: to a step that there is, or to a new one of a kind."""
    kinds = ", ".join(kind for kind in STEP_KINDS if kind != "link")
    while True:
        given = click.prompt(f"It leads to (a step, or for a new one: {kinds}, link)").strip()
        if given in STEP_KINDS:
            options[given] = click.prompt(_KIND_HELP[given].capitalize())
            return
        if given in tree.steps and not options["before"]:
            options["to"] = given
            return
        click.echo(f"There is no step {given!r} in {tree.id}: {', '.join(tree.steps)}")


def _ask_rest(library: Library, kind: str, options: dict[str, Any]) -> None:
    """Ask what a new step of a kind cannot do without, and what keeps people safe."""
    if kind == "check" and not options["way"]:
        options["way"] = _ask_ways(options["before"])
    if kind == "measure":
        options["unit"] = options["unit"] or click.prompt("Unit of the reading")
        options["source"] = options["source"] or click.prompt(
            "Where do its limits come from", default="common practice"
        )
        if not options["band"]:
            options["band"] = _ask_bands(options["before"])
    if kind in ("do", "fix", "check", "measure") and not options["exposes"] and library.hazards:
        told = f"Hazards that it lays open ({', '.join(library.hazards)})"
        options["exposes"] = tuple(filter(None, [_optional(told) or ""]))
    if kind == "do":
        options["then"] = options["then"] or options["before"] or click.prompt("The step after it")
        options["cannot"] = options["cannot"] or _optional("The step for somebody who cannot do it")
    if kind == "fix":
        options["proof"] = options["proof"] or click.prompt(f"Its proof ({', '.join(library.proofs)})")
        options["share"] = (
            _number(click.prompt("Its share", default="1")) if options["share"] is None else options["share"]
        )
        options["not_cured"] = options["not_cured"] or click.prompt("Where to go when the proof fails", default="desk")
    if kind == "escalate":
        options["leave"] = options["leave"] or _optional("How to leave the chair")


def _ask_ways(default: str | None) -> Sequence[tuple[str, str]]:
    ways: list[tuple[str, str]] = []
    while True:
        answer = click.prompt(f"Answer {len(ways) + 1} (empty: no more)", default="", show_default=False)
        if not answer and len(ways) > 1:
            return ways
        if answer:
            ways.append((answer, _step(f"  {answer} leads to", default)))


def _ask_bands(default: str | None) -> Sequence[tuple[str, str, str, str]]:
    bands: list[tuple[str, str, str, str]] = []
    start = _OPEN
    while True:
        below = click.prompt(
            f"Band {len(bands) + 1}: from {start} to below (empty: no end)", default="", show_default=False
        )
        answer = click.prompt("  What such a reading means")
        bands.append((start, below or _OPEN, answer, _step(f"  {answer} leads to", default)))
        if not below:
            return bands
        start = below


def _step(question: str, default: str | None) -> str:
    while True:
        given = str(click.prompt(question, default=default)).strip()
        if is_id(given):
            return given
        click.echo("Write the id of a step: small letters, digits and hyphens")


def _optional(question: str) -> str | None:
    return str(click.prompt(f"{question} (empty: none)", default="", show_default=False)).strip() or None


def _number(text: str) -> float | None:
    try:
        return float(text) if text.strip() else None
    except ValueError as error:
        raise UsageError(f"{text!r} is no number; nothing was changed") from error
