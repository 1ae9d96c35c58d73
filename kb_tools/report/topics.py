"""What `kb help` tells: each topic as Markdown, from the texts that code and pages have already."""

from __future__ import annotations

import inspect
import re
from dataclasses import dataclass
from html import unescape
from typing import TYPE_CHECKING

from kb_tools.model import code
from kb_tools.numbers import odds
from kb_tools.pages.format_page import format_page
from kb_tools.rules import contract

if TYPE_CHECKING:
    from collections.abc import Callable
    from types import ModuleType

    from kb_tools.pages.format_page import KeyTable
    from kb_tools.rules.contract import Rule

_TAG = re.compile(r"<[^>]*>")


@dataclass(frozen=True, slots=True)
class Topic:
    """Something to read about."""

    summary: str
    text: Callable[[], str]
    """The text in Markdown."""


def topics(command: ModuleType) -> dict[str, Topic]:
    """Return the topics that are neither a command nor a rule, by their names.

    Args:
        command: The module of the command itself, whose text tells the exit codes.

    """
    return {
        "exit-codes": Topic("What `kb` ends with, and when", lambda: f"# Exit codes\n\n{exit_codes(command)}"),
        "file-format": Topic("Every file of a library and every key in it", _file_format),
        "numbers-of-a-tree": Topic("How odds and minutes of a tree come about", lambda: _doc(odds)),
        "rules": Topic("What `kb check` proves; `kb help RULE` tells of one rule", _rules),
        "walk-codes": Topic("Walks as letters that can be read out over the phone", lambda: _doc(code)),
    }


def exit_codes(command: ModuleType) -> str:
    """Return the table of exit codes in the text of the command's module."""
    return "\n".join(line for line in inspect.cleandoc(command.__doc__ or "").splitlines() if line.startswith("|"))


def rule_text(rule: Rule) -> str:
    """Return what a rule wants and why."""
    return f"# {rule.ID} ({rule.SEVERITY})\n\n{inspect.cleandoc(rule.__doc__)}"


def _doc(module: ModuleType) -> str:
    """Return what a module says of itself, its first sentence as the title."""
    title, _, rest = inspect.cleandoc(module.__doc__ or "").partition("\n")
    return f"# {title.rstrip('.')}\n{rest}"


def _rules() -> str:
    rows = [f"- **{name}** ({rule.SEVERITY}): {rule.SUMMARY}" for name, rule in contract.all_rules().items()]
    return "\n".join(["# Rules", "", *rows])


def _file_format() -> str:
    page = format_page()
    files = [f"- `{file.path}`: {_text(file.holds)}" for file in page.files]
    return "\n".join(["# File format", "", *files, *(line for table in page.tables for line in _keys(table))])


def _keys(table: KeyTable) -> list[str]:
    rows = [
        f"- **{row.name}**{' (must be there)' if row.is_required else ''}: {_text(row.doc)} *{_text(row.kind)}*"
        + (f" (for {row.steps})" if row.steps else "")
        for row in table.rows
    ]
    return ["", f"## {table.name}", "", table.summary, "", *rows]


def _text(rendered: str) -> str:
    """Return rendered text without its tags, signs of Markdown as themselves."""
    return re.sub(r"([*_<\[\\])", r"\\\1", unescape(_TAG.sub("", rendered)))
