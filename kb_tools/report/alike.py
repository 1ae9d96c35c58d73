"""Steps that are worded almost alike, as text and as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rich.text import Text

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from kb_tools.model.alike import Alike

MOST_TOLD = 5
"""Of a group so many are told."""


def alike_json(groups: Sequence[Alike]) -> list[dict[str, Any]]:
    """Return groups of steps that are worded almost alike as JSON values."""
    return [
        {
            "kind": group.kind,
            "shared": group.shared or None,
            "steps": [
                {
                    "tree": one.tree,
                    "step": one.step,
                    "text": one.text,
                    "file": one.place.file,
                    "line": one.place.line,
                    "column": one.place.column,
                }
                for one in group.members
                if one.tree
            ],
        }
        for group in groups
    ]


def alike_text(groups: Sequence[Alike]) -> Iterator[Text]:
    """Yield groups of steps that are worded almost alike as lines for a terminal."""
    for group in groups:
        steps = [one for one in group.members if one.tree]
        told = f"{len(steps)} {group.kind} steps are worded almost alike" if len(steps) > 1 else f"A {group.kind} step"
        if group.shared:
            told += f"{' and' if len(steps) > 1 else ' is worded'} like the shared {group.kind} {group.shared}: use it?"
        else:
            told += f": share them? (kb move {steps[0].tree}/{steps[0].step} shared)"
        yield Text(told, "bold")
        for one in steps[:MOST_TOLD]:
            yield Text(f"  {one.place}  ", "cyan").append(one.text, "default")
        if len(steps) > MOST_TOLD:
            yield Text(f"  and {len(steps) - MOST_TOLD} more")
    if not groups:
        yield Text("No steps of different trees are worded almost alike", "green")
