"""The bench of the preview: how long after an edit of one tree its page shows it, at 1,000 trees."""

from __future__ import annotations

import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from pathlib import Path

from rich.console import Console
from rich.table import Table

import library

TREES = 1000
EDITS = 5
LOOK_EVERY = 0.01
"""Seconds between two looks at what is served."""
PATIENCE = 300
"""Seconds after which a page that does not come counts as a failure."""


def shown(address: str, text: str) -> float:
    """Return the seconds until a page that is served holds a text."""
    before = time.perf_counter()
    while time.perf_counter() - before < PATIENCE:
        try:
            with urllib.request.urlopen(address, timeout=PATIENCE) as answer:  # noqa: S310 - a server of our own
                if text in answer.read().decode("utf-8"):
                    return time.perf_counter() - before
        except (urllib.error.URLError, ConnectionError):
            pass
        time.sleep(LOOK_EVERY)
    raise TimeoutError(address)


def edits(root: Path, served: str, pause: float) -> tuple[list[float], list[float]]:
    """Edit one tree after the other; return the seconds until its page, and until home, shows the edit."""
    pages, homes = [], []
    for number in range(EDITS):
        name = f"tree-{(number * 197) % TREES}"
        path = next(root.glob(f"trees/*/{name}.yml"))
        title = f"Edit {number} with {pause:g} s before it"
        text = path.read_text("utf-8").split("\n", 1)[1]
        path.write_text(f"title: {title}\n{text}", "utf-8")
        before = time.perf_counter()
        pages.append(shown(f"{served}trees/{name}.html", title))
        shown(f"{served}index.html", title)
        homes.append(time.perf_counter() - before)
        time.sleep(pause)
    return pages, homes


def main() -> None:
    """Measure and print one table."""
    table = Table("what", "to the tree's page", "to home", title=f"bench: kb preview, {TREES} trees of 30 steps")
    root = Path(tempfile.mkdtemp(prefix="kb-bench-"))
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"127.0.0.1:{free.getsockname()[1]}"
    library.write(root / "library", TREES)
    server = subprocess.Popen(
        [sys.executable, "-m", "kb_tools.cli", "preview", "--address", address], cwd=root / "library"
    )
    try:
        served = f"http://{address}/"
        start = shown(f"{served}index.html", "Generated library")
        time.sleep(10)
        for what, pause in (("an edit when all is settled", 8.0), ("an edit right after another", 0.0)):
            pages, homes = edits(root / "library", served, pause)
            table.add_row(what, *(f"{statistics.median(one):.2f} s, at most {max(one):.2f}" for one in (pages, homes)))
        table.add_row("from the command to the first page", f"{start:.1f} s", "")
    finally:
        server.terminate()
        server.wait()
        shutil.rmtree(root, ignore_errors=True)
    Console(width=140).print(table)


if __name__ == "__main__":
    main()
