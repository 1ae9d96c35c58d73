"""The rooms of the house: who may import whom, who may print, who may import mkdocs."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "kb_tools"
ROOMS = {
    "source": set(),
    "model": {"source"},
    "rules": {"source", "model"},
    "numbers": {"source", "model"},
    "author": {"source", "model", "rules", "numbers"},
    "pages": {"source", "model", "rules", "numbers"},
    "carriers": {"source", "model", "rules", "numbers", "pages"},
}
"""Room -> the rooms to its left that it may import from, beside itself and `findings`."""
MODULES = sorted(PACKAGE.rglob("*.py"))


def imports_of(module: Path) -> set[str]:
    """Return the dotted names that a module imports, those for type checking included."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(module.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return names


@pytest.mark.parametrize("module", MODULES, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_a_room_imports_only_from_its_left(module: Path) -> None:
    """A module imports its own room, rooms to the left and `findings`, nothing else of ours."""
    parts = module.relative_to(PACKAGE).parts
    ours = {name.split(".")[1] for name in imports_of(module) if name.startswith("kb_tools.")}
    if parts[0] in ROOMS:
        assert ours <= ROOMS[parts[0]] | {parts[0], "findings"}
    elif parts == ("findings.py",):
        assert not ours


@pytest.mark.parametrize("module", MODULES, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_only_one_module_touches_mkdocs_and_one_prints(module: Path) -> None:
    """Only pages/mkdocs_plugin.py imports mkdocs; only cli/ prints or exits."""
    name = module.relative_to(PACKAGE).as_posix()
    roots = {imported.split(".")[0] for imported in imports_of(module)}
    if name != "pages/mkdocs_plugin.py":
        assert "mkdocs" not in roots
    if not name.startswith("cli/"):
        called = {
            ast.unparse(node.func)
            for node in ast.walk(ast.parse(module.read_text("utf-8")))
            if isinstance(node, ast.Call)
        }
        assert not called & {"print", "sys.exit", "exit", "click.echo", "sys.stdout.write", "sys.stderr.write"}


def test_no_import_hides_in_a_function() -> None:
    """Every import stands at the top of its module."""
    hidden = [
        f"{module.relative_to(PACKAGE)}:{inner.lineno}"
        for module in MODULES
        for node in ast.walk(ast.parse(module.read_text("utf-8")))
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef))
        for inner in ast.walk(node)
        if isinstance(inner, (ast.Import, ast.ImportFrom))
    ]
    assert not hidden
