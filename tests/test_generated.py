"""What repeats code is generated; `make accept-gold` writes it anew."""

from __future__ import annotations

import ast
import re
from functools import partial
from pathlib import Path

import pytest

from commands import leaves, page_name, purpose, usage

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "kb_tools"


def summary(path: Path) -> str:
    """Return the first sentence of what a module or script says of itself."""
    text = path.read_text("utf-8")
    if path.suffix == ".js":
        words = re.match(r"/\*\*(.*?)\*/", text, re.DOTALL)
        doc = re.sub(r"\s*\n\s*\*?\s*", " ", words[1]).strip() if words else ""
    else:
        doc = ast.get_docstring(ast.parse(text)) or ""
    first = re.match(r"(.+?\.)(\s|$)", re.sub(r"\s+", " ", doc))
    return (first[1] if first else doc).rstrip(".").replace("|", "\\|")


def module_table() -> str:
    """Return every module with what it is for; rules are one line, their own pages tell the rest."""
    rows = ["| module | what it does |", "| --- | --- |"]
    files = sorted(
        path
        for pattern in ("*.py", "*.js")
        for path in PACKAGE.rglob(pattern)
        if path.name != "__init__.py" and "starter" not in path.parts and "examples" not in path.parts
    )
    for path in files:
        name = path.relative_to(PACKAGE).as_posix()
        if name.startswith("rules/") and re.search(r"^ID = ", path.read_text("utf-8"), re.MULTILINE):
            continue
        rows.append(f"| `{name}` | {summary(path)} |")
    rows.append("| `rules/<id>.py` | one rule each; `kb rule` lists them |")
    return "\n".join(rows)


def command_table(*, links: bool = False) -> str:
    """Return every command with what it does; with `links`, each leads to its page."""
    rows = ["| command | what it does |", "| --- | --- |"]
    for name, command in leaves():
        shown = f"`{usage(name, command)}`".replace("|", "\\|")
        rows.append(f"| {f'[{shown}]({page_name(name)})' if links else shown} | {purpose(command)} |")
    return "\n".join(rows)


@pytest.mark.parametrize(
    ("file", "name", "make"),
    [
        ("DEVELOPERS.md", "modules", module_table),
        ("README.md", "commands", command_table),
        ("content/commands/index.md", "commands", partial(command_table, links=True)),
    ],
)
@pytest.mark.gold
def test_generated_part_is_fresh(request: pytest.FixtureRequest, file: str, name: str, make: object) -> None:
    """A table in the docs that repeats code says what the code says now."""
    path = ROOT / file
    text = path.read_text("utf-8")
    start, end = f"<!-- generated: {name} -->\n", "<!-- end -->"
    before, found, rest = text.partition(start)
    assert found, f"{file} has no part {name}"
    old, _, after = rest.partition(end)
    assert callable(make)
    fresh = f"{make()}\n"
    if request.config.getoption("accept_gold"):
        path.write_text(f"{before}{start}{fresh}{end}{after}", "utf-8")
        return
    assert old == fresh, f"{file}: the part {name} is stale; make accept-gold writes it anew"
