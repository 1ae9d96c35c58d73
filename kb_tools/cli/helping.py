"""Commands that help: pages to read in the terminal, and completion for shells."""

from __future__ import annotations

import inspect
from typing import TYPE_CHECKING, Any

import click
from click.shell_completion import get_completion_class
from rich.console import Console
from rich.markdown import Markdown

from kb_tools import cli
from kb_tools.cli._completing import Completed
from kb_tools.findings import UsageError
from kb_tools.model.records import nearest
from kb_tools.report.topics import exit_codes, rule_text, topics
from kb_tools.rules import contract

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

_SHELLS = {
    "bash": 'eval "$(kb completion bash)" in ~/.bashrc',
    "zsh": 'eval "$(kb completion zsh)" in ~/.zshrc',
    "fish": "kb completion fish | source in ~/.config/fish/config.fish",
}
"""Shell -> the line that switches completion on, and where it belongs."""


class _TopicName(Completed):
    """The name of something that there is help on."""

    def known(self, ctx: click.Context) -> Iterable[tuple[str, str]]:
        """Yield commands, topics and rules."""
        yield from ((name, purpose(command)) for name, command in _commands(ctx))
        yield from ((name, topic.summary) for name, topic in topics(cli).items())
        yield from ((name, rule.SUMMARY) for name, rule in contract.all_rules().items())


@click.command("help")
@click.argument("words", nargs=-1, metavar="[TOPIC]", type=_TopicName())
@click.pass_context
def help_(ctx: click.Context, words: tuple[str, ...]) -> None:
    """Tell of a TOPIC: a command, a rule, or one of the topics that are listed when none is named."""
    name = " ".join(words)
    commands, others, rules = dict(_commands(ctx)), topics(cli), contract.all_rules()
    if not name:
        _show(_overview(ctx))
    elif name in commands:
        _show(_command_text(name, commands[name]))
    elif name in others:
        _show(others[name].text())
    elif name in rules:
        _show(rule_text(rules[name]))
    else:
        close = nearest(name, [*commands, *others, *rules])
        hint = f"Did you mean {close}?" if close else "`kb help` lists what there is."
        raise UsageError(f"There is no help on {name!r}. {hint}")


@click.command()
@click.argument("shell", type=click.Choice(list(_SHELLS)))
@click.pass_context
def completion(ctx: click.Context, shell: str) -> None:
    """Print what makes a SHELL complete commands, options and ids of trees, steps, tables and rules.

    For bash put `eval "$(kb completion bash)"` into ~/.bashrc; for zsh `eval "$(kb completion zsh)"`
    into ~/.zshrc; for fish `kb completion fish | source` into ~/.config/fish/config.fish.
    """
    found = get_completion_class(shell)
    if found is None:
        raise UsageError(f"There is no completion for {shell}")
    click.echo(found(ctx.find_root().command, {}, "kb", "_KB_COMPLETE").source())


def purpose(command: click.Command) -> str:
    """Return the first paragraph of a command's help."""
    return (command.help or "").partition("\n\n")[0].replace("\n", " ")


def _commands(ctx: click.Context) -> Iterator[tuple[str, click.Command]]:
    """Yield every command with its name, those of groups as `case add`."""
    root = ctx.find_root()
    assert isinstance(root.command, click.Group)  # noqa: S101 - the root is the group of all commands
    yield from leaves(root.command, root)


def leaves(group: click.Group, ctx: click.Context, before: str = "") -> Iterator[tuple[str, click.Command]]:
    """Yield the commands of a group and of the groups in it with their names, in order."""
    for name in group.list_commands(ctx):
        command = group.get_command(ctx, name)
        if isinstance(command, click.Group):
            yield from leaves(command, ctx, f"{before}{name} ")
        elif command:
            yield f"{before}{name}", command


def _overview(ctx: click.Context) -> str:
    rows = [f"- **{name}**: {purpose(command)}" for name, command in _commands(ctx)]
    others = [f"- **{name}**: {topic.summary}" for name, topic in topics(cli).items()]
    return "\n".join(
        ["# kb", "", "`kb help TOPIC` tells more.", "", "## Commands", "", *rows, "", "## Topics", "", *others]
    )


def _command_text(name: str, command: click.Command) -> str:
    """Return a command as a manual shows it: name, how it is called, what it does, its options."""
    inner = click.Context(command, info_name=f"kb {name}")
    told = inspect.cleandoc(command.help or "").partition("\n\n")[2]
    records = [record for param in command.get_params(inner) if (record := param.get_help_record(inner))]
    options = [f"- `{what}`: {meaning}" for what, meaning in records if meaning]
    usage = " ".join(["kb", name, *command.collect_usage_pieces(inner)])
    head = [f"# kb {name}", "", purpose(command), "", "```text", usage, "```", "", told]
    return "\n".join([*head, "", "## Options", "", *options, "", "## Exit codes", "", exit_codes(cli)])


def _show(text: str) -> None:
    """Show a text, on a terminal page by page."""
    console = Console(highlight=False)
    shown: Any = Markdown(text)
    if console.is_terminal:
        with console.pager(styles=True):
            console.print(shown)
    else:
        console.print(shown)
