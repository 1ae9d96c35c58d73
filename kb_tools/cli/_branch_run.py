"""What `kb branch` does with its options: judge the branches that they make, and ask again where that is wanted."""

from __future__ import annotations

import shlex
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import click

from kb_tools.author.branch import Branch, add_branch, slug, tree_and_step
from kb_tools.author.branch_case import OtherCaseWaitsError, UnansweredError, add_case, lead_cases_on
from kb_tools.author.branch_place import also_reached
from kb_tools.author.change import Change, judge
from kb_tools.cli import _prompts as prompts
from kb_tools.cli._branch_options import STEP_OPTIONS, answer_keys_of, command_line, step_keys_of
from kb_tools.findings import UsageError
from kb_tools.model.build import load
from kb_tools.model.entities import STEP_KINDS

if TYPE_CHECKING:
    from datetime import date

    from kb_tools.author.branch_case import Shown
    from kb_tools.author.change import Verdict
    from kb_tools.cli._branch_dialogue import Plan
    from kb_tools.model.entities import Library

_NAMES_OF_STEPS = ("step", "to", "before", "then", "cannot", "not_cured", "new_id")
"""Options that name a step."""


@dataclass(slots=True)
class Grown:
    """Branches as they would stand in the files."""

    change: Change
    verdict: Verdict
    told: list[str] = field(default_factory=list)
    """What was changed, in words."""
    new: dict[tuple[str, str], dict[str, str]] = field(default_factory=dict)
    """(file, id) of each new step -> its keys and the options that say them."""


def grown(library: Library, plan: Plan, today: date, *, asking: bool) -> Grown:
    """Make the branches of a plan, one after the other, and judge them together.

    Args:
        library: The library as it stands.
        plan: The options of each branch; answers of a case that are asked for are put there.
        today: The day that reviews are judged by.
        asking: Whether somebody can be asked what a case answers.

    Raises:
        UsageError: when a branch does not fit.

    """
    change = Change(library.root)
    told: list[str] = []
    new: dict[tuple[str, str], dict[str, str]] = {}
    rounds: list[str] = []
    for number, options in enumerate(plan):
        before = load(library.root, texts=change.texts) if number else library
        branch = _branch_of(before, options)
        file = before.trees[branch.tree].file
        told += [f"{file}: {'step ' + branch.new + ' added' if branch.new else 'answer added'}"]
        told += add_branch(change, before, branch)
        if branch.new:
            new[file, branch.new] = STEP_OPTIONS
        name = options["case_name"]
        led = lead_cases_on(change, before, branch, name or "")
        told += [f"case `{case}` passes {branch.new} by the answer that leads on" for case in led]
        if name:
            told.append(_case_told(_with_case(change, before, branch, options, asking=asking)))
        around = also_reached(load(library.root, texts=change.texts), branch) if branch.before else []
        if around:
            rounds.append(
                f"{branch.before} is also reached from {', '.join(around)}, which the new step {branch.new} does not "
                "stand before"
            )
    return Grown(change, judge(change, today), [*told, *rounds], new)


def _branch_of(library: Library, options: dict[str, Any]) -> Branch:
    """Return the branch that options say."""
    found, at = tree_and_step(library, options["tree"], options["step"])
    keys = step_keys_of(options, library)
    new = ""
    if keys:
        body = next(iter(keys.values()))
        new = options["new_id"] or slug(body["use"] if isinstance(body, dict) else str(body), found.steps)
        if not new:
            raise UsageError("No id can be made of the words of the new step; give it one with --id")
    return Branch(
        found.id,
        options["step"],
        options["answer"] or "",
        options["to"] or "",
        options["before"] or "",
        new,
        keys,
        answer_keys_of(options, at),
    )


def _with_case(change: Change, library: Library, branch: Branch, options: dict[str, Any], *, asking: bool) -> Shown:
    """Lead a case over a branch; where somebody can be asked, ask what it answers further on."""
    while True:
        said = dict(options["given"])
        try:
            return add_case(change, library, branch, options["case_name"], said, anew=options["new_case"])
        except UnansweredError as error:
            if not asking:
                raise
            question = f"What does the case {options['case_name']!r} answer at {error.step}"
            if len(error.asks) > 1:
                answer = prompts.one_of(question, error.asks, "answer")
            else:
                answer = prompts.text(f"{question} ({error.asks[0]})")
            options["given"] = (*options["given"], (error.step, answer))
        except OtherCaseWaitsError as error:
            if not asking:
                raise
            click.echo(f"  There is no case {options['case_name']!r}; {str(error.waiting.case)!r} waits: {error.why}")
            if click.confirm("  Is that one meant", default=True):
                options["case_name"] = str(error.waiting.case)
            else:
                options["new_case"] = True


def _case_told(shown: Shown) -> str:
    name, end = shown.case.name, shown.case.ends_at
    if not shown.before:
        return f"a new case, `{name}`, ends at {end}"
    what = "the case that waited" if shown.before == "waited" else "the known case"
    if shown.run_end != end:
        return f"{what}, `{name}`, goes over the branch and ends at {shown.run_end}, not yet at {end}"
    return f"{what}, `{name}`, ends at {end}"


# --- again ------------------------------------------------------------------------------------------


def as_commands(command: click.Command, plan: Plan, *, whole: bool) -> list[str]:
    """Return what was answered as lines that can be typed in a shell, with a word on them."""
    lines = [command_line(command, options, whole=whole) for options in plan]
    head = "What was answered, as a command:" if len(lines) == 1 else "What was answered, as commands, in this order:"
    return [head, *(f"  {line}" for line in lines)]


def changed(command: click.Command, plan: Plan) -> bool:
    """Ask what of a plan is to be changed, and change it.

    Returns:
        Whether something was changed; False where the person wants to leave.

    """
    several = len(plan) > 1
    which = ", the number of the command first, as in 2 leave" if several else ""
    while True:
        told = f"Change an option (its name, as in leave or restores{which}; empty: stop)"
        line = prompts.ask(told, lambda _: "")
        if not line:
            return False
        number, _, rest = line.partition(" ")
        at = len(plan) - 1
        if number.isdecimal() and 0 < int(number) <= len(plan):
            at, line = int(number) - 1, rest.strip()
        problem = _change(command, plan, plan[at], line)
        if not problem:
            return True
        click.echo(f"  {problem}")


def _change(command: click.Command, plan: Plan, options: dict[str, Any], line: str) -> str:
    """Change one option as a line says; return what is wrong with it."""
    try:
        words = shlex.split(line)
    except ValueError as error:
        return f"{error}: quote a text that has spaces or quotation marks in it"
    known = {name.removeprefix("--"): param for param in _changeable(command) for name in param.opts}
    name = (words or [""])[0].removeprefix("--").replace("_", "-")
    param = known.get(name)
    if param is None:
        return prompts.missing(name, known, "option")
    values = words[1:] or _asked(param)
    if values == [prompts.NONE] and param.nargs == 1:
        options[param.name or ""] = () if param.multiple else None
        return ""
    flag = isinstance(param, click.Option) and param.is_flag
    if param.nargs == 1 and not flag and not any(word.startswith("--") for word in values):
        values = [" ".join(values)]
    try:
        made = command.make_context("branch", [options["tree"], options["step"], f"--{name}", *values])
    except click.UsageError as error:
        return error.format_message()
    old = options["new_id"]
    for key, value in made.params.items():
        source = made.get_parameter_source(key)
        if source is click.core.ParameterSource.COMMANDLINE and key not in ("tree", "step"):
            if key in STEP_KINDS:
                options |= dict.fromkeys((*STEP_KINDS, "use"))
            options[key] = value
    if old and options["new_id"] != old:
        _rename(plan, old, options["new_id"])
    return ""


def _changeable(command: click.Command) -> list[click.Parameter]:
    kept = ("ask", "library_dir", "today", "dry_run")
    options = [param for param in command.params if isinstance(param, click.Option) and param.expose_value]
    return [param for param in options if param.name not in kept]


def _asked(param: click.Parameter) -> list[str]:
    """Ask for the value of an option that was only named."""
    if isinstance(param, click.Option) and param.is_flag:
        return []
    told = (param.help if isinstance(param, click.Option) else "") or ""
    if param.nargs == 1:
        return [prompts.text(f"{told.rstrip('.')} ({prompts.NONE} for none)")]
    example = f"{param.metavar or 'values'}; quote what has spaces"
    while True:
        try:
            return shlex.split(prompts.text(f"{told.rstrip('.')} ({example})"))
        except ValueError as error:
            click.echo(f"  {error}")


def _rename(plan: Plan, old: str, new: str) -> None:
    """Call a new step otherwise wherever the plan names it."""
    for options in plan:
        for key in _NAMES_OF_STEPS:
            if options[key] == old:
                options[key] = new
        options["way"] = tuple((answer, new if to == old else to) for answer, to in options["way"])
        options["given"] = tuple((new if step == old else step, said) for step, said in options["given"])
