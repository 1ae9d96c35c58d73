"""That a test is run once more where a browser's driver broke, and only there."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent
SAMPLES = """
from playwright.sync_api import Error
from selenium.common.exceptions import WebDriverException

from browser.browsing import ScriptError, WaitedInVainError

ran = set()


def first(name):
    again = name in ran
    ran.add(name)
    return not again


def test_driver_of_two():
    if first("two"):
        raise Error("Page.screenshot: Protocol error (browsingContext.captureScreenshot): unknown error")


def test_driver_of_one():
    if first("one"):
        raise WebDriverException("the session is gone")


def test_asserts():
    assert not first("asserts"), "Error: Protocol error"


def test_script():
    if first("script"):
        raise ScriptError("TypeError: null has no text")


def test_waits():
    if first("waits"):
        raise WaitedInVainError("10 s for a step")
"""


def test_only_a_broken_driver_is_tried_again(tmp_path: Path) -> None:
    """With the project's own settings two of five failures are run again; what a test found stays a failure."""
    sample = tmp_path / "test_sample.py"
    sample.write_text(SAMPLES, "utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-c", str(ROOT / "pyproject.toml"), "-p", "no:cacheprovider", str(sample)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert "3 failed, 2 passed, 2 rerun" in done.stdout, done.stdout
    for name in ("asserts", "script", "waits"):
        assert f"test_{name} - " in done.stdout
