"""Chromium and Firefox, driven by Playwright."""

from __future__ import annotations

import base64
import hashlib
import re
import time
from pathlib import Path
from typing import Any, Literal, TypedDict

import yaml
from playwright.sync_api import Browser as Process
from playwright.sync_api import BrowserContext, ConsoleMessage, Page, Playwright, sync_playwright
from playwright.sync_api import Error as PlaywrightError

from browser.browsing import WAIT, CannotDoError, ColorScheme, Look, ScriptError, Trace, WaitedInVainError
from browser.processes import kill_processes_naming
from browser.scripts import BLANK, FORGET, VISIBLE, judged, literal, unwrapped, wrapped

POLL = 0.02
"""Seconds between two looks at what is awaited."""
CHROMIUM_FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    # No name resolves, so that a test behaves alike with and without a network.
    "--host-resolver-rules=MAP * ~NOTFOUND , EXCLUDE 127.0.0.1",
)
_CLOSED_PORT = 9
SCREENSHOT_STYLE = base64.b64encode(hashlib.sha256(b"body {}").digest()).decode()
"""Hash of the style that Playwright adds for a moment before it takes a picture in Firefox; a page's
strict policy refuses it aloud, which is no problem of the page."""
DROPPED_REQUEST = "Failed to load \u2018\u2019. A ServiceWorker intercepted the request"
"""Firefox says so, without an address, of a request that it gave up itself because its page was left
while the worker answered. A worker that fails is told with the address, and stays a problem."""
NO_PICTURE = "Unable to capture screenshot"
FIREFOX_PREFERENCES: dict[str, str | float | bool] = {
    # Playwright loosens it; then fetch, modules and workers would work from disk as they do for no reader.
    "security.fileuri.strict_origin_policy": True,
    # Everything but this machine goes to a proxy that is not there: no network, whatever the machine has.
    "network.proxy.type": 1,
    "network.proxy.http": "127.0.0.1",
    "network.proxy.http_port": _CLOSED_PORT,
    "network.proxy.ssl": "127.0.0.1",
    "network.proxy.ssl_port": _CLOSED_PORT,
}
_ROLE = re.compile(r'(?P<role>[\w-]+)(?: "(?P<name>(?:[^"\\]|\\.)*)")?')


class _Driver:
    """The one Playwright of a process: its two engines share it."""

    def __init__(self) -> None:
        self._playwright: Playwright | None = None

    def get(self) -> Playwright:
        if self._playwright is None:
            self._playwright = sync_playwright().start()
        return self._playwright

    def stop(self) -> None:
        if self._playwright is not None:
            self._playwright.stop()
        self._playwright = None


_driver = _Driver()
stop_driver = _driver.stop


def bundled(name: Literal["chromium", "firefox"]) -> str:
    """Return the program of a build that `playwright install` fetched, or an empty text."""
    path = getattr(_driver.get(), name).executable_path
    return path if Path(path).exists() else ""


class _ContextOptions(TypedDict, total=False):
    viewport: Any
    device_scale_factor: float
    has_touch: bool
    is_mobile: bool
    color_scheme: ColorScheme
    reduced_motion: Literal["reduce", "no-preference"]
    accept_downloads: bool


class _Device:
    """A context with its first window, and the trace of whoever has it now."""

    def __init__(self, context: BrowserContext) -> None:
        self.context = context
        self.trace = Trace()
        self.as_opened = True
        """Whether nothing was changed that a new address and an emptied storage do not undo."""
        context.set_default_timeout(WAIT * 1000)
        context.on("request", lambda request: self.trace.urls.append(request.url))
        context.on("weberror", lambda error: self.trace.problems.append(str(error.error)))
        context.on("console", self._note_console)
        self.page = self.window()

    def window(self) -> Page:
        """Open a window, another one after the first."""
        page = self.context.new_page()
        page.on("websocket", lambda socket: self.trace.urls.append(socket.url))
        return page

    def _note_console(self, message: ConsoleMessage) -> None:
        if message.type == "error":
            self.trace.problems.append(message.text)


class _Engine:
    """What the two engines have in common: processes by look, and browsers as contexts of them."""

    name: str
    can: frozenset[str]

    def __init__(self) -> None:
        self._processes: dict[object, Process] = {}
        self._idle: list[tuple[Look, _Device]] = []

    def new(self, look: Look) -> PlaywrightBrowser:
        """Open a browser with empty storage: an idle one of the same look, or a new context."""
        for found in self._idle:
            if found[0] == look:
                self._idle.remove(found)
                return PlaywrightBrowser(self, found[1], look)
        key = self._key(look)
        process = self._processes.get(key)
        if process is None or not process.is_connected():
            process = self._processes[key] = self._launch(look)
        return PlaywrightBrowser(self, _Device(process.new_context(**self._context(look))), look)

    def take_back(self, device: _Device, look: Look) -> None:
        """Keep a context for the next browser of its look, if it can be made as good as new."""
        if device.as_opened and self._forgets(device, look):
            device.trace = device.trace.next()
            self._idle.append((look, device))
        else:
            device.context.close()

    def with_profile(self, folder: Path, look: Look) -> ProfileBrowser:
        """Open a browser that keeps its storage in a folder."""
        return ProfileBrowser(self, self._launch_profile(folder, look), look, folder)

    def quit(self) -> None:
        """End every process."""
        self._idle.clear()
        for process in self._processes.values():
            process.close()
        self._processes.clear()

    def _forgets(self, device: _Device, look: Look) -> bool:
        """Empty what pages from disk stored; False where that cannot be done."""
        raise NotImplementedError

    def _key(self, look: Look) -> object:
        raise NotImplementedError

    def _context(self, look: Look) -> _ContextOptions:
        raise NotImplementedError

    def _launch(self, look: Look) -> Process:
        raise NotImplementedError

    def _launch_profile(self, folder: Path, look: Look) -> BrowserContext:
        raise NotImplementedError


class Chromium(_Engine):
    """Chromium: stands for Chrome and for Android's browsers."""

    name = "chromium"
    can = frozenset({"emulate", "offline", "pdf", "problems", "profile", "quota", "slow_processor", "touch"})

    def __init__(self, program: str) -> None:
        """Use a program; nothing is started yet."""
        super().__init__()
        self._program = program

    def _forgets(self, device: _Device, look: Look) -> bool:
        # All pages from disk share one storage here. A new context costs twice as much as a page of a tree.
        try:
            device.page.goto(BLANK.as_uri())
            unwrapped(str(device.page.evaluate(wrapped(FORGET))))
            session = device.context.new_cdp_session(device.page)
            for origin in device.trace.on_servers():
                session.send("Storage.clearDataForOrigin", {"origin": origin, "storageTypes": "all"})
            session.detach()
            device.page.set_viewport_size({"width": look.width, "height": look.height})
        except (PlaywrightError, ScriptError):
            return False
        return True

    def _key(self, look: Look) -> object:
        return None

    def _context(self, look: Look) -> _ContextOptions:
        return {
            "viewport": {"width": look.width, "height": look.height},
            "device_scale_factor": look.scale,
            "has_touch": look.touch,
            "is_mobile": look.touch,
            "color_scheme": look.color_scheme,
            "reduced_motion": "reduce" if look.reduced_motion else "no-preference",
            "accept_downloads": True,
        }

    def _launch(self, look: Look) -> Process:
        return _driver.get().chromium.launch(executable_path=self._program, args=list(CHROMIUM_FLAGS))

    def _launch_profile(self, folder: Path, look: Look) -> BrowserContext:
        return _driver.get().chromium.launch_persistent_context(
            folder, executable_path=self._program, args=list(CHROMIUM_FLAGS), **self._context(look)
        )


class Firefox(_Engine):
    """Firefox. What a page is told about colours and motion is settled when the process starts."""

    name = "firefox"
    can = frozenset({"offline", "pdf", "problems", "profile"})

    def __init__(self, program: str, *, playwrights_own: bool) -> None:
        """Use a program: a build of Playwright's own, or the one that people have."""
        super().__init__()
        self._program = program
        # The Firefox that people have speaks WebDriver BiDi; a build of Playwright's own does not need it.
        self._channel = None if playwrights_own else "moz-firefox"

    def _forgets(self, device: _Device, look: Look) -> bool:
        return False  # each page from disk has a storage of its own, which no other page can reach

    def _key(self, look: Look) -> object:
        return look.color_scheme, look.reduced_motion

    def _context(self, look: Look) -> _ContextOptions:
        if look.touch:
            raise CannotDoError("Firefox takes `touch` and ignores it: test touch in Chromium")
        return {
            "viewport": {"width": look.width, "height": look.height},
            "device_scale_factor": look.scale,
            "accept_downloads": True,
        }

    def _preferences(self, look: Look) -> dict[str, str | float | bool]:
        dark = look.color_scheme == "dark"
        return FIREFOX_PREFERENCES | {
            "layout.css.prefers-color-scheme.content-override": 0 if dark else 1,
            "ui.prefersReducedMotion": int(look.reduced_motion),
        }

    def _launch(self, look: Look) -> Process:
        return _driver.get().firefox.launch(
            channel=self._channel, executable_path=self._program, firefox_user_prefs=self._preferences(look)
        )

    def _launch_profile(self, folder: Path, look: Look) -> BrowserContext:
        return _driver.get().firefox.launch_persistent_context(
            folder,
            channel=self._channel,
            executable_path=self._program,
            firefox_user_prefs=self._preferences(look),
            **self._context(look),
        )


class PlaywrightBrowser:
    """A window in Chromium or Firefox; `page` is Playwright's own, for what only one engine can."""

    def __init__(self, engine: _Engine, device: _Device, look: Look, page: Page | None = None) -> None:
        """Take a device with its first window, or a further window of it."""
        self.engine = engine.name
        self.look = look
        self._engine = engine
        self._device = device
        self._owner = page is None
        self.page: Page = page or device.page

    def open(self, url: str) -> None:
        """Go to an address and wait until it has loaded."""
        self._device.trace.opened(url)
        self.page.goto(url)

    def url(self) -> str:
        """Return the address with its fragment."""
        return str(self.eval("location.href"))

    def title(self) -> str:
        """Return the page's title."""
        return self.page.title()

    def reload(self) -> None:
        """Load the page anew."""
        self.page.reload()

    def back(self) -> None:
        """Go back in the history."""
        # Playwright waits for a load that a page out of Firefox's memory never has.
        self.eval("setTimeout(() => history.back())")

    def forward(self) -> None:
        """Go forward in the history."""
        self.eval("setTimeout(() => history.forward())")

    def click(self, selector: str) -> None:
        """Click the first element that matches."""
        self.page.locator(selector).first.click()

    def tap(self, selector: str) -> None:
        """Touch the first element that matches."""
        self._need("touch", "test touch in Chromium")
        self.page.locator(selector).first.tap()

    def fill(self, selector: str, text: str) -> None:
        """Replace what stands in a field."""
        self.page.locator(selector).first.fill(text)

    def press(self, keys: str) -> None:
        """Press a key where the focus is."""
        self.page.keyboard.press(keys)

    def text(self, selector: str) -> str:
        """Return the visible text of the first element that matches."""
        return self.page.locator(selector).first.inner_text()

    def texts(self, selector: str) -> list[str]:
        """Return the visible texts of all elements that match."""
        return self.page.locator(selector).all_inner_texts()

    def count(self, selector: str) -> int:
        """Return how many elements match."""
        return self.page.locator(selector).count()

    def visible(self, selector: str) -> bool:
        """Tell whether the first element that matches is shown."""
        return bool(self.eval(VISIBLE % literal(selector)))

    def attribute(self, selector: str, name: str) -> str | None:
        """Return an attribute of the first element that matches."""
        return self.page.locator(selector).first.get_attribute(name)

    def role(self, selector: str) -> tuple[str, str]:
        """Return role and name of the first element that matches."""
        item = yaml.safe_load(self.page.locator(selector).first.aria_snapshot())[0]
        described = _ROLE.match(item if isinstance(item, str) else next(iter(item)))
        if described is None:
            raise AssertionError(f"{selector} has no role: {item!r}")
        return described["role"], re.sub(r"\\(.)", r"\1", described["name"] or "")

    def eval(self, js: str) -> Any:  # noqa: ANN401 - whatever JSON the page returns
        """Evaluate an expression in the page."""
        return unwrapped(self._run(js))

    def await_js(self, expression: str, timeout: float = WAIT) -> Any:  # noqa: ANN401 - whatever JSON the page returns
        """Evaluate an expression until it is truthy."""
        # Playwright's own waiting runs as the page's script, which a strict policy forbids.
        end = time.monotonic() + timeout
        last: object
        while True:
            try:
                truthy, last = judged(self._run(expression))
                if truthy:
                    return last
            except ScriptError as error:  # the page is on its way to another, or not ready
                last = error
            if time.monotonic() > end:
                raise WaitedInVainError(f"{timeout:g} s for {expression} in {self.engine}; last: {last!r}")
            self.page.wait_for_timeout(POLL * 1000)

    def screenshot(self, path: Path, *, full_page: bool = False) -> Path:
        """Write a PNG and return its path."""
        end = time.monotonic() + WAIT
        while True:
            try:
                self.page.screenshot(path=path, full_page=full_page)
            except PlaywrightError as error:  # Firefox has no picture of a page that is on its way to another
                if NO_PICTURE not in error.message or time.monotonic() > end:
                    raise
                self.page.wait_for_timeout(POLL * 1000)
            else:
                return path

    def pdf(self, path: Path) -> Path:
        """Print the page into a PDF."""
        self.page.pdf(path=path)
        return path

    def set_size(self, width: int, height: int) -> None:
        """Give the page this room."""
        self.page.set_viewport_size({"width": width, "height": height})

    def emulate(
        self,
        *,
        color_scheme: ColorScheme | None = None,
        reduced_motion: bool | None = None,
        media: Literal["screen", "print"] | None = None,
        forced_colors: bool | None = None,
    ) -> None:
        """Change how the open page is shown."""
        self._need("emulate", "open the browser with another Look; print with pdf()")
        self._device.as_opened = False
        changes: dict[str, Any] = {"color_scheme": color_scheme, "media": media}
        if reduced_motion is not None:
            changes["reduced_motion"] = "reduce" if reduced_motion else "no-preference"
        if forced_colors is not None:
            changes["forced_colors"] = "active" if forced_colors else "none"
        self.page.emulate_media(**{name: value for name, value in changes.items() if value is not None})

    def offline(self, *, on: bool = True) -> None:
        """Cut or restore the network of this browser."""
        self._device.as_opened = False
        self._device.context.set_offline(on)

    def slow_processor(self, factor: float) -> None:
        """Make scripts run this many times slower."""
        self._need("slow_processor", "measure in Chromium")
        self._device.as_opened = False
        self._device.context.new_cdp_session(self.page).send("Emulation.setCPUThrottlingRate", {"rate": factor})

    def limit_storage(self, origin: str, size: int) -> None:
        """See `Browser`."""
        self._need("quota", "look for what a full device does in Chromium")
        self._device.as_opened = False
        session = self._device.context.new_cdp_session(self.page)
        session.send("Storage.overrideQuotaForOrigin", {"origin": origin, "quotaSize": size})

    def another(self) -> PlaywrightBrowser:
        """Open a second window that shares this one's storage."""
        self._device.as_opened = False
        return PlaywrightBrowser(self._engine, self._device, self.look, self._device.window())

    def requests(self) -> list[str]:
        """Return the addresses outside the opened pages' own origins."""
        return self._device.trace.outside(self._device.trace.urls)

    def problems(self) -> list[str]:
        """Return uncaught errors and console errors."""
        return [
            problem
            for problem in self._device.trace.problems
            if SCREENSHOT_STYLE not in problem and not problem.startswith(DROPPED_REQUEST)
        ]

    def close(self) -> None:
        """Close the window; with the first one of a device its storage goes too."""
        if self._owner:
            self._engine.take_back(self._device, self.look)
        else:
            self.page.close()

    def _run(self, expression: str) -> str:
        try:
            return str(self.page.evaluate(wrapped(expression)))
        except PlaywrightError as error:
            raise ScriptError(str(error)) from error

    def _need(self, ability: str, instead: str) -> None:
        if ability not in self._engine.can:
            raise CannotDoError(f"{self.engine} cannot be asked for {ability}: {instead}")


class ProfileBrowser(PlaywrightBrowser):
    """A window whose storage lies in a folder and outlives it."""

    def __init__(self, engine: _Engine, context: BrowserContext, look: Look, folder: Path) -> None:
        """Open a window on a profile."""
        super().__init__(engine, _Device(context), look)
        self._device.as_opened = False
        self._folder = folder

    def kill(self) -> None:
        """End the processes that use the profile at once."""
        kill_processes_naming(self._folder)
