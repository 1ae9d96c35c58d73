"""Scripts in the form in which a site carries them do what they did: both are run in node."""

from __future__ import annotations

import shutil
import subprocess

import pytest

from kb_tools.pages.scripts import squeezed

PROGRAMS = {
    "statements": """
        const seen = [];
        const say = (one) => { seen.push(one); return one; };
        function sign(n) { if (n < 0) return "less"; if (n === 0) { return "none"; } return "more"; }
        function first(list) { for (const one of list) { if (one > 1) return one; } return undefined; }
        for (let at = 0; at < 3; at += 1) { const square = at * at; if (square) { say(square); } else { say("zero"); } }
        for (const word in { a: 1, b: 2 }) if (word !== "a") { say(word); }
        let left = 3;
        do { left -= 1; if (left === 1) continue; say(left); } while (left);
        outer: while (true) { for (;;) { break outer; } }
        switch (left) { case 1: say("one"); break; case 0: { const inner = "nought"; say(inner); }
          default: say("last"); }
        try { throw new Error("gone"); } catch { say("caught"); } finally { say("after"); }
        result = [seen, sign(-1), sign(0), sign(1), first([0, 1, 2]), first([]) === undefined];""",
    "closures": """
        const made = [];
        for (const one of [1, 2]) { const twice = one * 2; made.push(() => twice + one); }
        const pair = ([a, b] = [1, 2], { c = a + b, ...rest } = {}) => ({ a, b, c, rest });
        class Counter { #n = 0; static of = () => new Counter();
          more() { this.#n += 1; return this; } get n() { return this.#n; } }
        function* three() { yield 1; const got = yield (2); if (got) { yield got; } }
        const walk = three(); walk.next(); walk.next();
        const two = Counter.of().more().more().n;
        result = [made.map((one) => one()), pair(), pair([3, 4], { c: 5, d: 6 }), two, walk.next("x").value];""",
    "words beside words": """
        const list = [1, 2], a = 5, b = 2;
        result = [typeof a, void 0 === undefined, a in list, 1 in list, a instanceof Object, - -a, + +a, a - -b, a+ +b,
          a / b / 1, delete list[0], [...list, ...[3]].length, `${a}${`${b}`}`, "a // b", 'it\\'s', 1.5, 0.25, .5e1,
          /\\/\\* no *\\//.test("/* no */"), true.toString(), (false).toString()];""",
}


def run(script: str) -> str:
    """Return what a script prints."""
    node = shutil.which("node")
    assert node, "node is missing: install Node.js 18 or later"
    done = subprocess.run([node, "-"], input=script, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.parametrize("name", PROGRAMS)
def test_a_program_does_what_it_did(name: str) -> None:
    """Statements, closures and tokens keep what they mean, and strict mode holds."""
    whole = f"""(function () {{ "use strict"; let result; // a note
      const strict = (function () {{ return this === undefined; }})(); {PROGRAMS[name]}
      console.log(JSON.stringify([strict, result])); }})();"""
    short = squeezed(whole)
    assert len(short) < 0.8 * len(whole)
    assert "a note" not in short
    said = run(short)
    assert said == run(whole)
    assert said.startswith("[true,")


@pytest.mark.parametrize(
    "script", ["let a = 1;", "(function () { return 1; })();", '(function () { "use strict"; if (']
)
def test_another_script_is_refused(script: str) -> None:
    """What is no function in strict mode, or cannot be parsed, stops the build."""
    with pytest.raises(ValueError, match=r"no function|parsed"):
        squeezed(script)
