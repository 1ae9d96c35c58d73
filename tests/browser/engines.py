"""Where the three engines are found on this machine."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

from browser.browsing import MissingEngineError
from browser.playwright_engine import Chromium, Firefox, bundled
from browser.webkit_engine import Webkit

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from browser.browsing import Engine

ENGINES = ("chromium", "firefox", "webkit")
CHROMIUM_NAMES = ("chromium", "chromium-browser", "google-chrome-stable", "google-chrome")
FIREFOX_NAMES = ("firefox-esr", "firefox")
APPLICATIONS = (
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Firefox.app/Contents/MacOS/firefox",
)


def start(name: str) -> Engine:
    """Find an engine; its first process starts with its first page.

    Raises:
        MissingEngineError: It is not on this machine.

    """
    return _STARTERS[name]()


def _chromium() -> Engine:
    found = _program("KB_CHROMIUM", CHROMIUM_NAMES, [path for path in APPLICATIONS if "Chrom" in path])
    own_build = bundled("chromium")
    if found or own_build:
        return Chromium(found or own_build)
    raise MissingEngineError(_missing("Chromium", "chromium", "KB_CHROMIUM"))


def _firefox() -> Engine:
    found = _program("KB_FIREFOX", FIREFOX_NAMES, [path for path in APPLICATIONS if "irefox" in path])
    own_build = bundled("firefox")
    if found or own_build:
        return Firefox(found or own_build, playwrights_own=not found)
    raise MissingEngineError(_missing("Firefox", "firefox-esr", "KB_FIREFOX"))


def _webkit() -> Engine:
    driver = _program("KB_WEBKIT_DRIVER", ("WebKitWebDriver",), [])
    window = _program("KB_MINIBROWSER", ("MiniBrowser",), _minibrowsers())
    screen = _program("KB_XVFB", ("Xvfb",), [])
    missing = [
        package
        for part, package in ((driver, "webkit2gtk-driver"), (window, "webkit2gtk-driver"), (screen, "xvfb"))
        if not part
    ]
    if driver and window and screen:
        return Webkit(driver, window, screen)
    packages = " ".join(dict.fromkeys(missing))
    raise MissingEngineError(_missing("WebKitGTK", packages, "KB_WEBKIT_DRIVER, KB_MINIBROWSER, KB_XVFB"))


_STARTERS: dict[str, Callable[[], Engine]] = {"chromium": _chromium, "firefox": _firefox, "webkit": _webkit}


def _program(variable: str, names: Iterable[str], paths: Iterable[str]) -> str | None:
    """Return the program that a variable names, else the first that is there."""
    named = os.environ.get(variable)
    if named:
        return shutil.which(named)
    return next(filter(None, map(shutil.which, [*names, *paths])), None)


def _minibrowsers() -> list[str]:
    """Return where Debian, Fedora and Arch put WebKitGTK's own small browser."""
    return [
        str(path)
        for lib in (Path("/usr/lib"), Path("/usr/lib64"), Path("/usr/libexec"))
        for pattern in ("*/webkit2gtk-4.1/MiniBrowser", "webkit2gtk-4.1/MiniBrowser", "*/webkitgtk-6.0/MiniBrowser")
        for path in sorted(lib.glob(pattern))
    ]


def _missing(engine: str, package: str, variable: str) -> str:
    return (
        f"{engine} is not on this machine. On Debian: apt-get install {package} (`make test` does it where it may). "
        f"Elsewhere install it as your system does, or name the program in {variable}."
    )
