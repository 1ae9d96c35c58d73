"""What a rule is, how rules are found, and how they are run.

A rule is a module of this package with `ID`, `SEVERITY`, `SUMMARY`, a docstring that is its page,
and `check(subject) -> Iterator[Finding]`. Adding one touches the module, its examples and the
changelog; nothing registers it.
"""

from __future__ import annotations

import importlib
import pkgutil
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Protocol

from kb_tools import rules
from kb_tools.model.graph import StepGraph, build_graph
from kb_tools.model.hazards import Isolation, analyse

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from datetime import date

    from kb_tools.findings import Finding, Severity
    from kb_tools.model.entities import Library

NO_RULES = frozenset({"contract", "example_files"})
"""Modules of this package that are no rules; helpers of several rules start with an underscore."""


@dataclass(slots=True)
class Subject:
    """What rules look at."""

    library: Library
    graph: StepGraph
    isolation: Isolation
    today: date
    """The day that reviews are judged by."""


class Rule(Protocol):
    """A rule's module."""

    __doc__: str
    ID: str
    SEVERITY: Severity
    """The usual weight; a single finding may say otherwise."""
    SUMMARY: str
    """One line: what holds in a sound library."""

    def check(self, subject: Subject) -> Iterator[Finding]:
        """Yield a finding for each place where the rule is broken."""


@cache
def all_rules() -> dict[str, Rule]:
    """Return every rule by its id, in the order of ids."""
    found: dict[str, Rule] = {}
    for module in pkgutil.iter_modules(rules.__path__):
        if module.name in NO_RULES or module.name.startswith("_"):
            continue
        rule: Rule = importlib.import_module(f"{rules.__name__}.{module.name}")
        found[rule.ID] = rule
    return dict(sorted(found.items()))


def subject_of(library: Library, today: date) -> Subject:
    """Prepare a library for the rules."""
    graph = build_graph(library)
    return Subject(library, graph, analyse(graph, library), today)


def run(subject: Subject, progress: Callable[[int, int], None] | None = None) -> list[Finding]:
    """Run every rule and return all findings in their total order, each once.

    Args:
        subject: What `subject_of` prepared.
        progress: Called with (rules run, rules in all) after each rule.

    """
    findings: set[Finding] = set()
    known = all_rules()
    for number, rule in enumerate(known.values(), 1):
        findings.update(rule.check(subject))
        if progress:
            progress(number, len(known))
    return sorted(findings, key=lambda finding: finding.sort_key)
