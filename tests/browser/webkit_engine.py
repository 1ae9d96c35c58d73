"""WebKitGTK's small browser, driven by Selenium on a screen that nobody sees.

It has no display of its own to size, no record of requests and no offline switch; hence the virtual
screen, the style sheet that lets its window become as narrow as a phone, and the recording proxy.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any, Literal, NoReturn

from selenium.common.exceptions import (
    ElementClickInterceptedException,
    ElementNotInteractableException,
    NoSuchElementException,
    StaleElementReferenceException,
    WebDriverException,
)
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from browser.browsing import WAIT, CannotDoError, ColorScheme, Look, ScriptError, Trace, WaitedInVainError
from browser.scripts import VISIBLE, judged, literal, unwrapped
from browser.webkit_process import SCREEN, Process, Screen, run_script

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from selenium import webdriver
    from selenium.webdriver.remote.webelement import WebElement

POLL = 0.02
"""Seconds between two looks at what is awaited."""
_NOT_YET = (
    ElementClickInterceptedException,
    ElementNotInteractableException,
    NoSuchElementException,
    ScriptError,
    StaleElementReferenceException,
)
"""What a page answers that is not ready, or on its way to another; nothing has been done yet then."""
_KEYS = {
    "ArrowDown": Keys.ARROW_DOWN,
    "ArrowLeft": Keys.ARROW_LEFT,
    "ArrowRight": Keys.ARROW_RIGHT,
    "ArrowUp": Keys.ARROW_UP,
    "Backspace": Keys.BACKSPACE,
    "Control": Keys.CONTROL,
    "Delete": Keys.DELETE,
    "End": Keys.END,
    "Enter": Keys.ENTER,
    "Escape": Keys.ESCAPE,
    "Home": Keys.HOME,
    "PageDown": Keys.PAGE_DOWN,
    "PageUp": Keys.PAGE_UP,
    "Shift": Keys.SHIFT,
    "Space": Keys.SPACE,
    "Tab": Keys.TAB,
}


class Webkit:
    """WebKitGTK: stands for Safari's engine, not for its shell or its touch."""

    name = "webkit"
    can: frozenset[str] = frozenset()

    def __init__(self, driver: str, window: str, screen: str) -> None:
        """Use the three programs; nothing is started yet."""
        self._driver = driver
        self._window = window
        self._screen_program = screen
        self._screen: Screen | None = None
        self._idle: list[Process] = []

    def new(self, look: Look) -> WebkitBrowser:
        """Open a browser with empty storage, in an idle process of the same look if there is one."""
        if look.touch:
            raise CannotDoError("WebKitGTK has no touch: test touch in Chromium")
        if self._screen is None:
            self._screen = Screen(self._screen_program)
        fitting = [process for process in self._idle if process.fits(look)]
        if fitting:
            process = fitting[0]
            self._idle.remove(process)
        else:
            process = Process(self._driver, self._window, self._screen.display, look)
        return WebkitBrowser(self, process, look)

    def with_profile(self, folder: Path, look: Look) -> NoReturn:
        """Refuse: under automation its storage is never kept."""
        raise CannotDoError("WebKitGTK under automation keeps no profile: test what is kept in Chromium and Firefox")

    def take_back(self, process: Process) -> None:
        """Keep a process for the next browser, if it can be made as good as new."""
        if process.as_new():
            self._idle.append(process)
        else:
            process.quit()

    def quit(self) -> None:
        """End every idle process and the screen."""
        for process in self._idle:
            process.quit()
        self._idle.clear()
        if self._screen:
            self._screen.quit()
        self._screen = None


class WebkitBrowser:
    """A window in WebKitGTK; `driver` is Selenium's own."""

    engine = "webkit"

    def __init__(self, engine: Webkit, process: Process, look: Look, shared: tuple[Trace, int] | None = None) -> None:
        """Take a process's window, or open another one that shares the trace of a first, and its storage."""
        self.look = look
        self._engine = engine
        self._process = process
        self._owner = shared is None
        self._trace, self._seen_before = shared or (Trace(), len(process.proxy.seen()))
        if not self._owner:
            process.driver.switch_to.new_window("window")
        self._handle = process.driver.current_window_handle
        self.set_size(look.width, look.height)

    @property
    def driver(self) -> webdriver.WebKitGTK:
        """Selenium's driver, turned to this window."""
        driver = self._process.driver
        if driver.current_window_handle != self._handle:
            driver.switch_to.window(self._handle)
        return driver

    def open(self, url: str) -> None:
        """Go to an address and wait until it has loaded."""
        self._trace.opened(url)
        self.driver.get(url)

    def url(self) -> str:
        """Return the address with its fragment."""
        return str(self.eval("location.href"))

    def title(self) -> str:
        """Return the page's title."""
        return self.driver.title

    def reload(self) -> None:
        """Load the page anew."""
        self.driver.refresh()

    def back(self) -> None:
        """Go back in the history."""
        self.driver.back()

    def forward(self) -> None:
        """Go forward in the history."""
        self.driver.forward()

    def click(self, selector: str) -> None:
        """Click the first element that matches."""

        def click() -> tuple[bool, str]:
            element = self._element(selector)
            if not (element.is_displayed() and element.is_enabled()):
                return False, "hidden or disabled"
            self.driver.execute_script("arguments[0].scrollIntoView({block: 'center', behavior: 'instant'})", element)
            element.click()
            return True, "clicked"

        self._until(click, f"a click on {selector}")

    def tap(self, selector: str) -> NoReturn:
        """Refuse: there is no touch."""
        self._refuse("touch", f"test touch of {selector} in Chromium")

    def fill(self, selector: str, text: str) -> None:
        """Replace what stands in a field."""

        def fill() -> tuple[bool, str]:
            element = self._element(selector)
            element.clear()
            element.send_keys(text)
            return True, "filled"

        self._until(fill, f"an input into {selector}")

    def press(self, keys: str) -> None:
        """Press a key where the focus is."""
        *held, last = keys.split("+") if len(keys) > 1 else [keys]
        actions = ActionChains(self.driver)
        for key in held:
            actions.key_down(_KEYS[key])
        actions.send_keys(_KEYS.get(last, last))
        for key in reversed(held):
            actions.key_up(_KEYS[key])
        actions.perform()

    def text(self, selector: str) -> str:
        """Return the visible text of the first element that matches."""
        self.await_js(f"document.querySelector({literal(selector)})")
        return str(self.eval(f"document.querySelector({literal(selector)}).innerText"))

    def texts(self, selector: str) -> list[str]:
        """Return the visible texts of all elements that match."""
        return list(self.eval(f"Array.from(document.querySelectorAll({literal(selector)}), found => found.innerText)"))

    def count(self, selector: str) -> int:
        """Return how many elements match."""
        return int(self.eval(f"document.querySelectorAll({literal(selector)}).length"))

    def visible(self, selector: str) -> bool:
        """Tell whether the first element that matches is shown."""
        return bool(self.eval(VISIBLE % literal(selector)))

    def attribute(self, selector: str, name: str) -> str | None:
        """Return an attribute of the first element that matches."""
        value = self.eval(f"document.querySelector({literal(selector)}).getAttribute({literal(name)})")
        return None if value is None else str(value)

    def role(self, selector: str) -> tuple[str, str]:
        """Return role and name of the first element that matches."""
        element = self._element(selector)
        return element.aria_role, element.accessible_name

    def eval(self, js: str) -> Any:  # noqa: ANN401 - whatever JSON the page returns
        """Evaluate an expression in the page."""
        return unwrapped(self._run(js))

    def await_js(self, expression: str, timeout: float = WAIT) -> Any:  # noqa: ANN401 - whatever JSON the page returns
        """Evaluate an expression until it is truthy."""
        return self._until(lambda: judged(self._run(expression)), expression, timeout)

    def screenshot(self, path: Path, *, full_page: bool = False) -> Path:
        """Write a PNG and return its path; a whole page as far as the virtual screen reaches."""
        width, height = self.eval("[innerWidth, innerHeight]")
        if full_page:
            wanted = self.eval("Math.ceil(document.documentElement.scrollHeight)")
            if (wanted + 100) * self.look.scale > SCREEN[1]:
                raise CannotDoError(f"a page of {wanted} pixels is higher than the virtual screen: take it in Chromium")
            self.set_size(width, max(wanted, height))
        try:
            self.driver.save_screenshot(str(path))
        finally:
            if full_page:
                self.set_size(width, height)
        return path

    def pdf(self, path: Path) -> NoReturn:
        """Refuse: the driver cannot print."""
        self._refuse("pdf", f"print {path.name} in Chromium or Firefox")

    def set_size(self, width: int, height: int) -> None:
        """Give the page this room: the window is that much larger."""

        def fit() -> tuple[bool, list[int]]:
            inner = self.eval("[innerWidth, innerHeight]")
            time.sleep(POLL)  # a window that is still growing says something else now
            if inner != self.eval("[innerWidth, innerHeight]"):
                return False, inner
            if inner == [width, height]:
                return True, inner
            outer = self.driver.get_window_size()
            self.driver.set_window_size(outer["width"] + width - inner[0], outer["height"] + height - inner[1])
            return False, inner

        self._until(fit, f"a window of {width} x {height}")

    def emulate(
        self,
        *,
        color_scheme: ColorScheme | None = None,
        reduced_motion: bool | None = None,
        media: Literal["screen", "print"] | None = None,
        forced_colors: bool | None = None,
    ) -> NoReturn:
        """Refuse: all this is settled when the process starts."""
        asked = (color_scheme, reduced_motion, media, forced_colors)
        self._refuse("emulate", f"open the browser with another Look, or look at {asked} in Chromium")

    def offline(self, *, on: bool = True) -> NoReturn:
        """Refuse: there is no such switch."""
        self._refuse("offline", f"{'stop' if on else 'restart'} the test's server instead")

    def slow_processor(self, factor: float) -> NoReturn:
        """Refuse: there is no such switch."""
        self._refuse("slow_processor", f"measure in Chromium, {factor:g} times slower")

    def limit_storage(self, origin: str, size: int) -> NoReturn:
        """See `Browser`."""
        self._refuse("quota", "look for what a full device does in Chromium")

    def another(self) -> WebkitBrowser:
        """Open a second window that shares this one's storage."""
        return WebkitBrowser(self._engine, self._process, self.look, (self._trace, self._seen_before))

    def requests(self) -> list[str]:
        """Return the addresses outside this machine; of an encrypted request only the host is known."""
        return self._trace.outside(self._process.proxy.seen()[self._seen_before :])

    def problems(self) -> NoReturn:
        """Refuse: under automation the engine keeps its console to itself."""
        self._refuse("problems", "look for errors in Chromium and Firefox")

    def close(self) -> None:
        """Close the window, or give the process back with its storage emptied."""
        if self._owner:
            self._engine.take_back(self._process)
        else:
            self.driver.close()
            self._process.driver.switch_to.window(self._process.driver.window_handles[0])

    def _element(self, selector: str) -> WebElement:
        return self.driver.find_element(By.CSS_SELECTOR, selector)

    def _run(self, expression: str) -> str:
        try:
            return run_script(self.driver, expression)
        except WebDriverException as error:
            raise ScriptError(str(error)) from error

    def _until(self, attempt: Callable[[], tuple[bool, Any]], what: str, timeout: float = WAIT) -> Any:  # noqa: ANN401 - what the attempt yields
        """Repeat an attempt until it says that it went well, and return what it yields."""
        end = time.monotonic() + timeout
        last: object
        while True:
            try:
                well, last = attempt()
                if well:
                    return last
            except _NOT_YET as error:
                last = error
            if time.monotonic() > end:
                raise WaitedInVainError(f"{timeout:g} s for {what} in webkit; last: {last!r}")
            time.sleep(POLL)

    def _refuse(self, ability: str, instead: str) -> NoReturn:
        raise CannotDoError(f"webkit cannot be asked for {ability}: {instead}")
