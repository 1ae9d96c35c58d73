"""Changes of a library's files as text: the difference, what they break, and what came of cases."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.text import Text

from kb_tools.model.cases import end_of, replay
from kb_tools.report.findings import as_text

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

    from kb_tools.author.cases import NewCase
    from kb_tools.author.change import Verdict
    from kb_tools.findings import Finding

_COLOURS = {"+": "green", "-": "red", "@": "cyan"}


def diff_text(lines: Iterator[str]) -> Iterator[Text]:
    """Yield a unified diff, coloured on a terminal."""
    for line in lines:
        bold = line.startswith(("+++", "---"))
        yield Text(line, "bold" if bold else _COLOURS.get(line[:1], ""))


def refusal_text(verdict: Verdict, root: Path, texts: Mapping[str, str | None]) -> Iterator[Text]:
    """Yield the findings that a change brings."""
    yield from _listed(verdict.broken, root, texts)


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
    added: Sequence[NewCase], passed_over: int, verdict: Verdict, root: Path, texts: Mapping[str, str | None]
) -> Iterator[Text]:
    """Yield which cases were added and where the tree sends them; those that go astray last."""
    subject = verdict.subject
    for case in added:
        yield Text(f"{subject.library.trees[case.tree].file}: case added: {case.name}, ends at {case.ends_at}")
    if passed_over:
        yield Text(f"{passed_over} passed over: the same run with the same end is a case already")
    astray = astray_of(verdict, added)
    if not astray:
        if added:
            yield Text("The tree ends where the cases say.", "green")
        return
    yield Text("The tree ends elsewhere, so `kb check` fails until the tree is mended:", "bold yellow")
    yield Text()
    yield from _listed(astray, root, texts)
    for case in added:
        tree = subject.library.trees[case.tree]
        entry = next(one for one in tree.cases if one.case == case.name)
        run = replay(subject.library, subject.graph, tree, entry)
        if run.end != end_of(tree, entry):
            strides = [f"{stride.step.removeprefix(f'{tree.id}/')} {stride.value}".rstrip() for stride in run.strides]
            walked = " -> ".join(strides)
            yield Text(f"Walked: {walked}", "dim")
            told = f"`kb branch {case.tree} STEP --case '{case.name}'`"
            yield Text(
                f"Next: {told} adds what is missing at the step where this cause shows, and leads the case there."
            )


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
