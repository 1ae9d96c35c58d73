"""What a check of a library reports, and the errors that a caller may catch.

This module imports nothing of ours: every other part may use it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple


class Severity(StrEnum):
    """How much a finding weighs."""

    ERROR = "error"
    WARNING = "warning"


class Place(NamedTuple):
    """A spot in a library's file; line and column count from 1, in code points."""

    file: str
    """POSIX path relative to the library's root."""
    line: int = 1
    column: int = 1

    def __str__(self) -> str:
        """Return `file:line:column`, the form that editors open on a click."""
        return f"{self.file}:{self.line}:{self.column}"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is wrong, where, and how to mend it."""

    place: Place
    rule: str
    severity: Severity
    message: str
    """What is wrong, in one sentence."""
    remedy: str
    """How to mend it, in one sentence."""
    path: tuple[str, ...] = field(default=())
    """The steps that lead to the trouble, each as `tree/step`; empty when no path is involved."""
    notes: tuple[tuple[Place, str], ...] = field(default=())
    """Further places that explain the finding, each with a word on it."""

    @property
    def told(self) -> str:
        """What is wrong and how to mend it, as two sentences."""
        return " ".join(text if text.endswith((".", "?", "!")) else f"{text}." for text in (self.message, self.remedy))

    @property
    def sort_key(self) -> tuple[str, int, int, str, str, tuple[str, ...]]:
        """One total order over findings, so that a run prints alike everywhere."""
        return (*self.place, self.rule, self.message, self.path)


class LibraryError(Exception):
    """A library cannot be used as asked; the text is meant for a person."""


class BuildError(LibraryError):
    """A build stopped; what was there before is untouched."""


class UsageError(LibraryError):
    """A command was given something that it cannot use (exit code 2)."""
