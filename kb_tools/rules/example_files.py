"""Good and bad examples of each rule: small files that the tests run and the rule's page shows.

An example is one file of a library, kept as `examples/<rule-id>/good-<name>.yml` or
`bad-<name>.yml`. Its first line says where in a library it belongs:

    # trees/area/example.yml

The rest of that library is `examples/_base`, a small library without a single finding: a tree
`lamp-dark`, hazards, cautions, proofs, a shared check and a shared fix, tools, a spare, a map, a
table and a picture. The example is put beside these files, or in the place of the one that it
names.

A good example brings no finding at all into that library, no warning either. A bad one says which
findings it brings, no more and no fewer: each stands behind the offending line,

    - {answer: Dark, to: nowhere}   # <- target-exists

or, where a comment cannot stand there or the finding is in another file, in a comment of its own
near the top, with the line's number (in this file, or in the file that it names):

    # 7 <- yaml-syntax
    # trees/area/lamp-dark.yml:31 <- target-exists

Two findings in one line are marked `# <- one-rule, another-rule`.

Other comments at the top are shown to the reader: say there what the example is about. The day on
which examples are judged is `TODAY`.
"""

from __future__ import annotations

import re
import shutil
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from kb_tools.findings import Finding

EXAMPLES = Path(__file__).parent / "examples"
BASE = EXAMPLES / "_base"
TODAY = date(2026, 11, 25)
"""The day on which examples are judged."""

_MARK = re.compile(r"#\s*(?:(?:(?P<file>[^\s:#]+):)?(?P<line>\d+)\s+)?<-\s*(?P<rules>[a-z][a-z, -]*[a-z])\s*$")


@dataclass(frozen=True, slots=True, order=True)
class Expected:
    """A finding that an example is to bring: where, and of which rule."""

    file: str
    line: int
    rule: str


@dataclass(frozen=True, slots=True)
class Example:
    """One example of a rule."""

    rule: str
    """The id of the rule that it is an example of."""
    name: str
    """The file's name without `good-`, `bad-` and the ending."""
    is_good: bool
    path: Path
    """Where the example lies on disk."""
    text: str
    """What it says; bytes that are not UTF-8 show as replacement characters."""
    target: str
    """Where it belongs in a library: a POSIX path relative to the root."""
    expected: tuple[Expected, ...]
    """The findings that it brings, in the order of their places; none for a good one."""

    def write_library(self, root: Path) -> None:
        """Write the base library, with this example in it, below the folder `root`."""
        shutil.copytree(BASE, root, dirs_exist_ok=True)
        place = root / self.target
        place.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(self.path, place)

    def agrees_with(self, findings: list[Finding]) -> bool:
        """Tell whether `findings` of the library with this example are those that it says."""
        found = sorted(Expected(finding.place.file, finding.place.line, finding.rule) for finding in findings)
        return found == list(self.expected)


@cache
def examples_of(rule_id: str) -> tuple[Example, ...]:
    """Return the examples of a rule, good ones first, in the order of their names.

    Raises:
        ValueError: when an example does not say where it belongs, or is neither good nor bad.

    """
    folder = EXAMPLES / rule_id
    paths = sorted(folder.glob("*.yml"), key=lambda path: (path.name.startswith("bad-"), path.name))
    return tuple(_read(rule_id, path) for path in paths)


def _read(rule_id: str, path: Path) -> Example:
    text = path.read_text("utf-8-sig", errors="replace")
    kind, _, name = path.stem.partition("-")
    target = re.match(r"# ((?:trees|content)/\S+)\s*\n", text)
    if kind not in ("good", "bad") or not target:
        raise ValueError(
            f"{path.name} must be called good-* or bad-*, and its first line say where it belongs:"
            " `# trees/<area>/<id>.yml`"
        )
    expected = sorted(_expected(text, target[1]))
    return Example(rule_id, name, kind == "good", path, text, target[1], tuple(expected))


def _expected(text: str, target: str) -> list[Expected]:
    """Return the findings that the marks in an example's text promise."""
    found: list[Expected] = []
    for number, line in enumerate(text.split("\n"), 1):
        mark = _MARK.search(line)
        if mark is not None:
            place = (mark["file"] or target, int(mark["line"] or number))
            found += [Expected(*place, rule.strip()) for rule in mark["rules"].split(",")]
    return found
