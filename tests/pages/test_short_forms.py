"""Scripts in their shortest form do what they did: both are run in node."""

from __future__ import annotations

import json
import shutil
import subprocess
from random import Random

import pytest

from kb_tools.pages.scripts import WALKER, squeezed
from kb_tools.pages.short_forms import shorter_forms

FORMS = {
    "let a = 1; // one\n const b = 2;": "let a=1,b=2",
    "if (a) { b(); } else { c(); }": "a?b():c()",
    "if (!a) { b(); }": "a||b()",
    "if (!(a ?? b)) c();": "(a??b)||c()",
    "if (a) b = 1;": "if(a)b=1",
    "if (a) { if (b) c = 1; } else d = 1;": "if(a){if(b)c=1}else d=1",
    "if (a) { for (;;) if (b) c = 1; } else d = 1;": "if(a){for(;;)if(b)c=1}else d=1",
    "if (a) { const b = 1; }": "if(a){let b=1}",
    "function f(a) { if (a) return 1; if (b) { return 2; } return 3; }": "function f(a){return a?1:b?2:3}",
    "f = (a) => { return { a, }; };": "f=a=>({a})",
    "f = async (a) => (a, 1);": "f=async a=>(a,1)",
    "x = (a && b) || (c ?? (d || e));": "x=a&&b||(c??(d||e))",
    "x = (a + b) - (c - d) * (-e) - (-f);": "x=a+b-(c-d)*-e- -f",
    "x = [1, , 2, ,]; g(1, 2,);": "x=[1,,2,,];g(1,2)",
    "x = new Map(); y = new Map().size; z = new Map()[0];": "x=new Map;y=new Map().size;z=new Map()[0]",
    "while (a) ; for (;;) {}": "while(a);for(;;){}",
    "if (a) for (;;) ;": "if(a)for(;;);",
    "switch (a) { case 1: x = {}; break; default: y(); }": "switch(a){case 1:x={};break;default:y();}",
    "x = `let { ${ (a || b) } }  /* no */`; y = 'let {  // no';": "x=`let { ${a||b} }  /* no */`;y='let {  // no'",
    "class A { #a = 1; b; c() { return this.#a; } }": "class A{#a=1;b;c(){return this.#a}}",
    "x = true && 0.5 in y;": "x=!0&&.5 in y",
    "x = [...(a ? b : c), 86400000, 0, 1000];": "x=[...a?b:c,864e5,0,1e3]",
    "x = /** @type {any} */ (a.b).c; (a?.b).c(); (() => 1)(); (new A()).b; (a || b)[(c)];": (
        "x=a.b.c;(a?.b).c();(()=>1)();(new A).b;(a||b)[c]"
    ),
}
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
OPERATORS = ["+", "-", "*", "/", "%", "**", "<", ">=", "===", "!=", "&", "|", "^", "<<", ">>>", "&&", "||", "??"]


def run(script: str) -> str:
    """Return what a script leaves in `result`."""
    node = shutil.which("node")
    assert node, "node is missing: install Node.js 18 or later"
    whole = f'"use strict"; let result; {script}\nconsole.log(JSON.stringify(result));'
    done = subprocess.run([node, "-"], input=whole, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.parametrize("source", FORMS)
def test_the_shortest_form(source: str) -> None:
    """What is needed stays, and nothing else; a short form stays as it is."""
    assert shorter_forms(source) == FORMS[source]
    assert shorter_forms(FORMS[source]) == FORMS[source]


@pytest.mark.parametrize("name", PROGRAMS)
def test_a_program_does_what_it_did(name: str) -> None:
    """Statements, closures and tokens keep what they mean."""
    short = shorter_forms(PROGRAMS[name])
    assert len(short) < 0.8 * len(PROGRAMS[name])
    assert run(short) == run(PROGRAMS[name])


def body(source: str) -> str:
    """Return the shortest form of a function's body."""
    return shorter_forms(f"function f() {{ {source} }}").removeprefix("function f(){").removesuffix("}")


def expression(random: Random, depth: int) -> str:
    """Return an expression with brackets around every part."""
    if not depth:
        return random.choice(["a", "b", "c", "0", "1", "2.5", "-3", "null", "undefined", "true", '"x"', "-a", "!b"])
    parts = [f"({expression(random, random.randrange(depth))})" for _ in range(3)]
    forms = [
        *(f"{parts[0]} {operator} {parts[1]}" for operator in random.sample(OPERATORS, 4)),
        f"{parts[0]} ? {parts[1]} : {parts[2]}",
        f"-{parts[0]}",
        f"!{parts[0]}",
        f"typeof {parts[0]}",
        f"a = {parts[0]}",
        f"b += {parts[0]}",
        f"{parts[0]}, {parts[1]}",
        f"((p) => {parts[0]})({parts[1]})",
        f"[{parts[0]}, {parts[1]},].length",
        f"said({parts[0]})",
        f"`${{{parts[0]}}}`",
    ]
    return random.choice(forms)


def test_brackets_go_only_where_they_change_nothing() -> None:
    """Expressions built at random, every part of them in brackets, have the value that they had; so have statements."""
    random = Random(20)
    sources = list[str]()
    for _ in range(400):
        what, one, other = (expression(random, 4) for _ in range(3))
        sources += [
            f"let a = 2, b = 'y', c = 0; const value = ({what}); return [value, a, b, c];",
            f"let a = 2, b = 'y', c = 0; if ({what}) {{ said({one}); }} else {{ said({other}); }} return [a, b];",
            f"let a = 2, b = 'y', c = 0; if ({what}) {{ said({one}); }} return [a, b];",
            f"let a = 2, b = 'y', c = 0; if ({what}) {{ if ({one}) c = 1; }} else c = 2; return c;",
            f"let a = 2, b = 'y', c = 0; if ({what}) return {one}; if ({other}) {{ return a; }} return ({one}, c);",
        ]

    def results(functions: list[str]) -> list[object]:
        bodies = ",\n".join(f"() => {{ {body} }}" for body in functions)
        script = f"""const heard = [], said = (one) => {{ heard.push(String(one)); return one; }};
          const outcome = (one) => {{ try {{ return String(one()); }} catch (error) {{ return error.name; }} }};
          result = [{bodies}].map((one) => [outcome(one), heard.splice(0)]);"""
        found: list[object] = json.loads(run(script))
        return found

    before, after = results(sources), results([body(source) for source in sources])
    assert [source for source, was, now in zip(sources, before, after, strict=True) if was != now] == []
    assert len({json.dumps(one) for one in before}) > 150


def test_every_file_becomes_one_line() -> None:
    """A file of the walker in its shortest form is one line, can be read again, and has little left to lose."""
    for path in WALKER.glob("*.js"):
        short = squeezed(path.read_text("utf-8"))
        assert short.count("\n") == 1
        assert 0.99 * len(short) < len(shorter_forms(short)) < len(short)


def test_what_cannot_be_parsed_is_refused() -> None:
    """A script with a mistake in it stops the build."""
    with pytest.raises(ValueError, match="parsed"):
        shorter_forms("if (")
