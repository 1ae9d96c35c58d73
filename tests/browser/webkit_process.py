"""The processes behind WebKitGTK's small browser: a virtual screen, a driver, a proxy, settings."""

from __future__ import annotations

import os
import subprocess
import tempfile
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from selenium import webdriver
from selenium.common.exceptions import WebDriverException

from browser.browsing import WAIT, ScriptError
from browser.recording_proxy import RecordingProxy
from browser.scripts import BLANK, FORGET, unwrapped, wrapped

if TYPE_CHECKING:
    from browser.browsing import Look

SCREEN = (3000, 7000)
"""Device pixels of the virtual screen."""
# Without it the toolbar keeps the window at 447 pixels or more.
NARROW_TOOLBAR = """\
headerbar, toolbar, toolbar *, headerbar *, button, entry, .titlebar * {
  min-width: 0; padding-left: 0; padding-right: 0; margin-left: 0; margin-right: 0; font-size: 4px;
}
headerbar image, toolbar image, button image { -gtk-icon-transform: scale(0.3); }
"""


class Screen:
    """A virtual screen with a free number."""

    def __init__(self, program: str) -> None:
        """Start it."""
        read, write = os.pipe()
        width, height = SCREEN
        # -noreset: else the screen starts anew when its last window closes, and the next one finds none.
        self._process = subprocess.Popen(
            [program, "-displayfd", str(write), "-screen", "0", f"{width}x{height}x24", "-nolisten", "tcp", "-noreset"],
            pass_fds=[write],
            stderr=subprocess.DEVNULL,
        )
        os.close(write)
        with os.fdopen(read) as answer:
            number = answer.readline().strip()
        if not number:
            self._process.wait()
            raise RuntimeError(f"{program} ended with {self._process.returncode} before it gave a screen")
        self.display = f":{number}"

    def quit(self) -> None:
        """End it."""
        self._process.terminate()
        self._process.wait()


class Process:
    """One running browser with its driver, its settings folder and its proxy."""

    def __init__(self, driver: str, window: str, display: str, look: Look) -> None:
        """Start it on a screen."""
        self._look = look
        self.proxy = RecordingProxy()
        self._home = tempfile.TemporaryDirectory(prefix="webkit-", ignore_cleanup_errors=True)
        options = webdriver.WebKitGTKOptions()
        options.binary_location = window
        for argument in ("--automation", f"--proxy=http://127.0.0.1:{self.proxy.port}", "--ignore-host=127.0.0.1"):
            options.add_argument(argument)
        service = webdriver.WebKitGTKService(
            driver, env=self._environment(display), log_output=str(Path(self._home.name, "driver.log"))
        )
        try:
            self.driver = webdriver.WebKitGTK(options=options, service=service)
        except BaseException:
            self._clean_up()
            raise
        self.driver.set_page_load_timeout(WAIT)
        self.driver.set_script_timeout(WAIT)

    def _environment(self, display: str) -> dict[str, str]:
        home = Path(self._home.name)
        settings = home / "gtk-3.0"
        settings.mkdir()
        (settings / "gtk.css").write_text(NARROW_TOOLBAR)
        theme = "Adwaita-dark" if self._look.color_scheme == "dark" else "Adwaita"
        (settings / "settings.ini").write_text(
            f"[Settings]\ngtk-theme-name={theme}\ngtk-enable-animations={int(not self._look.reduced_motion)}\n"
        )
        return os.environ | {
            "DISPLAY": display,
            "GDK_BACKEND": "x11",
            "GDK_SCALE": str(self._look.scale),
            # Pages are painted by the processor; else it would imitate a graphics card that paints them.
            "WEBKIT_SKIA_ENABLE_CPU_RENDERING": "1",
            "XDG_CONFIG_HOME": str(home),
            "XDG_DATA_HOME": str(home / "data"),
            "XDG_CACHE_HOME": str(home / "cache"),
        }

    def fits(self, look: Look) -> bool:
        """Tell whether a look needs no other process."""
        own = self._look
        return (own.color_scheme, own.reduced_motion, own.scale) == (look.color_scheme, look.reduced_motion, look.scale)

    def as_new(self) -> bool:
        """Forget what pages from disk stored; nothing reaches what servers' pages stored: no port comes again."""
        try:
            first, *others = self.driver.window_handles
            for handle in others:
                self.driver.switch_to.window(handle)
                self.driver.close()
            self.driver.switch_to.window(first)
            self.driver.get(BLANK.as_uri())
            self.driver.delete_all_cookies()
            return bool(unwrapped(run_script(self.driver, FORGET)))
        except (WebDriverException, ScriptError):
            return False

    def quit(self) -> None:
        """End it and remove its folder."""
        with suppress(WebDriverException):
            self.driver.quit()
        self._clean_up()

    def _clean_up(self) -> None:
        self.proxy.close()
        self._home.cleanup()


def run_script(driver: webdriver.WebKitGTK, expression: str) -> str:
    """Run an expression in the open page and return what `unwrapped` reads."""
    return str(driver.execute_async_script(f"const tell = arguments[0];\n{wrapped(expression)}.then(tell);"))
