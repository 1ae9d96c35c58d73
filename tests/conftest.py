"""What all tests share: the command under test, the demo site, gold files, and no silent skips."""

from __future__ import annotations

import difflib
import os
import shutil
import subprocess
import sysconfig
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from filelock import FileLock
from hypothesis import HealthCheck, settings

from kb_tools.source.files import NOT_AREAS

if TYPE_CHECKING:
    from collections.abc import Callable, Generator

ROOT = Path(__file__).parent.parent
DEMO_TREES = {
    path.stem: path.relative_to(ROOT).as_posix()
    for path in sorted((ROOT / "trees").glob("*/*.yml"))
    if path.parent.name not in NOT_AREAS
}
"""Id of each tree of the demo library -> its file; nothing is read, so that collecting tests stays cheap."""
GOLD = ROOT / "tests" / "gold"
GOLD_ACTUAL = ROOT / "tests" / "gold-actual"

# A machine that does other work besides makes an example slow, not wrong.
settings.register_profile("project", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("project")


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the options of this project's tests."""
    parser.addoption("--fail-on-skip", action="store_true", help="Count a skipped test as failed.")
    parser.addoption("--accept-gold", action="store_true", help="Take present outputs as the right ones.")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what compares with gold files, so that `make accept-gold` runs just that."""
    for item in items:
        if "gold" in getattr(item, "fixturenames", ()):
            item.add_marker(pytest.mark.gold)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Make a skipped test fail where that is asked for; an expected failure is none."""
    report = yield
    if report.skipped and not hasattr(report, "wasxfail") and item.config.getoption("fail_on_skip"):
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped during {call.when}: {_reason(report.longrepr)}"
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(
    collector: pytest.Collector,
) -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    """Make a skipped file fail where that is asked for."""
    report = yield
    if report.skipped and collector.config.getoption("fail_on_skip"):
        report.outcome = "failed"
        report.longrepr = f"{collector.nodeid} was skipped: {_reason(report.longrepr)}"
    return report


def _reason(longrepr: object) -> object:
    return longrepr[2] if isinstance(longrepr, tuple) else longrepr


@pytest.fixture(scope="session")
def kb() -> str:
    """Return the command under test: this environment's, or the one that KB names (the wheel's)."""
    command = os.environ.get("KB") or shutil.which("kb", path=sysconfig.get_path("scripts"))
    assert command, "kb is not installed in this environment: run the tests by `make test`"
    return command


@pytest.fixture(scope="session")
def shared(tmp_path_factory: pytest.TempPathFactory, worker_id: str) -> Path:
    """Return the folder of what is made once for all test processes; who makes something there holds a lock."""
    base = tmp_path_factory.getbasetemp()
    return base if worker_id == "master" else base.parent


@pytest.fixture(scope="session")
def demo_site(kb: str, shared: Path) -> Path:
    """Build the demo library with the real command, once for all test processes."""
    site = shared / "demo-site"
    with FileLock(shared / "demo-site.lock"):
        if not site.exists():
            done = subprocess.run(
                [kb, "build", "--library", str(ROOT), "--out", str(site)],
                cwd=shared,
                capture_output=True,
                text=True,
                check=False,
            )
            assert done.returncode == 0, f"kb build failed:\n{done.stdout}\n{done.stderr}"
    return site


@pytest.fixture
def gold(request: pytest.FixtureRequest) -> Callable[[str, str], None]:
    """Return what compares a text with the gold file of a name, or accepts it with --accept-gold.

    The text of a mismatch is kept below tests/gold-actual.
    """

    def compare(name: str, actual: str) -> None:
        expected = GOLD / name
        if request.config.getoption("accept_gold"):
            expected.parent.mkdir(parents=True, exist_ok=True)
            expected.write_text(actual, "utf-8", newline="\n")
            return
        wanted = expected.read_text("utf-8") if expected.exists() else ""
        if wanted == actual:
            return
        kept = GOLD_ACTUAL / name
        kept.parent.mkdir(parents=True, exist_ok=True)
        kept.write_text(actual, "utf-8", newline="\n")
        lines = difflib.unified_diff(wanted.splitlines(), actual.splitlines(), f"gold/{name}", "actual", lineterm="")
        told = f"{name} is not what was accepted; it is kept in {kept}. If it is right: make accept-gold"
        pytest.fail("\n".join([told, *lines]))

    return compare
