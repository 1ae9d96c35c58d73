"""The options of `kb branch`: what a new step and a new answer can bear, and the command that they make."""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING, Any

import click

from kb_tools.findings import UsageError
from kb_tools.model.entities import STEP_KINDS

if TYPE_CHECKING:
    from collections.abc import Callable

    from kb_tools.model.entities import Library, Step

KIND_HELP = {
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
        *(click.option(f"--{kind}", help=f"A new step: {told}.") for kind, told in KIND_HELP.items()),
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


# --- as a command again ---------------------------------------------------------------------------


def option_of(key: str) -> str:
    """Return the option that says a key of a new step, with what it takes."""
    name = f"--{key.replace('_', '-')}"
    return {"answers": "--way ANSWER STEP", "bands": "--band FROM BELOW ANSWER STEP"}.get(key, f"{name} {_takes(key)}")


def _takes(key: str) -> str:
    if key in _LISTS:
        return "ID"
    return {"share": "NUMBER", "cures": "NUMBER", "plausible": "LEAST MOST"}.get(key, "TEXT")


STEP_OPTIONS = {key: option_of(key) for key in _ORDER}
"""Key of a step -> the option that says it."""


def blank(options: dict[str, Any]) -> dict[str, Any]:
    """Return the options of another branch of the same tree, of which nothing is said yet."""
    kept = ("tree", "library_dir", "today", "ask", "dry_run")
    return {
        key: value if key in kept else () if isinstance(value, tuple) else False if isinstance(value, bool) else None
        for key, value in options.items()
    }


def command_line(command: click.Command, options: dict[str, Any], *, whole: bool) -> str:
    """Return a command with its options as it could be typed in a shell.

    Args:
        command: The command.
        options: What it was given, and what was answered.
        whole: Whether nothing is left to be asked for: then it says so, too.

    """
    words = ["kb", command.name or ""]
    for param in command.params:
        value = options.get(param.name or "")
        if isinstance(param, click.Argument):
            words.append(_written(value))
        elif (
            param.name != "ask"
            and value not in (None, (), False)
            and value != param.get_default(click.Context(command))
        ):
            words += _option_words(param, value)
    return shlex.join([*words, "--no-ask"] if whole else words)


def _option_words(param: click.Parameter, value: Any) -> list[str]:  # noqa: ANN401 - of the option's type
    """Return an option with its value, once for each value where it may be repeated."""
    name = max(param.opts, key=len)
    if value is True:
        return [name]
    values = value if param.multiple else [value]
    return [
        word
        for one in values
        for word in (name, *(map(_written, one) if isinstance(one, tuple | list) else [_written(one)]))
    ]


def _written(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) and float(f"{value:g}") == value else str(value)
