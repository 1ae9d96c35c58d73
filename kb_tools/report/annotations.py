"""Findings as forges take them up: as lines of their logs, and as a report of code quality."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import TYPE_CHECKING

from kb_tools.findings import Severity

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from kb_tools.findings import Finding

_TEXT = {"%": "%25", "\r": "%0D", "\n": "%0A"}
_PROPERTY = _TEXT | {":": "%3A", ",": "%2C"}
_CODE_QUALITY = {Severity.ERROR: "major", Severity.WARNING: "minor"}


def as_annotations(findings: Sequence[Finding], root: Path, *, strict: bool) -> Iterator[str]:
    """Yield a workflow command for each finding: `::error file=...,line=...,col=...,title=...::message`.

    Runners of several forges read such lines from the log and show each at its line of the change.
    Escapes are those of the commands' documentation (from memory): `%` and line ends everywhere,
    `:` and `,` in properties too.

    Args:
        findings: In the order in which they shall stand.
        root: The library's root: forges name files from where the job runs.
        strict: Whether warnings fail, and so are shown as errors.

    """
    for finding in findings:
        word = "error" if strict or finding.severity is Severity.ERROR else "warning"
        file = _from_here(root, finding.place.file)
        place = f"file={_escaped(file, _PROPERTY)},line={finding.place.line},col={finding.place.column}"
        yield f"::{word} {place},title={_escaped(finding.rule, _PROPERTY)}::{_escaped(_told(finding), _TEXT)}"


def as_code_quality(findings: Sequence[Finding], root: Path) -> str:
    """Return findings as the JSON of a code-quality report, which other forges read from a file.

    Each bears the five keys that the report needs: description, name of the check, fingerprint,
    severity, and the place.
    """
    seen: dict[str, int] = {}
    rows = []
    for finding in findings:
        file = _from_here(root, finding.place.file)
        # Lines move with every edit above them, so they take no part in what a finding is known by.
        known_by = f"{finding.rule}\n{file}\n{finding.message}\n{'>'.join(finding.path)}"
        seen[known_by] = seen.get(known_by, 0) + 1
        fingerprint = hashlib.sha256(f"{known_by}\n{seen[known_by]}".encode()).hexdigest()
        rows.append(
            {
                "description": _told(finding),
                "check_name": finding.rule,
                "fingerprint": fingerprint,
                "severity": _CODE_QUALITY[finding.severity],
                "location": {"path": file, "lines": {"begin": finding.place.line}},
            }
        )
    return json.dumps(rows, ensure_ascii=False, indent=1)


def _told(finding: Finding) -> str:
    path = f" Path: {' -> '.join(finding.path)}." if finding.path else ""
    return f"{finding.told}{path}"


def _from_here(root: Path, file: str) -> str:
    """Return a file's path from the present folder, if the library lies below it; else from the library's root."""
    here, real = Path.cwd(), root.resolve()
    return (real.relative_to(here) / file).as_posix() if real.is_relative_to(here) else file


def _escaped(text: str, escapes: dict[str, str]) -> str:
    return "".join(escapes.get(char, char) for char in text)
