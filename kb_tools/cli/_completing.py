"""Arguments that are ids of a library, or of ours: shells complete them from the names of files."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.shell_completion import CompletionItem

from kb_tools.findings import LibraryError
from kb_tools.rules import contract
from kb_tools.source.files import list_files, read_text
from kb_tools.source.yaml_nodes import compose

if TYPE_CHECKING:
    from collections.abc import Iterable

    from kb_tools.source.files import SourceFile


class Completed(click.ParamType[str]):
    """A text that a shell can complete; whether it names something is judged by the command."""

    name = "text"

    def convert(self, value: Any, _param: click.Parameter | None, _ctx: click.Context | None) -> str:  # noqa: ANN401 - click's signature
        """Return the text as it is."""
        return str(value)

    def known(self, ctx: click.Context) -> Iterable[tuple[str, str]]:
        """Yield what may stand there, each with a word on it."""
        raise NotImplementedError

    def shell_complete(self, ctx: click.Context, _param: click.Parameter, incomplete: str) -> list[CompletionItem]:
        """Return what begins as the word that is being typed; nothing where no library can be read."""
        try:
            return [CompletionItem(name, help=told) for name, told in self.known(ctx) if name.startswith(incomplete)]
        except (LibraryError, OSError):
            return []


class FileId(Completed):
    """The id of a tree, a table or a map: the name of its file."""

    def __init__(self, *roles: str) -> None:
        """Complete the ids of files of these roles."""
        self._roles = roles

    def known(self, ctx: click.Context) -> Iterable[tuple[str, str]]:
        """Yield the ids, in the order of their files."""
        return [(file.stem, file.area or file.role) for file in _files(ctx) if file.role in self._roles]


class StepId(Completed):
    """The id of a step of the tree that was named before."""

    def __init__(self, tree: str) -> None:
        """Complete the steps of the tree that the argument `tree` names."""
        self._tree = tree

    def known(self, ctx: click.Context) -> Iterable[tuple[str, str]]:
        """Yield the steps as the tree's file names them."""
        for file in _files(ctx):
            if file.role == "tree" and file.stem == ctx.params.get(self._tree):
                text, _ = read_text(file)
                root, _ = compose(text or "", file.name)
                steps = next((value for key, value in _pairs(root) if key.value == "steps"), None)
                return [(str(key.value), "") for key, _ in _pairs(steps)]
        return []


class RuleId(Completed):
    """The id of a rule."""

    def known(self, ctx: click.Context) -> Iterable[tuple[str, str]]:  # noqa: ARG002 - rules do not depend on it
        """Yield the rules, each with its summary."""
        return [(name, rule.SUMMARY) for name, rule in contract.all_rules().items()]


def _files(ctx: click.Context) -> list[SourceFile]:
    return list_files(Path(ctx.params.get("library_dir") or ".")).files


def _pairs(node: Any) -> list[tuple[Any, Any]]:  # noqa: ANN401 - a node of YAML
    """Return keys and values of a mapping; nothing of anything else."""
    value = getattr(node, "value", None)
    return value if isinstance(value, list) and value and isinstance(value[0], tuple) else []
