"""The group of all commands, and how errors that a person can mend are told.

A module is read when one of its commands is asked for: the makers of site, book and diagrams take longer to
read than a small library takes to check.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

import click

from kb_tools import cli
from kb_tools.cli._common import WRONG_USE, quiet_option
from kb_tools.findings import LibraryError, UsageError

if TYPE_CHECKING:
    from types import ModuleType

MODULES = {
    "authoring": ("alike", "compare", "schema", "start"),
    "branching": ("branch", "case", "move", "rename"),
    "check": ("check", "rule"),
    "figures": ("draft", "numbers", "order"),
    "helping": ("completion", "help"),
    "learning": ("learn",),
    "sharing": ("export", "paper"),
    "site": ("build", "pack", "preview", "verify"),
}
"""Module of this folder -> the commands in it."""
_MODULE_OF = {name: module for module, names in MODULES.items() for name in names}


def commands_of(module: ModuleType) -> dict[str, click.Command]:
    """Return the commands that a module holds, by their names; those of its groups are known by the group alone."""
    found = [value for value in vars(module).values() if isinstance(value, click.Command)]
    within = {id(one) for group in found if isinstance(group, click.Group) for one in group.commands.values()}
    return {str(one.name): one for one in found if id(one) not in within}


class _Group(click.Group):
    """A group that reads a command's module when it is asked for it, and tells the errors that a person can mend."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        """Return the names of all commands, in order."""
        return sorted(_MODULE_OF)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Return a command, or None."""
        if cmd_name not in _MODULE_OF:
            return None
        module = importlib.import_module(f"{cli.__name__}.{_MODULE_OF[cmd_name]}")
        return commands_of(module)[cmd_name]

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
