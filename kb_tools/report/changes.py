"""Changes of a library's files as text: the difference, what they break, and what came of cases."""

from __future__ import annotations

import re
import shlex
from dataclasses import replace
from typing import TYPE_CHECKING, TypeAlias

from rich.text import Text

from kb_tools.model.cases import end_of, replay
from kb_tools.report.findings import as_text

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

    from kb_tools.author.cases import NewCase, Put
    from kb_tools.author.change import Verdict
    from kb_tools.findings import Finding
    from kb_tools.model.cases import Replay
    from kb_tools.model.entities import Library, Tree

OptionsOf: TypeAlias = "Mapping[tuple[str, str], Mapping[str, str]]"
_KEY = re.compile(r"`([a-z_]+)(?:: [^`]*)?`")
_COLOURS = {"+": "green", "-": "red", "@": "cyan"}


def diff_text(lines: Iterator[str]) -> Iterator[Text]:
    """Yield a unified diff, coloured on a terminal."""
    for line in lines:
        bold = line.startswith(("+++", "---"))
        yield Text(line, "bold" if bold else _COLOURS.get(line[:1], ""))


def refusal_text(
    verdict: Verdict, root: Path, texts: Mapping[str, str | None], options: OptionsOf | None = None
) -> Iterator[Text]:
    """Yield the findings that a change brings.

    Args:
        verdict: What the rules say.
        root: The library's root.
        texts: The texts of the change.
        options: The new steps, as (file, id), each with its keys and the options that say them: findings at
            them name these.

    """
    findings = verdict.broken
    if options:
        findings = [_with_options(one, verdict.subject.library, options) for one in findings]
    yield from _listed(findings, root, texts)


def _with_options(finding: Finding, library: Library, options: OptionsOf) -> Finding:
    """Return a finding whose remedy names the options that say the keys which it names."""
    for (file, name), known in options.items():
        if file != finding.place.file or not _stands_in(finding, library, file, name):
            continue
        named = [known[key] for key in dict.fromkeys(_KEY.findall(finding.remedy)) if key in known]
        if named:
            return replace(finding, remedy=f"{finding.remedy}; here with {' and '.join(named)}")
    return finding


def _stands_in(finding: Finding, library: Library, file: str, name: str) -> bool:
    """Tell whether a finding's place is within a step."""
    tree = next(tree for tree in library.trees.values() if tree.file == file)
    lines = [(int(step.line), str(step)) for step in tree.steps]
    owner = max((one for one in lines if one[0] <= finding.place.line), default=(0, ""))
    after_all = any(case.place.line <= finding.place.line for case in tree.cases)
    return owner[1] == name and not after_all


def outcome_text(verdict: Verdict, root: Path) -> Iterator[Text]:
    """Yield what a change that was made brings besides, and what it mended."""
    if verdict.mended:
        yield Text(f"Mended: {_counted(len(verdict.mended))}", "green")
        for finding in verdict.mended:
            yield Text(f"  {finding.rule}  {finding.message}")
    if verdict.warned:
        yield Text(f"To look at: {_counted(len(verdict.warned))}", "yellow")
        yield from _listed(verdict.warned, root, {})


def cases_text(
    put: Put, verdict: Verdict, root: Path, texts: Mapping[str, str | None], *, shown: bool
) -> Iterator[Text]:
    """Yield which cases were put in and where the tree sends them; those that go astray last.

    Args:
        put: What became of the cases.
        verdict: What the rules say.
        root: The library's root.
        texts: The texts of the change.
        shown: Whether the change is only shown, and nothing was written.

    """
    subject = verdict.subject
    for cases, done in ((put.added, "added"), (put.completed, "completed")):
        for case in cases:
            file = subject.library.trees[case.tree].file
            told = f"would be {done}" if shown else done
            yield Text(f"{file}: case {told}: {case.name}, ends at {case.ends_at}")
    for case, name in put.passed_over:
        yield Text(
            f"1 passed over: the same run with the same end is the case `{name}` already; if it turned out to need "
            f"another step than {case.ends_at}: --ends-at STEP"
        )
    astray = astray_of(verdict, put.changed)
    if not astray:
        if put.changed:
            yield Text("The tree ends where the cases say.", "green")
        return
    fails = "would fail" if shown else "fails"
    yield Text(f"The tree ends elsewhere, so `kb check` {fails} until the tree is mended:", "bold yellow")
    yield Text()
    yield from _listed(astray, root, texts)
    for case in put.changed:
        tree = subject.library.trees[case.tree]
        entry = next(one for one in tree.cases if one.case == case.name)
        run = replay(subject.library, subject.graph, tree, entry)
        if run.end != end_of(tree, entry):
            strides = [f"{stride.step.removeprefix(f'{tree.id}/')} {stride.value}".rstrip() for stride in run.strides]
            walked = " -> ".join(strides)
            yield Text(f"Walked: {walked}", "dim")
            yield from _next_text(case, tree, run)


def _next_text(case: NewCase, tree: Tree, run: Replay) -> Iterator[Text]:
    """Yield what to do about a case that goes astray."""
    name = f"--case {shlex.quote(case.name)}"
    if run.troubles and run.troubles[-1].asks:
        step = run.path[-1].removeprefix(f"{tree.id}/")
        record = shlex.quote(case.source)
        end = f"--ends-at {case.ends_at}"
        yield Text(
            f"Next: the record has no answer for {step}, which its edition did not ask. If it is known "
            f"({' or '.join(run.troubles[-1].asks)}): `kb case add {record} {end} {name} --given {step} ANSWER` "
            "completes the case."
        )
        return
    target = f"--to {case.ends_at}" if case.ends_at in tree.steps else f"--fix ... --id {case.ends_at}"
    target = f"--link {case.ends_at}" if "/" in case.ends_at else target
    yield Text(
        f"Next: `kb branch {case.tree} STEP {name}`, with the STEP where this cause shows. On a terminal it asks for "
        "what is missing there, a check and what lies behind its answers too, and leads the case there."
    )
    yield Text("With options a check comes first, and what lies behind its answer second:")
    yield Text(f"  kb branch {case.tree} STEP --before NEXT --check ... --id CHECK --way ANSWER NEXT")
    yield Text(f"  kb branch {case.tree} CHECK --answer ... {target} {name}")


def _listed(findings: Sequence[Finding], root: Path, texts: Mapping[str, str | None]) -> Iterator[Text]:
    """Yield findings without the sum of them."""
    *lines, _ = as_text(findings, 0, root, strict=False, texts=texts)
    yield from lines


def astray_of(verdict: Verdict, added: Sequence[NewCase]) -> list[Finding]:
    """Return the findings of cases that end elsewhere, of those that were added."""
    trees = verdict.subject.library.trees
    names = {(trees[case.tree].file, case.name) for case in added}
    return [one for one in verdict.astray if any(_is_of(one, file, name) for file, name in names)]


def _is_of(finding: Finding, file: str, name: str) -> bool:
    return finding.place.file == file and f"The case `{name}`" in finding.message


def _counted(number: int) -> str:
    return f"{number} finding" if number == 1 else f"{number} findings"
