"""The pages of the rules: what each proves, why, and its good and bad examples."""

from __future__ import annotations

import inspect
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from markupsafe import Markup

from kb_tools.pages.rich_text import html, inline
from kb_tools.rules.contract import all_rules
from kb_tools.rules.example_files import Example, examples_of

if TYPE_CHECKING:
    from kb_tools.pages.words import Words
    from kb_tools.rules.contract import Rule

ROOT = "../"
_MARKS = re.compile(r"\s*#\s*(?:\S+:)?(?:\d+ )?<-.*$")


@dataclass(frozen=True, slots=True)
class ExampleLine:
    """One line of an example."""

    number: int
    text: str
    finds: str
    """The rules that are broken there; empty for a sound line."""


@dataclass(frozen=True, slots=True)
class ExampleView:
    """An example as the page shows it."""

    title: str
    is_good: bool
    file: str
    about: str
    lines: list[ExampleLine]
    elsewhere: list[str]
    """Findings in other files: place and rule."""


@dataclass(frozen=True, slots=True)
class RulePage:
    """A rule's page."""

    id: str
    severity: str
    summary: Markup
    text: Markup
    examples: list[ExampleView]


def rule_pages(words: Words) -> list[RulePage]:
    """Return the pages of all rules, in the order of their ids."""
    return [_page(rule, words) for rule in all_rules().values()]


def _page(rule: Rule, words: Words) -> RulePage:
    text = html(inspect.cleandoc(rule.__doc__), ROOT)
    return RulePage(
        rule.ID,
        str(rule.SEVERITY),
        inline(rule.SUMMARY, ROOT),
        _linked(text, rule.ID),
        [_example(example, words) for example in examples_of(rule.ID)],
    )


def _linked(text: Markup, own: str) -> Markup:
    """Lead from each rule that a text names to that rule's page."""
    known = all_rules()

    def link(match: re.Match[str]) -> str:
        name = match[1]
        return f'<a href="{name}.html">{match[0]}</a>' if name in known and name != own else match[0]

    return Markup(re.sub(r"<code>([a-z-]+)</code>", link, text))  # noqa: S704 - safe HTML with links put in


def _example(example: Example, words: Words) -> ExampleView:
    lines = example.text.removesuffix("\n").split("\n")
    head = next((at for at, line in enumerate(lines[1:], 1) if not line.startswith("#")), len(lines))
    about = " ".join(line.lstrip("# ") for line in lines[1:head] if not _MARKS.fullmatch(line))
    finds: dict[int, list[str]] = {}
    for expected in example.expected:
        if expected.file == example.target:
            finds.setdefault(expected.line, []).append(expected.rule)
    shown = [
        ExampleLine(number, _printable(_MARKS.sub("", line)), ", ".join(finds.get(number, [])))
        for number, line in enumerate(lines, 1)
        if number > head or number in finds
    ]
    elsewhere = [
        words.say("reference.place", file=expected.file, line=expected.line, rule=expected.rule)
        for expected in example.expected
        if expected.file != example.target
    ]
    title = example.name.replace("-", " ")
    return ExampleView(title[:1].upper() + title[1:], example.is_good, example.target, about, shown, elsewhere)


def _printable(line: str) -> str:
    """Return a line with what a page cannot hold replaced."""
    kept = line[:200] + ("…" if len(line) > 200 else "")  # noqa: PLR2004 - a page shows no longer line
    return "".join(char if char.isprintable() else "\N{REPLACEMENT CHARACTER}" for char in kept)
