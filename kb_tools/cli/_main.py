"""The group of all commands, and how errors that a person can mend are told.

A command is a function decorated with `@click.command` in any module of this folder; nothing registers it.
Commands of a group (`kb case add`) are known by the group alone.
"""

from __future__ import annotations

import importlib
import pkgutil
from typing import Any

import click

from kb_tools import cli
from kb_tools.cli._common import WRONG_USE, quiet_option
from kb_tools.findings import LibraryError, UsageError


class _Group(click.Group):
    """A group that turns the errors that a person can mend into one line and an exit code."""

    def invoke(self, ctx: click.Context) -> Any:  # noqa: ANN401 - click's signature
        """Run the command; `LibraryError` is told, not traced."""
        try:
            return super().invoke(ctx)
        except UsageError as error:
            click.echo(f"kb: {error}", err=True)
            ctx.exit(WRONG_USE)
        except LibraryError as error:
            click.echo(f"kb: {error}", err=True)
            ctx.exit(1)


@click.group(cls=_Group, context_settings={"help_option_names": ["-h", "--help"]})
@quiet_option
@click.version_option(package_name="kb-tools", message="kb %(version)s")
def main() -> None:
    """Prove, draw and publish a library of troubleshooting trees."""


_commands = [
    value
    for found in pkgutil.iter_modules(cli.__path__, f"{cli.__name__}.")
    if not found.name.endswith(("__main__", __name__))
    for value in vars(importlib.import_module(found.name)).values()
    if isinstance(value, click.Command)
]
_within = {id(value) for group in _commands if isinstance(group, click.Group) for value in group.commands.values()}
for _command in _commands:
    if id(_command) not in _within:
        main.add_command(_command)
