"""Findings as text for a person, as JSON for scripts, and as SARIF for code hosts."""

from __future__ import annotations

import json
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

from rich.cells import cell_len
from rich.text import Text

from kb_tools.findings import Finding, Place, Severity

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from pathlib import Path

    from kb_tools.rules.contract import Rule

_STYLE = {Severity.ERROR: "bold red", Severity.WARNING: "bold yellow"}
_LONGEST_LINE = 120


def as_json(findings: Sequence[Finding], trees: int) -> str:
    """Return findings as the JSON text of the contract.

    Args:
        findings: In the order in which they shall stand.
        trees: How many tree files were found, broken ones too.

    """
    rows = [
        {
            "file": finding.place.file,
            "line": finding.place.line,
            "column": finding.place.column,
            "rule": finding.rule,
            "severity": str(finding.severity),
            "message": finding.message,
            "remedy": finding.remedy,
            "path": list(finding.path),
        }
        for finding in findings
    ]
    return json.dumps({"findings": rows, "trees": trees}, ensure_ascii=False, indent=2)


def as_sarif(findings: Sequence[Finding], rules: Iterable[Rule]) -> str:
    """Return findings as a SARIF 2.1.0 log (OASIS standard, 27 March 2020) with one run."""
    described = [
        {
            "id": rule.ID,
            "shortDescription": {"text": rule.SUMMARY},
            "fullDescription": {"text": rule.__doc__.strip()},
            "defaultConfiguration": {"level": str(rule.SEVERITY)},
        }
        for rule in rules
    ]
    index = {str(rule["id"]): number for number, rule in enumerate(described)}
    log = {
        "version": "2.1.0",
        "$schema": "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json",
        "runs": [
            {
                "tool": {"driver": {"name": "kb", "version": version("kb-tools"), "rules": described}},
                "columnKind": "unicodeCodePoints",
                "results": [_sarif_result(finding, index) for finding in findings],
            }
        ],
    }
    return json.dumps(log, ensure_ascii=False, indent=2)


def _sarif_result(finding: Finding, index: dict[str, int]) -> dict[str, Any]:
    result: dict[str, Any] = {
        "ruleId": finding.rule,
        "level": str(finding.severity),
        "message": {"text": finding.told},
        "locations": [_sarif_location(finding.place)],
    }
    if finding.rule in index:
        result["ruleIndex"] = index[finding.rule]
    if finding.notes:
        result["relatedLocations"] = [
            _sarif_location(place) | {"message": {"text": text}} for place, text in finding.notes
        ]
    if finding.path:
        result["properties"] = {"path": list(finding.path)}
    return result


def _sarif_location(place: Place) -> dict[str, Any]:
    return {
        "physicalLocation": {
            "artifactLocation": {"uri": place.file},
            "region": {"startLine": place.line, "startColumn": place.column},
        }
    }


def as_text(
    findings: Sequence[Finding],
    trees: int,
    root: Path,
    *,
    strict: bool,
    texts: Mapping[str, str | None] | None = None,
) -> Iterator[Text]:
    """Yield findings as lines for a terminal: place, what, the offending line, the path, the remedy.

    Args:
        findings: In the order in which they shall stand.
        trees: How many tree files were found.
        root: The library's root, to show the offending lines from.
        strict: Whether warnings fail, which the summary says.
        texts: Files whose text is not the one that lies there, by their names in findings.

    """
    lines = {name: (text or "").splitlines() for name, text in (texts or {}).items()}
    for finding in findings:
        yield from _one(finding, lines, root)
    yield _summary(findings, trees, strict=strict)


def _one(finding: Finding, lines: dict[str, list[str]], root: Path) -> Iterator[Text]:
    head = Text()
    head.append(str(finding.place), "bold")
    head.append(f"  {finding.severity}", _STYLE[finding.severity])
    head.append(f"  {finding.rule}", "cyan")
    yield head
    yield Text(f"  {finding.message}")
    yield from _source_line(finding.place, lines, root)
    if finding.path:
        yield Text("  path    ", "dim").append(" -> ".join(finding.path), "default")
    for place, text in finding.notes:
        yield Text("  see     ", "dim").append(f"{place}  {text}", "default")
    yield Text("  mend    ", "green").append(finding.remedy, "default")
    yield Text()


def _source_line(place: Place, lines: dict[str, list[str]], root: Path) -> Iterator[Text]:
    """Yield the offending line and a mark under its column, where the file can be read."""
    if place.file not in lines:
        try:
            text = (root / place.file).read_text("utf-8-sig", errors="replace")
        except OSError:
            text = ""
        lines[place.file] = text[:4_000_000].split("\n")
    found = lines[place.file]
    if place.line > len(found) or not found[place.line - 1].strip():
        return
    line = found[place.line - 1].rstrip("\r").replace("\t", " ")
    column = place.column - 1
    cut = max(0, column - _LONGEST_LINE // 2) if len(line) > _LONGEST_LINE else 0
    shown = "".join(
        char if char.isprintable() else "\N{REPLACEMENT CHARACTER}" for char in line[cut : cut + _LONGEST_LINE]
    )
    number = f"{place.line:>6} | "
    yield Text(f"{number}", "dim").append(shown, "default")
    yield Text(" " * 6 + " | ", "dim").append(" " * cell_len(shown[: column - cut]) + "^", "bold")


def _summary(findings: Sequence[Finding], trees: int, *, strict: bool) -> Text:
    errors = sum(finding.severity is Severity.ERROR for finding in findings)
    warnings = len(findings) - errors
    counted = f"{trees} {'tree' if trees == 1 else 'trees'}"
    if not findings:
        return Text(f"{counted}: nothing to mend", "green")
    parts = []
    if errors:
        parts.append(f"{errors} {'error' if errors == 1 else 'errors'}")
    if warnings:
        parts.append(
            f"{warnings} {'warning' if warnings == 1 else 'warnings'}{' (they fail: --strict)' if strict else ''}"
        )
    return Text(f"{counted}: {', '.join(parts)}", "bold red" if errors or strict else "bold yellow")
