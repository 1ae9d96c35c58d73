"""The browser harness itself: that each engine really does, and really sees, what tests rely on."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from browser import engines
from browser.browsing import DESKTOP, CannotDoError, Look, MissingEngineError, ScriptError, WaitedInVainError
from browser.checkers import axe_violations, contrast_violations

if TYPE_CHECKING:
    from browser.browsing import Browser, Engine
    from browser.conftest import OpenBrowser, Serve

PROBE = Path(__file__).parent / "probe"
PAGE = (PROBE / "index.html").as_uri()
chromium_only = pytest.mark.parametrize("engine", ["chromium"], indirect=True)


def png_size(path: Path) -> tuple[int, int]:
    """Return width and height of a PNG, from its header (PNG specification, 11.2.1)."""
    head = path.read_bytes()[:24]
    assert head.startswith(b"\x89PNG\r\n\x1a\n")
    width, height = struct.unpack(">II", head[16:24])
    return width, height


def test_page_from_disk_runs_its_script(browser: Browser) -> None:
    """A page opened from disk runs its script and can be read and driven."""
    browser.open(PAGE)
    assert browser.title() == "Probe"
    assert browser.text("#ran") == "script has run"
    browser.click("#count")
    browser.click("#count span")
    browser.await_js("document.getElementById('counted').textContent === '2'")
    browser.fill("#name", "Zoë")
    assert browser.text("#typed") == "Zoë"
    browser.press("Shift+Tab")
    assert browser.eval("document.activeElement.id") == "count"
    browser.press("7")
    assert browser.text("#key") == "7"
    browser.press("Enter")
    assert browser.text("#counted") == "3", "the focus is on the button"
    assert browser.count("p") == 7
    assert browser.visible("#ran")
    assert not browser.visible("#hidden")
    assert not browser.visible("#absent")
    assert browser.attribute("#count", "type") == "button"
    assert browser.attribute("#count", "lang") is None
    assert browser.texts("h1, label") == ["Probe", 'Name: first "and" last']


def test_roles_and_names(browser: Browser) -> None:
    """Role and name come as assistive technology gets them."""
    browser.open(PAGE)
    assert browser.role("#count") == ("button", "Count up")
    assert browser.role("#name") == ("textbox", 'Name: first "and" last')


def test_values_and_errors_of_scripts(browser: Browser) -> None:
    """Values come as JSON, promises are awaited, and what a script throws is told, strict policy or not."""
    browser.open(PAGE)
    assert browser.eval("({a: [1, 'b', null, true]})") == {"a": [1, "b", None, True]}
    assert browser.eval("undefined") is None
    assert browser.eval("new Promise(resolve => setTimeout(resolve, 20, 'late'))") == "late"
    with pytest.raises(ScriptError, match=r"E7: Error: wrong"):
        browser.eval("(() => { throw Object.assign(new Error('wrong'), {code: 'E7'}); })()")
    with pytest.raises(ScriptError):
        browser.eval("1 +")
    with pytest.raises(WaitedInVainError, match="never"):
        browser.await_js("window.never", timeout=0.2)


def test_history(browser: Browser) -> None:
    """Links, back, forward and reload lead where they lead a reader."""
    browser.open(PAGE)
    browser.click("a")
    browser.await_js("document.title === 'Second'")
    assert browser.url().endswith("/second.html#here")
    browser.back()
    browser.await_js("document.title === 'Probe'")
    browser.forward()
    browser.await_js("document.title === 'Second'")
    browser.reload()
    assert browser.title() == "Second"


@pytest.mark.parametrize("look", [Look(width=320, height=480, scale=2), DESKTOP], ids=["small", "desktop"])
def test_size_and_screenshot(open_browser: OpenBrowser, look: Look, tmp_path: Path) -> None:
    """A page gets the room and the pixel density that a look says, and a screenshot shows it."""
    browser = open_browser(look)
    browser.open(PAGE)
    assert browser.eval("[innerWidth, innerHeight, devicePixelRatio]") == [look.width, look.height, look.scale]
    shot = browser.screenshot(tmp_path / "window.png")
    assert png_size(shot) == (look.width * look.scale, look.height * look.scale)
    browser.eval("document.body.style.height = '2000px'")
    whole = browser.screenshot(tmp_path / "whole.png", full_page=True)
    assert png_size(whole)[1] >= 2000 * look.scale
    browser.set_size(700, 500)
    assert browser.eval("[innerWidth, innerHeight]") == [700, 500]


def test_look_reaches_the_page(open_browser: OpenBrowser) -> None:
    """A page is told the colour scheme and the wish for less motion."""
    told = (
        "['(prefers-color-scheme: dark)', '(prefers-reduced-motion: reduce)'].map(query => matchMedia(query).matches)"
    )
    plain, other = open_browser(), open_browser(Look(color_scheme="dark", reduced_motion=True))
    for browser, expected in ((plain, [False, False]), (other, [True, True])):
        browser.open(PAGE)
        assert browser.eval(told) == expected


@pytest.mark.planted
def test_outside_requests_are_seen(browser: Browser) -> None:
    """Every way to ask for something outside leaves a trace; a page that asks for nothing leaves none."""
    browser.open(PAGE)
    assert browser.requests() == []
    browser.open((PROBE / "leaking.html").as_uri())
    for host in ("style", "script", "picture", "fetch", "beacon", "socket"):
        for _ in range(100):
            if any(f"//{host}.invalid" in url for url in browser.requests()):
                break
            browser.eval("new Promise(resolve => setTimeout(resolve, 50))")
        else:
            pytest.fail(f"the request for {host}.invalid was not seen in {browser.engine}: {browser.requests()}")


@pytest.mark.planted
@pytest.mark.parametrize("engine", ["chromium", "firefox"], indirect=True)
def test_another_port_of_this_machine_is_outside(browser: Browser, serve: Serve) -> None:
    """A request to another server of this machine counts as outside the page's origin."""
    own, other = serve(PROBE), serve(PROBE)
    browser.open(own.url + "second.html")
    browser.eval(f"fetch('{own.url}blank.html').then(() => true)")
    assert browser.requests() == []
    browser.eval(f"fetch('{other.url}blank.html', {{mode: 'no-cors'}}).then(() => true)")
    assert browser.requests() == [other.url + "blank.html"]


@pytest.mark.planted
def test_page_errors_are_seen(browser: Browser, engine: Engine) -> None:
    """Uncaught errors, rejections and what a policy refuses are told, where the engine tells."""
    browser.open((PROBE / "failing.html").as_uri())
    if "problems" not in engine.can:
        with pytest.raises(CannotDoError, match="Chromium"):
            browser.problems()
        return
    browser.eval("new Promise(resolve => setTimeout(resolve, 200))")
    told = "\n".join(browser.problems())
    assert "planted error" in told
    assert "planted rejection" in told
    assert "style-src" in told, "what the policy refused"


@pytest.mark.parametrize("windows", [1, 2])
def test_storage_is_empty_in_each_new_browser(open_browser: OpenBrowser, engine: Engine, windows: int) -> None:
    """What one browser stored, the next one does not find, be it handed on or new; a second window of the same does."""
    store = """(async () => {
      localStorage.setItem('walk', '1');
      sessionStorage.setItem('walk', '1');
      const opening = indexedDB.open('walks', 1);
      await new Promise((resolve, reject) => { opening.onsuccess = resolve; opening.onerror = reject; });
      opening.result.close();
      return true;
    })()"""
    found = "indexedDB.databases().then(all => [localStorage.length, sessionStorage.length, all.length])"
    first = engine.new(Look())
    first.open(PAGE)
    first.eval(store)
    assert first.eval(found) == [1, 1, 1]
    if windows > 1:
        second = first.another()
        second.open(PAGE)
        assert second.eval(found) == [1, 0, 1]
        assert first.text("h1") == "Probe", "both windows can be driven"
    first.close()
    last = open_browser()
    last.open(PAGE)
    assert last.eval(found) == [0, 0, 0]


@pytest.mark.planted
@chromium_only
def test_nothing_of_a_server_is_handed_on(engine: Engine, open_browser: OpenBrowser, serve: Serve) -> None:
    """A service worker and its cache go with the browser that had them; the next one starts as new."""
    served = serve(PROBE)
    first = engine.new(Look())
    first.open(served.url + "offline.html")
    first.await_js("document.getElementById('kept').textContent === 'kept' && navigator.serviceWorker.controller")
    first.set_size(700, 500)
    first.close()
    last = open_browser()
    last.open(served.url + "second.html")
    assert last.eval("[innerWidth, innerHeight]") == [390, 844]
    assert last.eval("caches.keys()") == []
    assert last.eval("navigator.serviceWorker.getRegistrations().then(all => all.length)") == 0


def test_two_browsers_at_once_share_nothing(open_browser: OpenBrowser) -> None:
    """Two browsers of a test are two devices."""
    one, two = open_browser(), open_browser()
    one.open(PAGE)
    two.open(PAGE)
    one.eval("localStorage.setItem('walk', '1')")
    two.reload()
    assert two.eval("localStorage.length") == 0


@pytest.mark.planted
def test_server_stops_and_comes_back(browser: Browser, serve: Serve) -> None:
    """A stopped server is a lost network; a service worker answers without it, and the address stays."""
    served = serve(PROBE, "/below/a/path/")
    assert served.url.endswith("/below/a/path/")
    browser.open(served.url + "offline.html")
    browser.await_js("document.getElementById('kept').textContent === 'kept' && navigator.serviceWorker.controller")
    served.stop()
    browser.reload()
    assert browser.title() == "Kept for later"
    assert browser.eval("fetch('second.html').then(() => 'came', () => 'did not come')") == "did not come"
    served.restart()
    assert browser.eval("fetch('second.html').then(answer => answer.status)") == 200
    served.broken.add("second.html")
    assert browser.eval("fetch('second.html').then(answer => answer.status)") == 500
    assert "/below/a/path/offline.html" in served.log


@pytest.mark.planted
def test_offline_switch(browser: Browser, engine: Engine, serve: Serve) -> None:
    """A browser can be cut off and reconnected; WebKit says what to do instead."""
    served = serve(PROBE)
    browser.open(served.url + "second.html")
    if "offline" not in engine.can:
        with pytest.raises(CannotDoError, match="stop the test's server"):
            browser.offline()
        return
    ask = "fetch('blank.html').then(() => 'came', () => 'did not come')"
    assert browser.eval(ask) == "came"
    browser.offline()
    assert browser.eval(ask) == "did not come"
    browser.offline(on=False)
    assert browser.eval(ask) == "came"


@chromium_only
def test_touch_print_and_slow_processor(open_browser: OpenBrowser, tmp_path: Path) -> None:
    """Chromium can be touched, shown as printed, printed, and slowed."""
    browser = open_browser(Look(touch=True))
    browser.open(PAGE)
    browser.tap("#count")
    assert browser.text("#touched") == "touched"
    browser.emulate(media="print", color_scheme="dark", reduced_motion=True, forced_colors=True)
    for query in (
        "print",
        "(prefers-color-scheme: dark)",
        "(prefers-reduced-motion: reduce)",
        "(forced-colors: active)",
    ):
        assert browser.eval(f"matchMedia('{query}').matches"), query
    assert browser.pdf(tmp_path / "page.pdf").read_bytes().startswith(b"%PDF-")
    busy = """(() => {
      const start = performance.now();
      Array.from({length: 200000}, (_, n) => String((n * 7919) % 200003)).sort();
      return performance.now() - start;
    })()"""
    fast = min(browser.eval(busy) for _ in range(10))  # a machine that does much else disturbs some of them
    browser.slow_processor(8)
    assert browser.eval(busy) > 2 * fast


@pytest.mark.parametrize("engine", ["firefox", "webkit"], indirect=True)
def test_what_an_engine_cannot_do_is_told(browser: Browser, open_browser: OpenBrowser) -> None:
    """Firefox and WebKit refuse what they would ignore in silence, and say what a test does instead."""
    browser.open(PAGE)
    with pytest.raises(CannotDoError, match="Look"):
        browser.emulate(color_scheme="dark")
    with pytest.raises(CannotDoError, match="Chromium"):
        browser.slow_processor(4)
    with pytest.raises(CannotDoError, match="Chromium"):
        browser.tap("#count")
    with pytest.raises(CannotDoError, match="Chromium"):
        open_browser(Look(touch=True))


@pytest.mark.planted
def test_axe_sees_planted_faults_and_passes_a_good_page(browser: Browser) -> None:
    """axe-core runs in each engine, under a strict policy too, and finds what is wrong and nothing else."""
    browser.open(PAGE)
    assert axe_violations(browser) == []
    assert contrast_violations(browser) == []
    browser.open((PROBE / "poor.html").as_uri())
    assert {found.rule for found in axe_violations(browser)} == {"color-contrast", "label", "target-size"}
    assert {found.rule for found in contrast_violations(browser)} == {"color-contrast"}


def test_missing_engine_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """A missing engine is an error that names the package and the variable, never a skipped test."""
    monkeypatch.setenv("KB_XVFB", "/nowhere/Xvfb")
    with pytest.raises(MissingEngineError, match=r"apt-get install xvfb .*KB_XVFB"):
        engines.start("webkit")
