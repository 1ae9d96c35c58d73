"""Visit records as the walk exports them, for tests: made from answers, valid by the published schema."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from kb_tools.model.build import load
from kb_tools.model.graph import build_graph

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from kb_tools.model.entities import Library
    from kb_tools.model.graph import StepGraph

STARTED = datetime(2026, 11, 3, 9, tzinfo=UTC)


def loaded(root: Path) -> tuple[Library, StepGraph]:
    """Return a library and its graph."""
    library = load(root)
    return library, build_graph(library)


def record(
    library: Library,
    graph: StepGraph,
    tree: str,
    answers: Sequence[str],
    **changes: Any,  # noqa: ANN401 - the record's keys
) -> dict[str, Any]:
    """Return the record of a walk that gave `answers`, each a minute after the one before.

    Args:
        library: The library.
        graph: Its graph.
        tree: Where the walk began.
        answers: The labels of the ways, `cured` at the end of a fix or of an end with a proof.
        changes: Keys to set in the record: `id`, `started`, `outcome`, ...

    """
    started = changes.pop("started", STARTED)
    at, key = started, f"{tree}/{library.trees[tree].start}"
    steps: list[dict[str, Any]] = []
    for answer in answers:
        at += timedelta(minutes=1)
        node = graph.nodes[key]
        steps.append(
            {
                "tree": node.tree.id,
                "step": str(node.name),
                "kind": node.step.kind,
                "text": str(node.step.text or ""),
                "at": stamp(at),
                "answer": answer,
                "reading": None,
                "assumed": False,
                "kept": False,
            }
        )
        targets = {way.label: way.target for way in node.ways}
        key = targets.get(answer) or key
    entered = dict.fromkeys([tree, *(one["tree"] for one in steps), key.partition("/")[0]])
    return {
        "format": "fault-tree visit record",
        "version": 1,
        "id": f"{abs(hash((tree, *answers))):016x}",
        "library": {"key": library.key, "title": library.title, "edition": "7"},
        "job": "1120-KHB",
        "chair_revision": "B",
        "chair_serial": "77120",
        "kit_revision": "2",
        "kit_serial": "4411",
        "remark": "",
        "as_found": {"lamps": "", "settings": "", "reported_by": "", "reported": ""},
        "mode": "technician",
        "caller": None,
        "started": stamp(started),
        "updated": stamp(at),
        "ended": stamp(at),
        "trees": [{"tree": one, "title": one, "fingerprint": 1} for one in entered],
        "safety_questions": [],
        "steps": steps,
        "withdrawn": [],
        "acknowledgements": [],
        "fixes": [],
        "stop_use": [],
        "left": "in service",
        "outcome": "cured" if answers and answers[-1] == "cured" else "handed over",
        "code": "",
    } | changes


def stamp(at: datetime) -> str:
    """Return a moment as the walk writes it."""
    return at.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def lines(records: Iterable[dict[str, Any] | str]) -> str:
    """Return records as a file that holds one a line; a text stands for itself."""
    return "".join((one if isinstance(one, str) else json.dumps(one)) + "\n" for one in records)
