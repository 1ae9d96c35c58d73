"""Page data to HTML through the templates, every text escaped, and the words of the library's language put in."""

from __future__ import annotations

import re
from functools import cache, partial
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

if TYPE_CHECKING:
    from kb_tools.pages.words import Words

_STRONG, _CODE = re.compile(r"\*\*(.+?)\*\*"), re.compile("`(.+?)`")


@cache
def _environment(words: Words) -> Environment:
    environment = Environment(
        loader=PackageLoader("kb_tools.pages"),
        autoescape=True,
        undefined=StrictUndefined,
        auto_reload=False,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    # As filters of constants, texts without fields are put into a template once, when it is compiled.
    environment.filters |= {
        "sentence": sentence,
        "say": partial(_say, words),
        "counted": partial(_counted, words),
        "grouped": words.number,
    }
    return environment


def _say(words: Words, key: str, /, **fields: object) -> Markup:
    """Return a text of the interface as HTML; see `Words.say`."""
    return marked(words.text(key)).format(**fields)


def _counted(words: Words, key: str, number: int, /, **fields: object) -> Markup:
    """Return a text of the interface as HTML in the form that goes with a number; see `Words.count`."""
    return marked(words.form(key, number)).format(n=words.number(number), **fields)


@cache
def marked(text: str) -> Markup:
    """Return a text of the interface, not filled in, as HTML: `**bold**` and code in backticks."""
    return Markup(_CODE.sub(r"<code>\1</code>", _STRONG.sub(r"<strong>\1</strong>", text)))  # noqa: S704 - our own


def sentence(text: str) -> str:
    """Return a text with a full stop, where it does not end a sentence already; safe HTML stays safe."""
    ends = plain_end(text)
    return text if not ends or ends in ".!?:…" else text + "."


def plain_end(text: str) -> str:
    """Return the last character that a reader sees of a text or of safe HTML."""
    shown = text.striptags() if isinstance(text, Markup) and "<" in text else text
    return str(shown).rstrip()[-1:]


def render(template: str, words: Words, **data: Any) -> Markup:  # noqa: ANN401 - each template has data of its own
    """Return what the template `<template>.html` makes of `data` in the words of a language, escaped."""
    made = _environment(words).get_template(f"{template}.html").render(data)
    return Markup(made)  # noqa: S704 - autoescaped
