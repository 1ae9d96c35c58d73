"""The bench of the finder: how often it finds the right tree, beside the search that MkDocs ships.

Both get the phrases of tests/finder. Our finder gets the index that the site carries; the plain
search (lunr.js from the installed mkdocs, set up as its own worker does) gets the text of the same
trees' pages. It prints both and gates nothing; `tests/finder` holds the bounds.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
import tempfile
from html import unescape
from pathlib import Path
from typing import Any

import mkdocs
from rich.console import Console
from rich.table import Table

from kb_tools.pages.scripts import FINDER, WALKER

HERE = Path(__file__).parent
ROOT = HERE.parent
PHRASES = ROOT / "tests" / "finder"
LUNR = Path(mkdocs.__file__).parent / "contrib" / "search" / "templates" / "search" / "lunr.js"
INDEX = re.compile(r"\|\| \{\}, (\{.*\})\);\n\Z", re.DOTALL)


def node(*arguments: object, given: dict[str, Any]) -> Any:  # noqa: ANN401 - JSON
    """Run a script in node; return what it prints."""
    program = shutil.which("node")
    if program is None:
        sys.exit("node is missing: install Node.js 18 or later")
    command = [program, *map(str, arguments)]
    done = subprocess.run(command, input=json.dumps(given), capture_output=True, text=True, check=True)
    return json.loads(done.stdout)


def pages(site: Path, index: dict[str, Any]) -> list[dict[str, str]]:
    """Return the text of every tree's page: what stands in its article."""
    found = []
    for tree in index["trees"]:
        html = (site / tree["url"]).read_text("utf-8")
        article = html.partition("<article")[2].partition("</article>")[0]
        text = unescape(
            re.sub(r"<[^>]*>", " ", re.sub(r"<(script|style|svg)\b.*?</\1>", " ", article, flags=re.DOTALL))
        )
        found.append({"id": tree["id"], "title": tree["title"], "text": text.partition(">")[2]})
    return found


def share(ranks: list[list[str]], wanted: list[str], among: int) -> str:
    """Return how often the right tree is among the first ones, in percent."""
    hits = sum(tree in rank[:among] for rank, tree in zip(ranks, wanted, strict=True))
    return f"{100 * hits / len(wanted):.1f} %"


def main() -> None:
    """Build the demo site, ask both, print."""
    root = Path(tempfile.mkdtemp(prefix="kb-bench-"))
    try:
        build = [sys.executable, "-m", "kb_tools.cli", "build", "--out", str(root / "site")]
        subprocess.run(build, cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
        match = INDEX.search((root / "site" / "kb" / "index.js").read_text("utf-8"))
        if match is None:
            sys.exit("kb/index.js is not what this bench expects")
        index = json.loads(match[1])
        texts = pages(root / "site", index)
    finally:
        shutil.rmtree(root, ignore_errors=True)
    table = Table("phrases", "search", "first", "among three", title="finder (goal on unseen phrases: 85 % and 95 %)")
    for name in sys.argv[1:] or ("tune", "judge", "fresh"):
        lines = (PHRASES / f"phrases-{name}.tsv").read_text("utf-8").splitlines()
        pairs = [line.split("\t") for line in lines if line and not line.startswith("#")]
        queries, wanted = [phrase for phrase, _ in pairs], [tree for _, tree in pairs]
        finder = [WALKER / f"{name}.js" for name in FINDER]
        answers = node(PHRASES / "run.js", *finder, given={"index": index, "queries": queries})
        ours = [[one["tree"] for one in answer] for answer in answers]
        plain = node(HERE / "plain_search.js", LUNR, given={"pages": texts, "queries": queries})
        for what, ranks in (("ours", ours), ("plain (MkDocs, lunr)", plain)):
            table.add_row(f"{name}, {len(pairs)}", what, share(ranks, wanted, 1), share(ranks, wanted, 3))
    Console(width=100).print(table)


if __name__ == "__main__":
    main()
