"""What a test may ask of a browser, whatever the engine: the words, the looks and the errors."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal, Protocol
from urllib.parse import urlsplit

if TYPE_CHECKING:
    from pathlib import Path

WAIT = 30.0
"""Seconds that a click, an input or an awaited expression may take before it fails; long, because a
machine that does much else must fail no test."""

_ON_A_NETWORK = frozenset({"http", "https", "ws", "wss"})

ColorScheme = Literal["light", "dark"]


class MissingEngineError(Exception):
    """A browser that the tests need is not on this machine; the message names the package."""


class CannotDoError(Exception):
    """This engine cannot be asked for this; the message says what a test does instead."""


class ScriptError(Exception):
    """A script that a test ran in the page threw, or its promise was rejected."""


class WaitedInVainError(AssertionError):
    """What a test waited for did not come in time."""


@dataclass(frozen=True, slots=True)
class Look:
    """How a browser shows pages, settled when it is opened; sizes in CSS pixels."""

    width: int = 390
    height: int = 844
    scale: int = 1
    """Device pixels for each CSS pixel. A phone has more; without a graphics card they cost a third of the time."""
    color_scheme: ColorScheme = "light"
    reduced_motion: bool = False
    touch: bool = False
    """Touch input; Chromium only."""


PHONE = Look(width=360, height=640)
TABLET = Look(width=820, height=1180)
DESKTOP = Look(width=1280, height=800)


class Browser(Protocol):
    """One browser window with storage of its own, empty when it is opened."""

    engine: str
    look: Look

    def open(self, url: str) -> None:
        """Go to an address (`file:` or `http:`) and wait until it has loaded."""

    def url(self) -> str:
        """Return the address with its fragment."""

    def title(self) -> str:
        """Return the page's title."""

    def reload(self) -> None:
        """Load the page anew."""

    def back(self) -> None:
        """Go back in the history; await what the test expects there."""

    def forward(self) -> None:
        """Go forward in the history; await what the test expects there."""

    def click(self, selector: str) -> None:
        """Click the first element that matches the CSS selector, once it can be clicked."""

    def tap(self, selector: str) -> None:
        """Touch the first element that matches; Chromium with `touch` only."""

    def fill(self, selector: str, text: str) -> None:
        """Replace what stands in a field, as by typing."""

    def press(self, keys: str) -> None:
        """Press a key where the focus is: a character, or `Enter`, `Backspace`, `Shift+Tab`, `ArrowDown` ..."""

    def text(self, selector: str) -> str:
        """Return the visible text of the first element that matches."""

    def texts(self, selector: str) -> list[str]:
        """Return the visible texts of all elements that match."""

    def count(self, selector: str) -> int:
        """Return how many elements match, seen or not."""

    def visible(self, selector: str) -> bool:
        """Tell whether any element matches and the first one is shown."""

    def attribute(self, selector: str, name: str) -> str | None:
        """Return an attribute of the first element that matches."""

    def role(self, selector: str) -> tuple[str, str]:
        """Return role and name of the first element that matches, as assistive technology gets them."""

    def eval(self, js: str) -> Any:  # noqa: ANN401 - whatever JSON the page returns
        """Evaluate an expression in the page; a promise is awaited. Returns its value by way of JSON.

        Raises:
            ScriptError: It threw.

        """

    def await_js(self, expression: str, timeout: float = WAIT) -> Any:  # noqa: ANN401 - whatever JSON the page returns
        """Evaluate an expression until it is truthy and return its value.

        Raises:
            WaitedInVainError: It was not, for `timeout` seconds.

        """

    def screenshot(self, path: Path, *, full_page: bool = False) -> Path:
        """Write a PNG of the window, or of the whole page, and return its path."""

    def pdf(self, path: Path) -> Path:
        """Print the page into a PDF; not WebKit."""

    def set_size(self, width: int, height: int) -> None:
        """Give the page this room, in CSS pixels."""

    def emulate(
        self,
        *,
        color_scheme: ColorScheme | None = None,
        reduced_motion: bool | None = None,
        media: Literal["screen", "print"] | None = None,
        forced_colors: bool | None = None,
    ) -> None:
        """Change how the open page is shown; Chromium only, elsewhere open with another `Look`."""

    def offline(self, *, on: bool = True) -> None:
        """Cut or restore the network of this browser; not WebKit, where a test stops its server."""

    def slow_processor(self, factor: float) -> None:
        """Make scripts run this many times slower; Chromium only."""

    def limit_storage(self, origin: str, size: int) -> None:
        """Let an origin keep at most so many bytes on this device; Chromium only."""

    def another(self) -> Browser:
        """Open a second window that shares this one's storage, as another tab does."""

    def requests(self) -> list[str]:
        """Return the addresses outside the opened pages' own origins that any page asked for, in order."""

    def problems(self) -> list[str]:
        """Return uncaught errors and console errors of the pages so far; not WebKit."""

    def close(self) -> None:
        """Close the window; what it stored is gone."""


class Engine(Protocol):
    """A browser engine; its processes are started once and reused over the tests of a session."""

    name: str
    can: frozenset[str]
    """What not every engine can: `emulate`, `offline`, `pdf`, `problems`, `profile`, `quota`, `slow_processor`,
    `touch`."""

    def new(self, look: Look) -> Browser:
        """Open a browser with empty storage."""

    def with_profile(self, folder: Path, look: Look) -> KillableBrowser:
        """Open a browser that keeps its storage in a folder; not WebKit."""

    def quit(self) -> None:
        """End every process of this engine."""


class KillableBrowser(Browser, Protocol):
    """A browser with a profile, for tests of what outlives its process."""

    def kill(self) -> None:
        """End the process at once, as a power cut would."""


@dataclass(slots=True)
class Trace:
    """What the windows of one browser asked for and what went wrong in them."""

    urls: list[str] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)
    _own: set[str] = field(default_factory=set)

    def opened(self, url: str) -> None:
        """Let the origin of an address that a test opens be one of its own."""
        self._own.add(_origin(url))

    def next(self) -> Trace:
        """Return an empty trace for whoever uses the same window next.

        What a test opened stays the windows' own: a service worker may ask for its server once more, in vain.
        """
        return Trace(_own=set(self._own))

    def on_servers(self) -> set[str]:
        """Return the own origins that are on a server."""
        return {origin for origin in self._own if urlsplit(origin).scheme in _ON_A_NETWORK}

    def outside(self, urls: list[str]) -> list[str]:
        """Return the addresses on a network that are not of an own origin."""
        return [url for url in urls if urlsplit(url).scheme in _ON_A_NETWORK and _origin(url) not in self._own]


def _origin(url: str) -> str:
    parts = urlsplit(url)
    return parts.scheme if parts.scheme == "file" else f"{parts.scheme}://{parts.netloc}"
