"""Drives a walk by its controls, as a person does, and plans ways through the compiled trees."""

from __future__ import annotations

import json
from collections import deque
from itertools import takewhile
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Collection
    from pathlib import Path

    from browser.browsing import Browser

Data = dict[str, Any]
"""A compiled tree, step or way, as the pages load it."""
Plan = list[tuple[str, Data]]
"""Steps with the way to take at each."""

CURRENT = "(document.querySelector('[data-ft-current]')?.dataset.ftCurrent ?? null)"
ACKNOWLEDGE = "[data-ft=caution-ack], [data-ft=isolation-ack]"

# Click the real controls inside the page, many in one call: a round trip to a browser for each click
# of each tree would take minutes.
_TAKE = """
  const one = selector => document.querySelector(selector);
  const current = () => one('[data-ft-current]')?.dataset.ftCurrent;
  const turn = () => new Promise(resolve => setTimeout(resolve));
  const until = async (what, test) => {
    for (let n = 0; n < 200; n += 1) { if (test()) return; await turn(); }
    throw new Error('waited in vain for ' + what + ' at ' + current());
  };
  const press = async selector => {
    const button = one(selector);
    if (!button) throw new Error('no ' + selector + ' at ' + current());
    if (button.disabled) throw new Error(selector + ' is shut at ' + current());
    const before = one('[data-ft-current]');
    button.click();
    await until('another step', () => one('[data-ft-current]') !== before);
  };
  const take = async ({step, via, label, reading}) => {
    await until(step, () => current() === step);
    for (let ack; (ack = one('ACKNOWLEDGE')); ) ack.click();
    if (via === 'answer' || via === 'unsure') await press(`[data-ft=answer][data-ft-value=${JSON.stringify(label)}]`);
    else if (via === 'band') {
      const box = one('[data-ft=reading]');
      box.value = reading;
      box.dispatchEvent(new Event('input', {bubbles: true}));
      await press('[data-ft=reading-ok]');
    } else await press(`[data-ft=${{then: 'done', cannot: 'cannot', link: 'go', not_cured: 'not-cured'}[via]}]`);
  };
""".replace("ACKNOWLEDGE", ACKNOWLEDGE)
_DRIVE = f"(async () => {{ {_TAKE} for (const way of %s) await take(way); return current(); }})()"
_BRANCH = f"""(async () => {{ {_TAKE}
  const found = [];
  for (const {{plan, shows}} of %s) {{
    for (const way of plan) {{
      const again = one(`[data-ft=trail][data-ft-value='%s/${{way.step}}']`);
      if (current() !== way.step && again) again.click();
      await take(way);
    }}
    found.push([current(), Boolean(one(shows))]);
  }}
  return found;
}})()"""


class Trees:
    """The compiled trees of a built site."""

    def __init__(self, site: Path) -> None:
        """Read them all."""
        files = sorted((site / "kb" / "trees").glob("*.js"))
        self.by_id: dict[str, Data] = {file.stem: _data(file) for file in files}

    def plan(self, tree_id: str, kind: str, *, only: str | None = None) -> Plan | None:
        """Return the shortest way from a tree's start to a step of a kind, within the tree.

        Args:
            tree_id: The tree.
            kind: The kind of the step where the plan ends.
            only: Nothing, or who must be able to do every step.

        """
        return self.plan_where(tree_id, lambda step: step["kind"] == kind, only=only)

    def plan_where(self, tree_id: str, wanted: Any, *, only: str | None = None) -> Plan | None:  # noqa: ANN401
        """Return the shortest way to a step that `wanted` holds for."""
        tree = self.by_id[tree_id]
        todo: deque[tuple[str, Plan]] = deque([(tree["start"], [])])
        seen = {tree["start"]}
        while todo:
            at, plan = todo.popleft()
            step = tree["steps"][at]
            if wanted(step):
                return plan
            if only and step["who"] != only:
                continue
            for way in step["ways"]:
                if way["via"] not in {"link", "cured"} and way["to"] not in seen:
                    seen.add(way["to"])
                    todo.append((way["to"], [*plan, (at, way)]))
        return None

    def find(self, wanted: Any) -> tuple[str, Plan]:  # noqa: ANN401
        """Return a tree and a plan to its first step that `wanted` holds for, the shortest of all trees."""
        plans = [(tree_id, self.plan_where(tree_id, wanted)) for tree_id in self.by_id]
        found = [(tree_id, plan) for tree_id, plan in plans if plan is not None]
        assert found, "no tree of the demo library has such a step"
        return min(found, key=lambda one: len(one[1]))

    def to_ends(self, tree_id: str, kinds: Collection[str]) -> list[tuple[Plan, str]]:
        """Return the shortest way within a tree to each of its steps of some kinds, and that step; like ways follow."""
        steps = self.by_id[tree_id]["steps"]
        found = []
        for end, about in steps.items():
            if about["kind"] in kinds:
                plan = self.plan_where(tree_id, lambda step, about=about: step is about)
                assert plan is not None, f"no way within {tree_id} to {end}"
                found.append((plan, end))
        return sorted(found, key=lambda one: [steps[step]["ways"].index(way) for step, way in one[0]])

    def ends_at(self, tree_id: str, plan: Plan) -> str:
        """Return the step where a plan ends."""
        return str(plan[-1][1]["to"] if plan else self.by_id[tree_id]["start"])


def _data(file: Path) -> Data:
    text = file.read_text("utf-8")
    found: Data = json.loads(text[text.index("] = ") + 4 :].strip().rstrip(";"))
    return found


def page(site: Path, tree_id: str) -> str:
    """Return the address of a tree's page on disk."""
    return (site / "trees" / f"{tree_id}.html").as_uri()


def await_in_view(browser: Browser, place: str) -> None:
    """Wait until a place of the page is in the upper half of the screen, and see that it stays there."""
    top = f"document.getElementById({place!r}).getBoundingClientRect().top"
    in_view = f"((top) => 0 <= top && top < innerHeight / 2)({top})"
    browser.await_js(in_view)
    browser.await_js("new Promise((done) => setTimeout(() => done(true), 300))")
    assert browser.eval(in_view), "it stays there"


def reading_in(way: Data) -> str:
    """Return a number inside a band, in the step's unit, with a comma where it has a fraction."""
    low, high = way.get("from"), way.get("below")
    if low is not None and high is not None:
        value = (low + high) / 2
    else:
        value = low if low is not None else high - 0.1 if high is not None else 1
    return f"{value:g}".replace(".", ",")


def _clicks(plan: Plan) -> list[Data]:
    """Return a plan as the scripts take it."""
    return [
        {"step": step, "via": way["via"], "label": way["label"], "reading": way["via"] == "band" and reading_in(way)}
        for step, way in plan
    ]


class Walker:
    """A walk in a browser."""

    def __init__(self, browser: Browser) -> None:
        """Drive the walk that this browser shows."""
        self.browser = browser

    @property
    def current(self) -> str | None:
        """The live step's id; None outside of a walk."""
        found: str | None = self.browser.eval(CURRENT)
        return found

    def begin(self, url: str, *, desk: bool = False) -> None:
        """Open a tree's page and begin."""
        self.browser.open(url)
        self.browser.await_js("document.querySelector('.fw-site') !== null")
        if desk:
            self.browser.click(".fw-site [data-ft=mode]")
        self.browser.click("[data-ft=begin]")
        self.browser.await_js(CURRENT)

    def acknowledge(self) -> None:
        """Acknowledge every caution and isolation that the step asks for."""
        while self.browser.count(ACKNOWLEDGE):
            self.browser.click(ACKNOWLEDGE)

    def take(self, way: Data) -> None:
        """Take a way by clicks and typing."""
        self.acknowledge()
        before = self.current
        match way["via"]:
            case "answer" | "unsure":
                self.browser.click(f"[data-ft=answer][data-ft-value={json.dumps(way['label'])}]")
            case "band":
                self.browser.fill("[data-ft=reading]", reading_in(way))
                self.browser.click("[data-ft=reading-ok]")
            case via:
                names = {"then": "done", "cannot": "cannot", "link": "go", "not_cured": "not-cured"}
                self.browser.click(f"[data-ft={names[via]}]")
        self.browser.await_js(f"{CURRENT} !== {json.dumps(before)}")

    def walk(self, plan: Plan) -> None:
        """Take every way of a plan, step by step from outside the page."""
        for step, way in plan:
            assert self.current == step
            self.take(way)

    def rush(self, plan: Plan) -> str:
        """Take every way of a plan inside the page, and return the step where it ends."""
        end: str = self.browser.eval(_DRIVE % json.dumps(_clicks(plan)))
        return end

    def branch(self, tree_id: str, plans: list[tuple[Plan, str]]) -> list[tuple[str, bool]]:
        """Take plans of one tree one after another, inside the page.

        Where a plan leaves the one before it, its step is opened again by the list of answers, as by a person who
        tries another one.

        Args:
            tree_id: The tree; its walk stands at the start.
            plans: Each with a selector.

        Returns:
            For each plan the step where it ended, and whether its selector was found there.

        """
        before: Plan = []
        branches = []
        for plan, shows in plans:
            shared = sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], zip(plan, before, strict=False)))
            branches.append({"plan": _clicks(plan[shared:]), "shows": shows})
            before = plan
        found = self.browser.eval(_BRANCH % (json.dumps(branches), tree_id))
        return [(end, shown) for end, shown in found]

    def stored(self) -> list[Data]:
        """Return the visits on this device, once they are written."""
        found: list[Data] = self.browser.eval("faultTrees.store.settled().then(() => faultTrees.store.all())")
        return found

    def visit(self) -> Data:
        """Return the visit that was changed last."""
        return max(self.stored(), key=lambda one: str(one["updated"]))

    def pass_proof(self) -> None:
        """Pass every item of the proof."""
        self.acknowledge()
        self.browser.eval("document.querySelectorAll('[data-ft=proof-item]').forEach(one => one.click())")
