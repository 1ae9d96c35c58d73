"""The bench: times and sizes as ratios within one run. It reports and never fails on time."""

from __future__ import annotations

import gzip
import shutil
import subprocess
import sys
import tempfile
import time
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import yaml
from rich.console import Console
from rich.table import Table

import library
from kb_tools.model.build import load
from kb_tools.model.graph import build_graph
from kb_tools.pages.diagram import laid_out
from kb_tools.pages.diagram_svg import svg_of
from kb_tools.pages.tree_page import chart_of

if TYPE_CHECKING:
    from collections.abc import Callable

KB = [sys.executable, "-m", "kb_tools.cli"]
SIZES = (100, 300, 1000)


def timed(work: Callable[[], object]) -> float:
    """Return the seconds that `work` takes."""
    before = time.perf_counter()
    work()
    return time.perf_counter() - before


def run(*arguments: str, cwd: Path) -> tuple[float, int]:
    """Run a command to its end; return seconds and the peak memory in MB."""
    measure = (
        "import resource, subprocess, sys; code = subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL).returncode; "
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss // 1024); sys.exit(code)"
    )
    before = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", measure, *arguments], cwd=cwd, capture_output=True, text=True, check=True
    )
    return time.perf_counter() - before, int(done.stdout.split()[-1])


def load_with_pyyaml(root: Path) -> None:
    """Load every tree file with PyYAML's C loader alone."""
    for path in (root / "trees").rglob("*.yml"):
        yaml.load(path.read_text("utf-8"), Loader=yaml.CSafeLoader)


def plain_site(root: Path, trees: int) -> Path:
    """Write a plain MkDocs project with as many pages, of like length, as the library has trees."""
    source = root / "plain"
    (source / "content").mkdir(parents=True)
    (source / "mkdocs.yml").write_text(
        "site_name: Plain\ndocs_dir: content\nuse_directory_urls: false\n"
        "theme: {name: material, font: false}\nplugins: []\n"
    )
    for number in range(trees):
        text = library.tree(number, 30, 1)
        body = "\n".join(
            f"## {line.strip()}\n\n{line.strip()}\n" if line.startswith("  s") else f"{line}\n"
            for line in text.splitlines()
        )
        (source / "content" / f"page-{number}.md").write_text(f"# Page {number}\n\n{body}", "utf-8")
    (source / "content" / "index.md").write_text("# Plain\n")
    return source


def size(folder: Path) -> float:
    """Return the size of a folder in MB."""
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file()) / 1e6


def check_and_build(table: Table, root: Path) -> None:
    """Measure kb check against PyYAML, kb build against plain MkDocs, and growth with the number of trees."""
    for trees in SIZES:
        here = root / f"library-{trees}"
        library.write(here, trees)
        # Times on a shared machine waver: the least of three says most.
        loader = min(timed(partial(load_with_pyyaml, here)) for _ in range(3))
        checks = [run(*KB, "check", cwd=here) for _ in range(3)]
        seconds, memory = min(checks)
        table.add_row(
            f"kb check, {trees} trees",
            f"{seconds:.2f} s, {memory} MB",
            f"{seconds / loader:.2f} x PyYAML's C loader ({loader:.2f} s)",
        )
        seconds, memory = run(*KB, "build", cwd=here)
        site = size(here / "site")
        note = f"{1000 * seconds / trees:.1f} ms and {1000 * site / trees:.0f} KB a tree"
        table.add_row(f"kb build, {trees} trees", f"{seconds:.1f} s, {memory} MB, {site:.1f} MB site", note)
    plain = plain_site(root, SIZES[-1])
    base, _ = run(sys.executable, "-m", "mkdocs", "build", "-q", cwd=plain)
    table.add_row(f"plain MkDocs, {SIZES[-1]} pages", f"{base:.1f} s", f"kb build takes {seconds / base:.2f} of it")
    pages = sorted((root / f"library-{SIZES[-1]}" / "site" / "kb" / "trees").glob("*.js"))
    sizes = [len(gzip.compress(page.read_bytes())) for page in pages]
    table.add_row("compiled tree of 30 steps", f"{sum(sizes) / len(sizes) / 1000:.1f} KB compressed", "")


def diagrams(table: Table, root: Path) -> None:
    """Measure drawing: lay-out and SVG of every tree of the smallest library, after the engine's first call."""
    found = load(root / f"library-{SIZES[0]}")
    graph = build_graph(found)
    charts = [chart_of(found, graph, tree) for tree in found.trees]
    laid_out(charts[0])
    drawn = 0

    def draw() -> None:
        nonlocal drawn
        for chart in charts:
            for drawing, places in laid_out(chart):
                svg_of(drawing, places, "bench")
                drawn += 1

    seconds = timed(draw)
    note = f"{1000 * seconds / len(charts):.1f} ms a tree, in {drawn / len(charts):.1f} drawings"
    table.add_row("drawing a tree of 30 steps", f"{1000 * seconds / drawn:.2f} ms a drawing", note)


def main() -> None:
    """Run every part and print one table."""
    table = Table("what", "measured", "ratio", title="bench: ratios count, seconds depend on the machine")
    root = Path(tempfile.mkdtemp(prefix="kb-bench-"))
    try:
        check_and_build(table, root)
        diagrams(table, root)
    finally:
        shutil.rmtree(root, ignore_errors=True)
    Console(width=140).print(table)


if __name__ == "__main__":
    main()
