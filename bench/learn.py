"""The bench of `kb learn`: time against parsing the same JSON alone, and memory. It gates nothing.

The records are random walks through the demo library, with every field of the record's schema; one
in fifty comes twice. `python bench/learn.py 100000` takes another number than a million.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any

import msgspec

from kb_tools.model.build import load
from kb_tools.model.graph import build_graph

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from kb_tools.model.graph import StepGraph

ROOT = Path(__file__).parent.parent
DISTINCT = 5000
ONE_DOUBLE_IN = 50
CURED = 0.6
"""Chance that a fix cures."""
_MARK = "0123456789abcdef"
_COMMAND = (
    "import resource, subprocess, sys; subprocess.run(sys.argv[1:], check=True, stdout=subprocess.DEVNULL); "
    "used = resource.getrusage(resource.RUSAGE_CHILDREN); print(used.ru_utime + used.ru_stime, used.ru_maxrss // 1024)"
)


def record(graph: StepGraph, key: str, chance: Random) -> dict[str, Any]:
    """Return the record of a random walk."""
    at = datetime(2026, 1, 5, 8, tzinfo=UTC) + timedelta(minutes=chance.randrange(400_000))
    started, steps, fixes = at, [], []
    here = chance.choice(graph.starts)
    trees = [here.partition("/")[0]]
    while True:
        node = graph.nodes[here]
        step = node.step
        at += timedelta(seconds=chance.expovariate(1 / 90))
        taken = {
            "tree": node.tree.id,
            "step": str(node.name),
            "kind": step.kind,
            "text": str(step.text),
            "at": _iso(at),
        }
        ways = [way for way in node.ways if way.target]
        cured = step.kind == "fix" and chance.random() < CURED
        if not cured and not ways:
            break
        way = None if cured else chance.choice(ways)
        answer = way.label if way else "cured"
        reading = "24.6 V" if step.kind == "measure" else None
        steps.append({**taken, "answer": answer, "reading": reading, "assumed": False, "kept": False})
        if step.kind == "fix":
            items = [{"item": "Drive against a box in each direction", "result": "passed"} for _ in range(5)]
            proof = {"id": "lamps-and-stops", "title": "Lamps and stops", "items": items}
            fixes.append(
                {key: taken[key] for key in ("tree", "step", "text", "at")}
                | {"spares": [], "proof": proof, "cured": cured}
            )
        if way is None or way.target is None:
            break
        here = way.target
        if (tree := here.partition("/")[0]) not in trees:
            trees.append(tree)
    acks = [
        {
            "kind": "caution",
            "id": "moving-chair",
            "text": "The chair can start to move.",
            "tree": trees[0],
            "step": "x",
            "at": _iso(at),
        }
    ]
    return {
        "format": "fault-tree visit record", "version": 1, "id": _MARK,
        "library": {"key": key, "title": "Fault trees", "edition": "1 of 2026-11-20"},
        "mode": "technician", "caller": None, "started": _iso(started), "updated": _iso(at), "ended": _iso(at),
        "trees": [{"tree": tree, "title": "Nothing lights up", "fingerprint": 123456789} for tree in trees],
        "steps": steps, "withdrawn": [], "fixes": fixes, "stop_use": [], "left": "in service",
        "outcome": "cured" if fixes and fixes[-1]["cured"] else "handed over", "code": "2J7K-9QXM-44TA",
        "job": "1120-KHB", "remark": "", "chair_revision": "B", "chair_serial": "77120", "kit_revision": "2",
        "kit_serial": "4411",
        "as_found": {"lamps": "all dark", "settings": "", "reported_by": "carer", "reported": "dead"},
        "safety_questions": [], "acknowledgements": acks,
    }  # fmt: skip


def _iso(at: datetime) -> str:
    return at.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def records(number: int) -> Iterator[str]:
    """Yield the lines of a file of records."""
    chance = Random(7)  # noqa: S311 - no secrets here
    library = load(ROOT)
    graph = build_graph(library)
    shapes = [json.dumps(record(graph, library.key, chance), ensure_ascii=False) for _ in range(DISTINCT)]
    last = ""
    for at in range(number):
        line = shapes[at % DISTINCT].replace(_MARK, f"{chance.getrandbits(64):016x}", 1)
        yield (last if last and at % ONE_DOUBLE_IN == 0 else line) + "\n"
        last = line


def parsed(path: Path, parse: Callable[[bytes], object]) -> float:
    """Return the seconds of processor time that parsing each line takes."""
    before = time.process_time()
    with path.open("rb") as stream:
        for line in stream:
            parse(line)
    return time.process_time() - before


def learned(path: Path) -> tuple[float, int]:
    """Return the seconds of processor time that `kb learn` takes, and its peak of memory in MB."""
    command = [sys.executable, "-m", "kb_tools.cli", "learn", str(path), "--library", str(ROOT)]
    done = subprocess.run([sys.executable, "-c", _COMMAND, *command], capture_output=True, text=True, check=True)
    seconds, memory = done.stdout.split()
    return float(seconds), int(memory)


def main() -> None:
    """Print the figures."""
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    with tempfile.TemporaryDirectory() as folder:
        path, few = Path(folder) / "records.jsonl", Path(folder) / "few.jsonl"
        with path.open("w", encoding="utf-8") as stream:
            stream.writelines(records(number))
        with few.open("w", encoding="utf-8") as stream:
            stream.writelines(records(number // 10))
        print(f"{number:,} records, {path.stat().st_size / 1e6:,.0f} MB")
        seconds, memory = learned(path)
        less = learned(few)[1]
        plain, own = parsed(path, json.loads), parsed(path, msgspec.json.decode)
        print(f"kb learn               {seconds:7.1f} s   {seconds / number * 1e6:5.1f} us a record")
        print(f"json.loads alone       {plain:7.1f} s   ratio {seconds / plain:.2f} (aim: at most 2)")
        print(f"msgspec parsing alone  {own:7.1f} s   ratio {seconds / own:.2f}")
        extra = (memory - less) * 1e6 / (number - number // 10)
        print(
            f"memory                 {memory:7d} MB  of which {extra:.1f} bytes a record (aim: at most 16, and 200 MB)"
        )


if __name__ == "__main__":
    main()
