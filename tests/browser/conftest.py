"""Fixtures of the browser tests.

`browser` is an empty phone-sized window of each engine in turn; `open_browser(Look(...))` opens
others. Every test fails at its end if a page asked for anything outside its own origin or, where the
engine tells, had an uncaught error; a test marked `planted` looks at both itself. `serve(folder)` and
`served` are web servers of this machine; `demo_site` and `pocket_file` are the demo library, made once a session.

One engine only: `@pytest.mark.parametrize("engine", ["chromium"], indirect=True)`.
"""

from __future__ import annotations

import subprocess
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import pytest
from filelock import FileLock

from browser import engines, playwright_engine
from browser.browsing import Browser, Engine, Look
from browser.serving import Served
from conftest import ROOT

if TYPE_CHECKING:
    from collections.abc import Iterator


class OpenBrowser(Protocol):
    """Opens a browser that is closed when the test ends."""

    def __call__(self, look: Look = Look()) -> Browser:
        """Open one."""


class Serve(Protocol):
    """Serves a folder until the test ends."""

    def __call__(self, root: Path, prefix: str = "/") -> Served:
        """Start a server for it."""


@pytest.fixture(scope="session")
def _started() -> Iterator[dict[str, Engine]]:
    """Hold the engines that run in this test process."""
    started: dict[str, Engine] = {}
    yield started
    for engine in started.values():
        engine.quit()
    playwright_engine.stop_driver()


@pytest.fixture(scope="session", params=engines.ENGINES)
def engine(request: pytest.FixtureRequest, _started: dict[str, Engine]) -> Engine:
    """Each engine in turn; a missing one is a failure that names what to install."""
    name: str = request.param
    if name not in _started:
        _started[name] = engines.start(name)
    return _started[name]


@pytest.fixture
def open_browser(engine: Engine, request: pytest.FixtureRequest) -> Iterator[OpenBrowser]:
    """Return what opens a browser with a look of its own and empty storage."""
    opened: list[Browser] = []

    def open_one(look: Look = Look()) -> Browser:
        opened.append(engine.new(look))
        return opened[-1]

    yield open_one
    outside: list[str] = []
    problems: list[str] = []
    for browser in opened:
        outside += browser.requests()
        if "problems" in engine.can:
            problems += browser.problems()
        browser.close()
    if request.node.get_closest_marker("planted") is None:
        assert not outside, f"asked for outside its own origin in {engine.name}: {outside}"
        assert not problems, f"errors in the page in {engine.name}: {problems}"


@pytest.fixture
def browser(open_browser: OpenBrowser) -> Browser:
    """Return an empty browser of a phone's size."""
    return open_browser()


@pytest.fixture
def serve() -> Iterator[Serve]:
    """Return what serves a folder on a port that no other had, so that no storage is shared between tests."""
    running: list[Served] = []

    def serve_one(root: Path, prefix: str = "/") -> Served:
        served = Served(root, prefix)
        served.start()
        running.append(served)
        return served

    yield serve_one
    for served in running:
        served.stop()


@pytest.fixture
def served(serve: Serve, demo_site: Path) -> Served:
    """Return a server of the demo site, without its worker, which would fetch the whole edition meanwhile.

    With the real one the site runs in test_carriers.
    """
    server = serve(demo_site)
    server.instead["sw.js"] = Path(__file__).parent / "probe" / "idle_worker.js"
    return server


@pytest.fixture(scope="session")
def pocket_file(kb: str, shared: Path) -> Path:
    """Return the demo library as one file, alone in a folder, packed once for all test processes."""
    out = shared / "pocket" / "pocket.html"
    with FileLock(shared / "pocket.lock"):
        if not out.exists():
            out.parent.mkdir()
            done = subprocess.run(
                [kb, "pack", "--library", str(ROOT), "--out", str(out)], capture_output=True, text=True, check=False
            )
            assert done.returncode == 0, done.stderr
    return out


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark every test of this folder."""
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.browser)
