"""An evidence table and the tree that it judges say the same.

Where a table names a `tree`, a check of the table and a step of the tree with the same id are the
same thing: the same kind (`check` or `measure`), the same words, unit, answers and edges of the
bands. An answer of the tree for somebody who cannot tell (`unsure`) need not be in the table. A check
that the tree makes at several places bears its id and a number at the others: with the same words,
`lamp-2` is `lamp` too.

Then each cause is played through the tree. At the steps that the table has, it gives the answers
that it shows (any answer where the table leaves that out); at the steps that the table lacks, any
way may be taken, links too. Some way must end at the cause's own fix: the step that the table
names, or one that uses the shared fix. None may come to the fix of another cause. A play stops at
its own fix; the fix of another cause counts as wrong even if the tree goes on from there when it
did not cure, unless no check of the table can tell the two causes apart: then trying one after the
other is all that a tree can do. Handing over is never wrong. Causes without `fix` are not played.

To mend it, look at the path: mend the tree if it sends the cause the wrong way, the table if it
says what the cause does not show, or add the step's evidence to the table.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity
from kb_tools.model.table_play import checks_asked, own_fixes, play
from kb_tools.model.tables import shown_by
from kb_tools.model.units import UnitProblem, accepted, unit_of
from kb_tools.model.values import folded

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.model.entities import Band, Step, Table, TableBand, TableCheck, Tree
    from kb_tools.model.values import Word
    from kb_tools.rules.contract import Subject

ID = "table-tree-agrees"
SEVERITY = Severity.ERROR
SUMMARY = "An evidence table and the tree that it judges say the same, and lead to the same fixes."

_COMPARED = ("check", "measure", "unit", "answers", "bands")


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each check that differs, and each cause that is sent the wrong way."""
    doubts = subject.library.doubts
    for table in subject.library.tables.values():
        tree = subject.library.trees.get(table.tree) if table.tree else None
        if tree is not None and tree.id not in doubts.ids:
            for name, row in table.checks.items():
                step = tree.steps.get(name)
                if step is None or not step.kind or step.in_doubt:
                    continue
                if not any(doubts.key(one.place, key) for one in (row, step) for key in _COMPARED):
                    yield from _compare(name, row, step)
            yield from _play_all(table, tree, subject)


def _compare(name: Word, row: TableCheck, step: Step) -> Iterator[Finding]:
    """Yield how a check of the table differs from the step of the same id."""
    kind = "check" if row.check is not None else "measure"
    text = row.check if row.check is not None else row.measure
    if text is None or step.text is None:
        return
    if kind != step.kind:
        message = f"`{name}` is a `{kind}` here, and a `{step.kind}` in the tree"
        yield _difference(name, message, step)
        return
    if folded(text) != folded(step.text):
        yield _difference(text, f"`{name}` is worded otherwise in the tree: {step.text!r}", step)
    if kind == "measure" and step.unit is not None and not _same_unit(row.unit, step.unit):
        message = f"`{name}` is in {row.unit or 'no unit'} here, and in {step.unit} in the tree"
        yield _difference(row.unit or name, message, step)
    yield from _compare_ways(name, row, step)


def _compare_ways(name: Word, row: TableCheck, step: Step) -> Iterator[Finding]:
    """Yield answers that only one of the two has, and bands with other edges."""
    here: dict[str, TableBand | None] = {folded(answer): None for answer in row.answers}
    here |= {folded(band.answer): band for band in row.bands}
    there: dict[str, Band | None] = {folded(way.answer): None for way in step.answers or ()}
    there |= {folded(band.answer): band for band in step.bands or ()}
    needed = [way.answer for way in step.answers or () if not way.unsure]
    needed += [band.answer for band in step.bands or ()]
    if not here or not there:
        return
    for outcome in row.outcomes:
        band, same = here[folded(outcome)], there.get(folded(outcome))
        if folded(outcome) not in there:
            yield _difference(outcome, f"In the tree, `{name}` has no answer `{outcome}`", step)
        elif band and same and (band.start, band.below) != (same.start, same.below):
            message = f"In the tree, the band `{outcome}` of `{name}` has other edges"
            yield _difference(outcome, message, step)
    for answer in needed:
        if folded(answer) not in here:
            message = f"In the tree, `{name}` has the answer `{answer}` too"
            yield _difference(name, message, step)


def _same_unit(one: Word | None, other: Word | None) -> bool:
    if one is None or other is None:
        return one is other
    try:
        first, second = unit_of(one), unit_of(other)
    except UnitProblem:
        return True  # the rule unit-known says so
    return first == second or accepted(first).get(second.text) == (1.0, 0.0)


def _difference(word: Word, message: str, step: Step) -> Finding:
    return Finding(
        word.place,
        ID,
        SEVERITY,
        message,
        "Make the two the same, or give the check another id",
        notes=((step.place, "the tree's step"),),
    )


def _play_all(table: Table, tree: Tree, subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each cause that the tree sends the wrong way."""
    shown = shown_by(table, subject.library.doubts)
    unread = subject.library.doubts.key(tree.place, "steps")
    own = own_fixes(table, tree, subject.graph, subject.library)
    asked = checks_asked(table, tree)
    for cause in own:
        if not shown.is_sure(cause):
            continue
        run = play(cause, shown, own, asked, tree, subject.graph)
        for step, other in run.wrong.items():
            yield Finding(
                cause.place,
                ID,
                SEVERITY,
                f"Played through the tree, `{cause}` may come to `{step}`, the fix of `{other}`",
                "Mend the tree on this path, or what the table says that the cause shows",
                run.path_to(step),
            )
        if not (run.came_home or run.wrong or run.in_doubt or unread):
            end = f" and comes to `{run.elsewhere[-1]}`" if run.elsewhere else ""
            yield Finding(
                cause.place,
                ID,
                SEVERITY,
                f"Played through the tree, `{cause}` never ends at its fix `{table.causes[cause].fix}`{end}",
                "Mend the tree on this path, or what the table says that the cause shows",
                run.elsewhere,
            )
