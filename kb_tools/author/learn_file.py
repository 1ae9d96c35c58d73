"""What was counted as a file, and back: trees/shared/counts.yml, and the parts that make it up."""

from __future__ import annotations

import json
from datetime import date
from typing import TYPE_CHECKING, Any

from kb_tools.author.yaml_text import scalar
from kb_tools.findings import LibraryError
from kb_tools.model.entities import Counts
from kb_tools.model.records import Group
from kb_tools.model.values import Context
from kb_tools.source.files import COUNTS, SourceFile, read_text
from kb_tools.source.yaml_nodes import compose

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

    from kb_tools.author.learn_count import StepTally, Tally, TreeTally
    from kb_tools.findings import Finding

PART = (".yml", ".yaml")
_HEAD = (
    "# Counted from visit records by `kb learn`; read it through, then commit it. It holds words of the",
    "# library only, and under `searches` words that readers let into their records: strike out what",
    "# should not stand there. Counted anew, not edited: other changes are lost with the next count.",
)


def counts_text(tally: Tally) -> str:
    """Return a tally as the text of a file of counts; what was never met is left out."""
    values = {
        "library": tally.library,
        "records": tally.records,
        "first": _day(tally.first),
        "last": _day(tally.last),
        "doubles": tally.doubles or None,
        "set_aside": _positive(tally.set_aside),
        "searches": dict(sorted(tally.searches.items())),
        "trees": {name: _tree(tree) for name, tree in sorted(tally.trees.items())},
    }
    return "\n".join([*_HEAD, *_mapping(values, ""), ""])


def _tree(tree: TreeTally) -> dict[str, Any]:
    return {
        "visits": tree.visits or None,
        "last": _day(tree.last),
        "outcomes": _positive(tree.outcomes),
        "causes": {name: tree.causes[name] for name in tree.steps if tree.causes.get(name)},
        "steps": {name: _step(step) for name, step in tree.steps.items()},
    }


def _step(step: StepTally) -> dict[str, Any]:
    minutes = list(step.minutes)
    while minutes and not minutes[-1]:
        minutes.pop()
    return {
        "answers": {answer: number for answer, (number, _) in step.answers.items() if number},
        "last": {answer: _day(day) for answer, (_, day) in step.answers.items() if day},
        "assumed": step.assumed or None,
        "back": step.back or None,
        "stopped": step.stopped or None,
        "minutes": minutes,
    }


def _positive(numbers: Mapping[str, int]) -> dict[str, int]:
    return {name: number for name, number in numbers.items() if number}


def _day(ordinal: int) -> date | None:
    return date.fromordinal(ordinal) if ordinal else None


def _mapping(values: Mapping[str, Any], indent: str) -> Iterator[str]:
    """Yield the lines of a group of keys; what holds nothing is left out."""
    for key, value in values.items():
        if isinstance(value, dict):
            inner = list(_mapping(value, f"{indent}  "))
            if inner:
                yield f"{indent}{_text(key)}:"
                yield from inner
        elif isinstance(value, list):
            if value:
                yield f"{indent}{_text(key)}: [{', '.join(map(str, value))}]"
        elif value is not None:
            yield f"{indent}{_text(key)}: {_text(value) if isinstance(value, str) else value}"


def _text(text: str) -> str:
    """Return a text on one line, whatever it holds."""
    return scalar(text) if text.isprintable() else json.dumps(text)


def read_counts(path: Path) -> Counts:
    """Return the counts that a file holds.

    Raises:
        LibraryError: when it cannot be read, or is no file of counts; the message tells all mistakes.

    """
    text, findings = read_text(SourceFile(path, path.as_posix(), COUNTS))
    return _counts(text, path.as_posix(), findings)


def counts_of(tally: Tally) -> Counts:
    """Return a tally as the library holds it once its file is read."""
    return _counts(counts_text(tally), "counts", [])


def _counts(text: str | None, name: str, findings: list[Finding]) -> Counts:
    node = None
    if text is not None:
        node, more = compose(text, name)
        findings += more
    context = Context(name, findings)
    counts = Group(Counts).read(node, context) if node is not None else None
    if findings or not isinstance(counts, Counts):
        told = "\n".join(f"{one.place}: {one.told}" for one in findings)
        raise LibraryError(f"{name} is no file of counts:\n{told}")
    return counts
