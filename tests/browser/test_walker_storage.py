"""Visits on the device: what survives a kill, a refusal, hostile content; records that leave the device."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import jsonschema
import pytest

import kb_tools.pages
from browser.browsing import PHONE, Look
from browser.walking import CURRENT, Trees, Walker, page

if TYPE_CHECKING:
    from browser.browsing import Browser, Engine
    from browser.conftest import OpenBrowser

chromium_only = pytest.mark.parametrize("engine", ["chromium"], indirect=True)
SCHEMA = Path(kb_tools.pages.__file__).parent / "walker" / "record.schema.json"
HOSTILE = "<img src=x onerror=window.hit=1>"


@pytest.fixture(scope="module")
def trees(demo_site: Path) -> Trees:
    """Return the demo library's trees."""
    return Trees(demo_site)


def validated(record: Any) -> Any:  # noqa: ANN401 - JSON
    """Return a record that fits the published schema, times and all."""
    schema = json.loads(SCHEMA.read_text("utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator(schema, format_checker=jsonschema.FormatChecker()).validate(record)
    return record


def test_reload_goes_on(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """A reload from disk stands at the same step with the same answers and times; after a pause the walk is listed."""
    walker = Walker(browser)
    tree_id, plan = trees.find(lambda step: step["kind"] == "measure")
    at = trees.ends_at(tree_id, plan)
    walker.begin(page(demo_site, tree_id))
    walker.rush([*plan, (at, trees.by_id[tree_id]["steps"][at]["ways"][0])])
    before = walker.visit()
    browser.reload()
    browser.await_js(CURRENT)
    after = walker.visit()
    assert after["steps"] == before["steps"]
    assert after["id"] == before["id"]
    assert len(walker.stored()) == 1
    browser.click("[data-ft=pause]")
    assert "walk=" not in browser.url()
    assert browser.count("[data-ft=walk-open]") == 1
    browser.click("[data-ft=walk-open]")
    browser.await_js(CURRENT)
    assert walker.visit()["steps"] == before["steps"]


@pytest.mark.parametrize("engine", ["chromium", "firefox"], indirect=True)
def test_killed_browser_loses_nothing_answered(engine: Engine, demo_site: Path, trees: Trees, tmp_path: Path) -> None:
    """The browser is killed right after an answer was stored; another one finds the walk with that answer."""
    tree_id, plan = trees.find(lambda step: step["kind"] == "fix")
    first = engine.with_profile(tmp_path, Look())
    walker = Walker(first)
    walker.begin(page(demo_site, tree_id))
    walker.rush(plan)
    steps = walker.visit()["steps"]
    first.kill()
    second = engine.with_profile(tmp_path, Look())
    try:
        second.open(page(demo_site, tree_id))
        second.await_js("document.querySelector('[data-ft=walk-open]') !== null")
        second.click("[data-ft=walk-open]")
        second.await_js(CURRENT)
        assert Walker(second).visit()["steps"] == steps
        assert Walker(second).current == trees.ends_at(tree_id, plan)
    finally:
        second.close()


@chromium_only
def test_refused_storage(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """Where storage is refused the walk works and says that it will not be kept; the address still carries it."""
    tree_id, plan = trees.find(lambda step: step["kind"] == "fix")
    walker = Walker(browser)
    browser.open(page(demo_site, tree_id))
    browser.await_js("document.querySelector('.fw-site') !== null")
    browser.eval(
        "(IDBFactory.prototype.open = () => { throw new DOMException('refused', 'SecurityError'); },"
        " faultTrees.store.open('another').then(() => faultTrees.view.shell.page('')))"
    )
    assert not browser.eval("faultTrees.store.kept")
    assert "not kept" in browser.text(".fw-start")
    browser.click("[data-ft=begin]")
    browser.await_js(CURRENT)
    assert "not kept" in browser.text(".fw-walker")
    assert walker.rush(plan) == trees.ends_at(tree_id, plan)
    browser.click("[data-ft=record]")
    browser.await_js("document.querySelector('[data-ft=record-delete]') !== null")
    assert "not kept" in browser.text(".fw-record")
    browser.open("about:blank")


@chromium_only
def test_hostile_store(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """Rubbish, markup and other versions in the store harm nothing, show as text and can be deleted."""
    tree_id = next(iter(trees.by_id))
    walker = Walker(browser)
    walker.begin(page(demo_site, tree_id))
    good = walker.visit()
    hostile = [
        {"id": "a"},
        {"id": "b", "format": good["format"], "version": 99},
        {**good, "id": "c", "walk": None, "steps": 7, "fields": {"job": HOSTILE}, "trees": [{"title": HOSTILE}]},
        {**good, "id": HOSTILE, "walk": {"version": 1, "first": HOSTILE, "trail": []}, "mode": 3, "acks": "no"},
        {
            **good,
            "id": "d",
            "walk": {"version": 1, "first": tree_id, "trail": [{"tree": tree_id, "step": "x"}]},
            "timer": 1,
        },
    ]
    browser.click("[data-ft=pause]")
    browser.eval(f"{json.dumps(hostile)}.forEach(one => faultTrees.store.put(one))")
    browser.eval("faultTrees.store.settled()")
    browser.reload()
    browser.await_js("document.querySelector('.fw-site') !== null")
    assert browser.count(".fw-site img") == 0
    assert HOSTILE in browser.text(".fw-start")
    assert browser.count("[data-ft=walk-open]") == 4
    assert browser.text(".fw-start").count("cannot be read") == 2
    for n in range(4):
        browser.eval(f"document.querySelectorAll('[data-ft=walk-open]')[{n}].click()")
        browser.await_js(f"{CURRENT} !== null || !document.querySelector('.fw-start [role=alert]').hidden")
        if browser.count("[data-ft=pause]"):
            browser.click("[data-ft=pause]")
            continue
        browser.eval(f"document.querySelectorAll('.fw-start [data-ft=record]')[{n}].click()")
        browser.await_js("document.querySelector('.fw-record') !== null")
        assert browser.count(".fw-record img") == 0
        browser.click("[data-ft=close]")
    assert browser.eval("window.hit") is None


@chromium_only
@pytest.mark.parametrize("kind", ["fix", "done"])
def test_a_proof_that_was_begun_is_in_the_record(browser: Browser, demo_site: Path, trees: Trees, kind: str) -> None:
    """A visit that ends in the middle of a proof keeps what passed, what failed and what is open."""
    tree_id, plan = trees.find(lambda step: step["kind"] == kind and bool(step.get("proof")))
    walker = Walker(browser)
    walker.begin(page(demo_site, tree_id))
    walker.rush(plan)
    walker.acknowledge()
    browser.eval("document.querySelectorAll('[data-ft=proof-item]')[0].click()")
    browser.eval("document.querySelectorAll('[data-ft=proof-failed]')[1].click()")
    walker.stored()
    browser.reload()
    browser.await_js(CURRENT)
    assert browser.eval("document.querySelectorAll('[data-ft-current] [aria-pressed=true]').length") == 2
    if kind == "fix":
        browser.click("[data-ft=end-visit]")
    browser.click('[data-ft=left][data-ft-value="out of use"]')
    browser.click('[data-ft=outcome][data-ft-value="handed over"]')
    browser.click("[data-ft=finish]")
    browser.await_js("document.querySelector('[data-ft=record-delete]') !== null")
    record = validated(browser.eval("faultTrees.record.exported(faultTrees.record.clean(faultTrees.store.all()[0]))"))
    at = trees.ends_at(tree_id, plan)
    items = trees.by_id[tree_id]["proofs"][trees.by_id[tree_id]["steps"][at]["proof"]]["items"]
    assert record["fixes"] == []
    assert record["proof"]["step"] == at
    assert [one["result"] for one in record["proof"]["items"]] == ["passed", "failed", *[None] * (len(items) - 2)]
    told = browser.text(".fw-record")
    assert "Proof begun, not concluded" in told
    assert f"{record['proof']['items'][1]['item']} Failed" in told


@chromium_only
def test_record_leaves_the_device(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """The record fits its published schema, is told as text, deleted on request and brought back at once."""
    tree_id, plan = trees.find(lambda step: step["kind"] == "fix" and step["proof"] and step["exposes"])
    walker = Walker(browser)
    walker.begin(page(demo_site, tree_id))
    walker.rush(plan[:2])
    browser.click("[data-ft=back]")
    walker.rush(plan[1:])
    walker.pass_proof()
    browser.click("[data-ft=cured]")
    browser.await_js("document.querySelector('[data-ft=finish]') !== null")
    browser.click('[data-ft=left][data-ft-value="out of use"]')
    browser.fill("#fw_field_remark", f"tag {HOSTILE}")
    browser.click("[data-ft=finish]")
    browser.await_js("document.querySelector('[data-ft=record-delete]') !== null")
    assert browser.count(".fw-record img") == 0
    browser.eval("(URL.createObjectURL = blob => { window.saved = blob.text(); return 'about:blank'; }, 0)")
    browser.eval("(HTMLAnchorElement.prototype.click = () => {}, 0)")
    browser.click("[data-ft=record-file]")
    record = validated(json.loads(browser.eval("window.saved")))
    assert walker.visit()["exported"] >= walker.visit()["updated"]
    assert record["left"] == "out of use"
    assert record["outcome"] == "cured"
    assert record["fixes"][0]["proof"]["items"]
    assert record["fixes"][0]["cured"]
    assert "proof" not in record, "a proof that is concluded stands at its fix"
    steps = trees.by_id[tree_id]["steps"]
    at = trees.ends_at(tree_id, plan)
    assert record["reached"] == {"tree": tree_id, "step": at, "kind": "fix", "text": steps[at]["text"]}
    for ack in record["acknowledgements"]:
        assert steps[ack["step"]]["text"] in browser.text(".fw-record"), (
            "a caution is told with the step that it stood before"
        )
    assert record["remark"] == f"tag {HOSTILE}"
    assert [one["step"] for one in record["steps"]][: len(plan)] == [step for step, _ in plan]
    text = browser.eval("faultTrees.record.text(faultTrees.record.clean(faultTrees.store.all()[0]))")
    assert all(trees.by_id[tree_id]["steps"][step]["text"] in text for step, _ in plan)
    browser.click("[data-ft=record-delete]")
    assert walker.stored() == []
    browser.click("[data-ft=record-undo]")
    assert len(walker.stored()) == 1
    browser.click("[data-ft=record-delete]")
    browser.click("[data-ft=close]")
    browser.reload()
    browser.await_js("document.querySelector('.fw-site') !== null")
    assert walker.stored() == []


@chromium_only
def test_many_records(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """From 180 visits on the list warns; nothing is dropped by itself, only ended, saved ones are cleared."""
    tree_id = next(iter(trees.by_id))
    walker = Walker(browser)
    walker.begin(page(demo_site, tree_id))
    browser.click("[data-ft=pause]")
    browser.eval("""(() => {
      const [visit] = faultTrees.store.all();
      for (let n = 0; n < 184; n += 1) {
        const ended = n < 100 ? '2026-11-01T00:00:00Z' : null;
        const exported = n < 40 ? visit.updated : null;
        faultTrees.store.put({...visit, id: 'n' + n, ended, exported});
      }
      return faultTrees.store.settled();
    })()""")
    browser.reload()
    browser.await_js("document.querySelector('.fw-site') !== null")
    assert "185 visits are kept" in browser.text(".fw-start")
    assert len(walker.stored()) == 185
    browser.click("[data-ft=delete-exported]")
    left = walker.stored()
    assert len(left) == 145
    assert all(not (one["ended"] and one["exported"]) for one in left)


@pytest.mark.parametrize("engine", ["chromium"], indirect=True)
def test_record_on_paper(open_browser: OpenBrowser, demo_site: Path, trees: Trees, tmp_path: Path) -> None:
    """Printed, the record is there and the buttons are not."""
    browser = open_browser(PHONE)
    walker = Walker(browser)
    tree_id, plan = trees.find(lambda step: step["kind"] == "fix")
    walker.begin(page(demo_site, tree_id))
    walker.rush(plan)
    browser.click("[data-ft=record]")
    browser.await_js("document.querySelector('.fw-record') !== null")
    browser.emulate(media="print")
    assert browser.visible(".fw-record dl")
    assert not browser.visible(".fw-record button")
    assert browser.pdf(tmp_path / "record.pdf").stat().st_size > 1000
