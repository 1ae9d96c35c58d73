"""A change of a library's files: judged beside the library as it stands, shown, and then written.

A change breaks a rule when it brings an error that was not there before. A case that ended
elsewhere before may end elsewhere still.
"""

from __future__ import annotations

import difflib
import re
from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from kb_tools.author.splice import Sheet
from kb_tools.findings import LibraryError, Severity
from kb_tools.model.build import load
from kb_tools.rules import case_ends, contract
from kb_tools.source.writing import write_all

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date
    from pathlib import Path

    from kb_tools.findings import Finding
    from kb_tools.rules.contract import Subject

_CASE = re.compile(r"The case `([^`]*)`")


@dataclass(slots=True)
class Change:
    """New texts of some files of a library."""

    root: Path
    texts: dict[str, str | None] = field(default_factory=dict)
    """POSIX path below the root -> the new text; None removes the file."""

    def text(self, name: str) -> str | None:
        """Return a file's text with the change, with the ends of its lines; None where it is not there."""
        if name in self.texts:
            return self.texts[name]
        return self._before(name)

    def _before(self, name: str) -> str | None:
        path = self.root / name
        try:
            return path.read_bytes().decode("utf-8") if path.is_file() else None
        except (OSError, UnicodeDecodeError) as error:
            raise LibraryError(f"{name} cannot be read ({error}); nothing was changed") from error

    def sheet(self, name: str) -> Sheet:
        """Return a file to be changed; hand it to `take` afterwards."""
        text = self.text(name)
        if text is None:
            raise LibraryError(f"{name} is not there; nothing was changed")
        return Sheet(name, text)

    def take(self, sheet: Sheet) -> None:
        """Take over what was changed in a file."""
        self.texts[sheet.name] = sheet.result()

    def diff(self) -> Iterator[str]:
        """Yield the lines of a unified diff."""
        gone = {name: self._before(name) or "" for name, new in self.texts.items() if new is None}
        for name, new in sorted(self.texts.items()):
            if name in gone:
                continue
            old, before = self._before(name), name
            if old is None:
                before = next((one for one, text in gone.items() if _alike(text, new or "")), "")
                old = gone.pop(before, None)
            if old != new or before != name:
                yield from _difference(before, old, name, new)
        for name, old in gone.items():
            yield from _difference(name, old, "", None)

    def write(self) -> None:
        """Write all files, at once or not at all; see `source.writing.write_all`."""
        write_all(self.root, self.texts)


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the rules say of a change."""

    subject: Subject
    """The library with the change."""
    broken: list[Finding]
    """Errors that the change brings."""
    warned: list[Finding]
    """Warnings that the change brings."""
    mended: list[Finding]
    """What was found before and is not any more."""
    astray: list[Finding]
    """Cases that end elsewhere with the change, those that did before too."""
    left: int
    """How many findings there are with the change."""


def judge(change: Change, today: date) -> Verdict:
    """Check the library as it stands and with a change.

    Args:
        change: The change.
        today: The day that reviews are judged by.

    """
    before = contract.run(contract.subject_of(load(change.root), today))
    subject = contract.subject_of(load(change.root, texts=change.texts), today)
    after = contract.run(subject)
    known, now = Counter(map(_same, before)), Counter(map(_same, after))
    fresh = [one for one in after if now[_same(one)] > known[_same(one)]]
    return Verdict(
        subject,
        [one for one in fresh if one.severity is Severity.ERROR],
        [one for one in fresh if one.severity is Severity.WARNING],
        [one for one in before if known[_same(one)] > now[_same(one)]],
        [one for one in after if one.rule == case_ends.ID],
        len(after),
    )


def _same(finding: Finding) -> tuple[str, str, str]:
    """Return what tells findings apart when lines have moved; of a case all that it can go astray by is one."""
    case = _CASE.match(finding.message) if finding.rule == case_ends.ID else None
    return (finding.place.file, finding.rule, case[1] if case else finding.message)


def _alike(old: str, new: str) -> bool:
    """Tell whether a file is another one under a new name: most of its lines are the same."""
    lines = set(old.splitlines())
    return len(lines & set(new.splitlines())) * 2 > len(lines)


def _difference(before: str, old: str | None, after: str, new: str | None) -> Iterator[str]:
    """Yield the lines of a unified diff of one file; of one that only lies elsewhere its two names."""
    names = ("/dev/null" if old is None else f"a/{before}", "/dev/null" if new is None else f"b/{after}")
    lines = list(difflib.unified_diff((old or "").splitlines(), (new or "").splitlines(), *names, lineterm=""))
    yield from lines or (f"--- {names[0]}", f"+++ {names[1]}")
