"""Scripts with short names do what they did: the sources are run in node beside what was made of them."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys

import pytest

from kb_tools.pages.scripts import BUNDLES, WALKER, day_script, finder_script, walker_script
from kb_tools.pages.short_names import shortened

CASES = {
    "closures and shadowing": """
        (function () {
          const outer = 1; let total = 0;
          function add(outer) { total += outer; return () => total + outer; }
          { const outer = 5; total += outer; }
          for (let index = 0; index < 3; index += 1) { const outer = index; add(outer); }
          result = [outer, total, add(2)()];
        })();""",
    "properties, shorthand and destructuring": """
        (function () {
          const given = { name: "x", value: { deep: 4 }, list: [1, 2, 3] };
          const { name, value: { deep: inner = 9 }, missing = name + "!", ...others } = given;
          const [first, , third = 7] = given.list;
          let name2; ({ name: name2 } = given);
          const made = { name, inner, missing, first, third, name2, others,
            method(first) { return this.name + first; } };
          let swapped, other; ({ swapped = 3, other } = { other: 8 });
          result = [made, made.method("?"), swapped, other];
        })();""",
    "globals that a local name could hide": """
        (function () {
          const a = typeof Math, aa = String(3);
          function name(x) { const max = Math.max(x, a.length); return max; }
          const inner = function loop(n) { return n ? n + loop(n - 1) : 0; };
          try { undefinedThing(); } catch (error) { result = [error instanceof ReferenceError, name(2), inner(4), aa]; }
        })();""",
    "labels, classes, generators, templates, defaults": """
        (function () {
          outer: for (const outer of [1, 2]) { for (const inner of [3]) { if (outer + inner > 4) break outer; } }
          class Thing { #kept = 1; constructor(value) { this.value = value; this.#kept = 2; }
            #times() { return this.#kept; } get twice() { return #kept in this && this.value * this.#times(); }
            static make(value = 2) { return new Thing(value); } }
          function* count(limit) { for (let at = 0; at < limit; at += 1) yield at; }
          var late = 1; if (late) { var late = 2; }
          const told = (what, whom = `${what}s`, ...rest) => `${what} ${whom} ${rest.map((one) => `<${one}>`)}`;
          switch (late) { case 2: { const late = 3; result = late; } }
          result = [result, Thing.make().twice, [...count(3)], told("cat"), told("a", "b", 1, 2),
            late, "late outer", /late/.test("late")];
        })();""",
    "names beyond ASCII and more names than letters": "(function () {\n"
    + "\n".join(f"  const größe{n} = {n};" for n in range(120))
    + "\n  result = ["
    + ", ".join(f"größe{n}" for n in range(120))
    + "].join();\n})();",
}


def run(script: str) -> str:
    """Return what a script leaves in `result`."""
    node = shutil.which("node")
    assert node, "node is missing: install Node.js 18 or later"
    whole = f"let result; {script}\nconsole.log(JSON.stringify(result));"
    done = subprocess.run([node, "-e", whole], capture_output=True, text=True, check=True)
    return done.stdout


@pytest.mark.parametrize("name", CASES)
def test_a_script_does_what_it_did(name: str) -> None:
    """Whatever names stand for stays."""
    short = shortened(CASES[name])
    assert short != CASES[name]
    assert run(short) == run(CASES[name])


@pytest.mark.parametrize("seed", ["1", "2"])
def test_equal_sources_give_equal_scripts(seed: str) -> None:
    """Nothing depends on the order of sets."""
    program = "import sys; from kb_tools.pages.scripts import walker_script; sys.stdout.write(walker_script())"
    done = subprocess.run(
        [sys.executable, "-c", program], env={**os.environ, "PYTHONHASHSEED": seed}, capture_output=True, check=True
    )
    assert done.stdout.decode() == walker_script()


def test_every_file_is_carried() -> None:
    """Each file of the walker is part of one of the site's scripts."""
    assert sorted(name for bundle in BUNDLES.values() for name in bundle) == sorted(p.stem for p in WALKER.glob("*.js"))


def test_names_of_others_stay() -> None:
    """Properties and globals of the walker are called as in its sources, whatever its variables are called."""
    squeezed = walker_script() + finder_script() + day_script()
    source = "".join(path.read_text("utf-8") for path in WALKER.glob("*.js"))
    used = set(re.findall(r"\.([A-Za-z]\w{4,})\(", squeezed))
    assert used
    assert used <= set(re.findall(r"\.([A-Za-z]\w{4,})\(", source))


def test_what_cannot_be_parsed_is_refused() -> None:
    """A script with a mistake in it stops the build."""
    with pytest.raises(ValueError, match="parsed"):
        shortened("function (")
