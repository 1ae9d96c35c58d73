"""Page data to HTML through the templates, every text escaped."""

from __future__ import annotations

from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("kb_tools.pages"),
        autoescape=True,
        undefined=StrictUndefined,
        auto_reload=False,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["sentence"] = sentence
    return environment


def sentence(text: str) -> str:
    """Return a text with a full stop, where it does not end a sentence already; safe HTML stays safe."""
    ends = plain_end(text)
    return text if not ends or ends in ".!?:…" else text + "."


def plain_end(text: str) -> str:
    """Return the last character that a reader sees of a text or of safe HTML."""
    shown = text.striptags() if isinstance(text, Markup) and "<" in text else text
    return str(shown).rstrip()[-1:]


def render(template: str, **data: Any) -> Markup:  # noqa: ANN401 - each template has data of its own
    """Return what the template `<template>.html` makes of `data`, escaped."""
    return Markup(_environment().get_template(f"{template}.html").render(data))  # noqa: S704 - autoescaped
