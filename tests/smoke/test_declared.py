"""That pyproject.toml declares what the package imports."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

ROOT = Path(__file__).parents[2]


def imported() -> set[str]:
    """Return the top-level names that the package's modules import, its own and Python's left out."""
    names: set[str] = set()
    for module in (ROOT / "kb_tools").rglob("*.py"):
        for node in ast.walk(ast.parse(module.read_text("utf-8"))):
            if isinstance(node, ast.Import):
                names |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                names.add(node.module.split(".")[0])
    return names - {"kb_tools"} - set(sys.stdlib_module_names)


def normal(name: str) -> str:
    """Return a distribution's name in the form that compares (PyPA, name normalization)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def test_every_import_is_declared() -> None:
    """A package that a module imports is a dependency of ours, not only of one of our dependencies."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    declared = {normal(re.split(r"[<>=!~;\[ ]", line)[0]) for line in project["dependencies"]}
    carriers = packages_distributions()
    missing = {name for name in imported() if not {normal(found) for found in carriers.get(name, ())} & declared}
    assert not missing, f"imported and not declared: {sorted(missing)}"
