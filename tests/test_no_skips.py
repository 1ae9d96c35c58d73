"""That no skipped test passes for one that ran."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

TESTS = Path(__file__).parent
SAMPLES = {
    "passes": "def test_it():\n    pass\n",
    "expected": "import pytest\n\n@pytest.mark.xfail(strict=True)\ndef test_it():\n    assert False\n",
    "skips": "import pytest\n\ndef test_it():\n    pytest.skip('no engine')\n",
    "fixture": """
import pytest

@pytest.fixture
def engine():
    pytest.skip('no driver')

def test_it(engine):
    pass
""",
    "file": "import pytest\n\npytest.importorskip('no_such_module')\n\ndef test_it():\n    pass\n",
}


def run(folder: Path, *options: str) -> subprocess.CompletedProcess[str]:
    """Run the samples under this project's own conftest."""
    for name, text in SAMPLES.items():
        (folder / f"test_{name}.py").write_text(text, "utf-8")
    config = folder / "pytest.ini"
    config.write_text("[pytest]\n", "utf-8")
    command = [sys.executable, "-m", "pytest", "-c", str(config), "-p", "conftest", "-p", "no:cacheprovider"]
    return subprocess.run(
        [*command, *options, str(folder)],
        cwd=folder,
        env=os.environ | {"PYTHONPATH": str(TESTS)},
        capture_output=True,
        text=True,
        check=False,
    )


def test_skipped_tests_fail_the_run(tmp_path: Path) -> None:
    """A skipped test, fixture or file fails under --fail-on-skip with its reason; other outcomes stay."""
    done = run(tmp_path, "--fail-on-skip", "--continue-on-collection-errors")
    assert done.returncode != 0
    assert "1 failed, 1 passed, 1 xfailed, 2 errors" in done.stdout
    for reason in ("no engine", "no driver", "no_such_module"):
        assert reason in done.stdout


def test_skipped_tests_may_pass_where_a_person_asks_for_part(tmp_path: Path) -> None:
    """Without the option a skipped test is a skipped test."""
    done = run(tmp_path)
    assert done.returncode == 0
    assert "1 passed, 3 skipped, 1 xfailed" in done.stdout
