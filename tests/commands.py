"""The commands of `kb` as the docs list them."""

from __future__ import annotations

import click

from kb_tools.cli import helping
from kb_tools.cli._main import main


def leaves() -> list[tuple[str, click.Command]]:
    """Return every command with its name, in order; a command of a group as `case add`."""
    return list(helping.leaves(main, click.Context(main)))


def page_name(name: str) -> str:
    """Return the name of a command's page below content/commands/."""
    return f"{name.replace(' ', '-')}.md"


def usage(name: str, command: click.Command) -> str:
    """Return a command with its arguments, without options."""
    context = click.Context(command)
    arguments = [param.make_metavar(context) for param in command.params if isinstance(param, click.Argument)]
    return " ".join(["kb", name, *arguments])


def purpose(command: click.Command) -> str:
    """Return the first paragraph of a command's help."""
    return (command.help or "").split("\n\n")[0].replace("\n", " ")
