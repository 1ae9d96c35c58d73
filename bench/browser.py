"""The bench of the browser's side: figures beside their goals. It gates nothing.

Chromium, its processor slowed four times, opens a generated library of 1,000 trees from disk:

- the finder: a sentence typed letter by letter; each letter's time from its event until the results
  stand in the page, layout included, once the index is made (how long that takes is told apart);
- a change of step: from the click on an answer until the next step stands laid out in the page;
- what the first page of a tree asks for without the theme, raw and as a host would compress it;
- our own JavaScript, compressed.

`python bench/browser.py 100` takes another number of trees than a thousand.
"""

from __future__ import annotations

import gzip
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from rich.console import Console
from rich.table import Table

import library

ROOT = Path(__file__).parent.parent
# The engines of the tests; this folder goes from the path, for this file's name is that of their package.
sys.path[0] = str(ROOT / "tests")

from browser import engines  # noqa: E402
from browser.browsing import Look  # noqa: E402

if TYPE_CHECKING:
    from collections.abc import Iterable

    from browser.browsing import Browser

SLOWER = 4
SENTENCE = "my whealchair lamp went loos and the chargr is noisy on day 3 since it was wet"
TREE = "trees/tree-7.html"
SCRIPTS = ("kb/words.en.js", "kb/walker.js")
OTHERS = ("kb/finder.js", "kb/day.js")
"""Scripts of ours that home, and the page of the day's visits, use besides."""
OWN = (TREE, "kb/site.css", "kb/walker.css", *SCRIPTS, "kb/library.js", "kb/trees/tree-7.js")
"""What the first page of a tree asks for when its walk begins, less the theme's own files."""
_LAY_OUT = "document.body.getBoundingClientRect().height"
_TYPE = f"""(async () => {{
  const before = performance.now();
  await faultTrees.prepare();
  const made = performance.now() - before;
  const box = document.querySelector("[data-ft=find-box]"), place = document.querySelector("[data-ft-found]");
  const times = [];
  for (let at = 1; at <= {len(SENTENCE)}; at += 1) {{
    box.value = {SENTENCE!r}.slice(0, at);
    const shown = new Promise((done) => new MutationObserver((_, own) => {{ own.disconnect(); done(); }})
      .observe(place, {{childList: true}}));
    const start = performance.now();
    box.dispatchEvent(new Event("input"));
    await shown;
    {_LAY_OUT};
    times.push(performance.now() - start);
    await new Promise((go) => setTimeout(go, 5));
  }}
  return {{made, times}};
}})()"""
_WALK = f"""(async () => {{
  const times = [];
  const pause = () => new Promise((go) => setTimeout(go, 30));
  for (let step = 0; step < 40; step += 1) {{
    const reading = document.querySelector("[data-ft=reading]");
    if (reading) {{
      reading.value = "24";
      reading.dispatchEvent(new Event("input", {{bubbles: true}}));
      await pause();
    }}
    const button = document.querySelector("[data-ft=answer]:not([disabled]), [data-ft=reading-ok]:not([disabled])");
    if (!button) break;
    const start = performance.now();
    button.click();
    {_LAY_OUT};
    times.push(performance.now() - start);
    await pause();
  }}
  return {{times}};
}})()"""


class Times(NamedTuple):
    """Milliseconds of many tries."""

    median: float
    most: float
    """What 95 in 100 stay below."""
    worst: float
    tries: int

    @classmethod
    def of(cls, times: list[float]) -> Times:
        """Return what to tell of a list of times."""
        ordered = sorted(times)
        return cls(ordered[len(ordered) // 2], ordered[int(len(ordered) * 0.95)], ordered[-1], len(ordered))

    def __str__(self) -> str:
        """Return them in words."""
        return f"{self.median:.1f} ms, 95 % below {self.most:.1f}, worst {self.worst:.1f} ({self.tries} times)"


def opened(browser: Browser, page: Path, ready: str) -> None:
    """Open a page on a slowed processor and wait for something in it."""
    browser.slow_processor(SLOWER)
    browser.open(page.as_uri())
    browser.await_js(ready, 120)


def measured(browser: Browser, script: str, name: str) -> dict[str, Any]:
    """Run a script that takes its time; return what it tells."""
    browser.eval(f"void ({script}.then((told) => {{ window.{name} = told; }}))")
    found: dict[str, Any] = browser.await_js(f"window.{name}", 300)
    return found


def size(paths: Iterable[Path]) -> tuple[float, float]:
    """Return the size of files in KB: raw, and each compressed by itself."""
    contents = [path.read_bytes() for path in paths]
    packed = [gzip.compress(content, 9, mtime=0) for content in contents]
    return sum(map(len, contents)) / 1000, sum(map(len, packed)) / 1000


def main() -> None:
    """Build, measure, print."""
    trees = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    table = Table("what", "measured", "goal", title=f"browser: {trees} trees, processor slowed {SLOWER} times")
    root = Path(tempfile.mkdtemp(prefix="kb-bench-"))
    engine = engines.start("chromium")
    try:
        library.write(root, trees)
        subprocess.run([sys.executable, "-m", "kb_tools.cli", "build"], cwd=root, check=True, stdout=subprocess.DEVNULL)
        site = root / "site"
        browser = engine.new(Look())
        opened(
            browser, site / "index.html", "window.faultTrees && faultTrees.data.index && faultTrees.data.index.trees"
        )
        found = measured(browser, _TYPE, "typed")
        table.add_row("finder, a letter", str(Times.of(found["times"])), "16 ms")
        table.add_row("its index, made once in slices", f"{found['made']:.0f} ms", "")
        opened(browser, site / TREE, "document.querySelector('[data-ft=begin]:not([hidden])')")
        browser.click("[data-ft=begin]")
        browser.await_js("document.querySelector('[data-ft-current]')", 60)
        table.add_row("change of step", str(Times.of(measured(browser, _WALK, "walked")["times"])), "16 ms")
        browser.close()
        raw, packed = size(site / name for name in OWN)
        table.add_row("first page of a tree, without the theme", f"{packed:.1f} KB ({raw:.0f} KB raw)", "120 KB")
        raw, packed = size(site / name for name in SCRIPTS)
        table.add_row("own JavaScript of that page", f"{packed:.1f} KB ({raw:.0f} KB raw)", "30 KB")
        raw, packed = size(site / name for name in (*SCRIPTS, *OTHERS))
        table.add_row("own JavaScript of all pages", f"{packed:.1f} KB ({raw:.0f} KB raw)", "30 KB")
        raw, packed = size([site / SCRIPTS[0]])
        table.add_row("the texts of the interface in both", f"{packed:.1f} KB ({raw:.0f} KB raw)", "")
    finally:
        engine.quit()
        shutil.rmtree(root, ignore_errors=True)
    Console(width=120).print(table)


if __name__ == "__main__":
    main()
