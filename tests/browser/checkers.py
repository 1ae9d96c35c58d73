"""The two checkers of pages: axe-core for accessibility, the Nu HTML checker for markup."""

from __future__ import annotations

import json
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import unquote, urlsplit

if TYPE_CHECKING:
    from collections.abc import Iterable

    from browser.browsing import Browser

NODE_MODULES = Path(__file__).parents[2] / "node_modules"
WCAG_22_AA = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa")
"""axe-core's tags for the success criteria of WCAG 2.2, levels A and AA."""
_RULES: dict[str, object] = {
    "runOnly": {"type": "tag", "values": WCAG_22_AA},
    "rules": {"target-size": {"enabled": True}},
}
_COLOURS: dict[str, object] = {"runOnly": ["color-contrast"]}
_RUN_AXE = "axe.run(document, {...%s, resultTypes: ['violations']}).then(result => result.violations)"


@dataclass(frozen=True, slots=True)
class Violation:
    """A rule of axe-core that a page breaks."""

    rule: str
    impact: str
    help: str
    where: tuple[str, ...]
    """Selectors of the elements, each with what is wrong with it."""


@dataclass(frozen=True, slots=True)
class MarkupError:
    """An error that the Nu HTML checker found."""

    file: Path
    line: int
    message: str
    extract: str


def npm_file(path: str) -> Path:
    """Return a file of an npm package that package.json names.

    Raises:
        AssertionError: It is not installed.

    """
    file = NODE_MODULES / path
    if not file.exists():
        raise AssertionError(f"{path} is missing: run `make npm` (Debian: apt-get install nodejs npm)")
    return file


def axe_violations(browser: Browser) -> list[Violation]:
    """Run axe-core in the open page against WCAG 2.2, A and AA, and return what it breaks."""
    return _violations(browser, _RULES)


def contrast_violations(browser: Browser) -> list[Violation]:
    """Run of axe-core's rules only the one of contrast, for a page that was judged in other colours already."""
    return _violations(browser, _COLOURS)


def _violations(browser: Browser, options: dict[str, object]) -> list[Violation]:
    if not browser.eval("'axe' in window"):
        source = npm_file("axe-core/axe.min.js").read_text("utf-8")
        # Through the driver and not as a script element: a page's own policy would refuse that, rightly.
        browser.eval(f"(() => {{ {source} ; window.axe = axe; return true; }})()")
    return [
        Violation(
            found["id"],
            str(found["impact"]),
            found["help"],
            tuple(f"{node['target']}: {node['failureSummary']}" for node in found["nodes"]),
        )
        for found in browser.eval(_RUN_AXE % json.dumps(options))
    ]


def markup_errors(paths: Iterable[Path]) -> list[MarkupError]:
    """Run the Nu HTML checker over files or folders; other files than HTML are left out.

    Raises:
        AssertionError: There is no Java, or the checker did not run.

    """
    java = shutil.which("java")
    if java is None:
        raise AssertionError("The Nu HTML checker needs Java (Debian: apt-get install default-jre-headless)")
    checker = npm_file("vnu-jar/build/dist/vnu.jar")
    done = subprocess.run(
        [java, "-jar", str(checker), "--errors-only", "--skip-non-html", "--format", "json", *map(str, paths)],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        timeout=300,
    )
    try:
        messages = json.loads(done.stderr)["messages"]
    except ValueError as error:
        raise AssertionError(f"The Nu HTML checker failed ({done.returncode}): {done.stderr[:1000]}") from error
    return [
        MarkupError(
            Path(unquote(urlsplit(message["url"]).path)),
            message.get("lastLine", 1),
            message["message"],
            message.get("extract", ""),
        )
        for message in messages
    ]
