"""What a walk never lets pass: cautions, isolations, open proofs; and what stays on the screen."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from browser.browsing import Look
from browser.walking import CURRENT, Data, Trees, Walker, page

if TYPE_CHECKING:
    from pathlib import Path

    from browser.browsing import Browser
    from browser.conftest import OpenBrowser

chromium_only = pytest.mark.parametrize("engine", ["chromium"], indirect=True)
SHUT = "[...document.querySelectorAll('[data-ft-current] .fw-choice')].every(one => one.disabled)"


@pytest.fixture(scope="module")
def trees(demo_site: Path) -> Trees:
    """Return the demo library's trees."""
    return Trees(demo_site)


def exposing(step: Data) -> bool:
    """Whether a step is a check that lays a hazard open."""
    return step["kind"] == "check" and bool(step["exposes"]) and len(step["ways"]) > 1


def test_cautions_stand_before_the_answers(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """Before an exposing step every way on is shut until its caution is acknowledged, which the record keeps."""
    walker = Walker(browser)
    tree_id, plan = trees.find(exposing)
    at = trees.ends_at(tree_id, plan)
    step = trees.by_id[tree_id]["steps"][at]
    walker.begin(page(demo_site, tree_id))
    walker.rush(plan)
    assert browser.eval(SHUT)
    assert browser.count("[data-ft-current] .fw-caution") == len(step["cautions"])
    for caution in step["cautions"]:
        assert trees.by_id[tree_id]["caution_texts"][caution]["signal"] in browser.text(".fw-cautions")
    browser.press("1")
    assert walker.current == at, "keys pass nothing either"
    browser.click("[data-ft=caution-ack]")
    assert not browser.eval(SHUT)
    assert browser.eval("document.activeElement.matches('[data-ft-current] h1')")
    acknowledged = [ack["id"] for ack in walker.visit()["acks"] if ack["step"] == at]
    assert sorted(acknowledged) == sorted(step["cautions"])
    browser.click("[data-ft=back]")
    browser.await_js(f"{CURRENT} !== '{at}'")
    browser.click("[data-ft=record]")
    assert f"caution before “{step['text']}”" in browser.text(".fw-record"), "a step left by the way back, in words"


def test_isolations_are_told_kept_in_sight_and_asked_again(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """An exposing step names where its hazard was isolated; after a reopening each isolation is asked again."""
    walker = Walker(browser)
    tree_id, plan = trees.find(lambda step: exposing(step) and step["kind"] == "check")
    tree = trees.by_id[tree_id]
    at = trees.ends_at(tree_id, plan)
    walker.begin(page(demo_site, tree_id))
    walker.rush(plan)
    hazard = tree["steps"][at]["exposes"][0]
    number = next(n for n, (_, way) in enumerate(plan, 1) if hazard in way["isolates"])
    isolating = plan[number - 1][0]
    assert tree["hazards"][hazard]["name"] in browser.text(".fw-isolated")
    assert f"isolated at step {number}" in browser.text("[data-ft-current]")
    assert browser.count("[data-ft=isolation-ack]") == 0, "just done: nothing to ask"
    way = tree["steps"][at]["ways"][0]
    walker.take(way)
    browser.click(f"[data-ft=trail][data-ft-value='{tree_id}/{at}']")
    browser.await_js(f"{CURRENT} === '{at}'")
    asked = browser.eval("[...document.querySelectorAll('[data-ft=isolation-ack]')].map(one => one.dataset.ftValue)")
    assert hazard in asked
    assert browser.eval(SHUT)
    browser.click("[data-ft=isolation-ack]")
    walker.acknowledge()
    assert not browser.eval(SHUT)
    assert [ack["id"] for ack in walker.visit()["acks"] if ack["kind"] == "isolation"].count(hazard) == 1
    browser.click(f"[data-ft=trail][data-ft-value='{tree_id}/{isolating}']")
    browser.await_js(f"{CURRENT} === '{isolating}'")
    assert not browser.count(".fw-isolated") or tree["hazards"][hazard]["name"] not in browser.text(".fw-isolated")


@chromium_only
def test_changed_answer_keeps_what_still_holds(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """Changing an earlier answer to itself keeps later checks, and stops before the first step that isolates."""
    walker = Walker(browser)
    tree_id, plan = trees.find(exposing)
    steps = trees.by_id[tree_id]["steps"]
    first, way = plan[0]
    safe = [steps[step]["kind"] in {"check", "measure"} and not steps[step]["cautions"] for step, _ in plan]
    stops = safe.index(False, 1)
    walker.begin(page(demo_site, tree_id))
    walker.rush(plan)
    browser.click("[data-ft=trail]")
    browser.await_js(f"{CURRENT} === '{first}'")
    walker.take(way)
    assert walker.current == plan[stops][0], "kept up to the step that matters for safety, not past it"
    visit = walker.visit()
    assert [one["kept"] for one in visit["steps"]] == [False] + [True] * (stops - 1)
    assert {one["step"] for one in visit["withdrawn"]} == {step for step, _ in plan[stops:]}


@chromium_only
def test_cured_needs_every_item(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """`Cured` opens only when no item failed and none is open; `in service` needs it."""
    walker = Walker(browser)
    tree_id, plan = trees.find(lambda step: step["kind"] == "fix" and step["proof"])
    tree = trees.by_id[tree_id]
    at = trees.ends_at(tree_id, plan)
    walker.begin(page(demo_site, tree_id))
    walker.rush(plan)
    shut = "document.querySelector('[data-ft=cured]').disabled"
    assert browser.eval(shut)
    assert browser.count("[data-ft=proof-item]") == len(tree["proofs"][tree["steps"][at]["proof"]]["items"])
    walker.pass_proof()
    assert not browser.eval(shut)
    browser.click("[data-ft=proof-failed]")
    assert browser.eval(shut)
    browser.click("[data-ft=end-visit]")
    assert browser.eval("""document.querySelector('[data-ft=left][data-ft-value="in service"]').disabled""")
    browser.click("[data-ft=not-cured]")
    browser.await_js(f"{CURRENT} !== '{at}'")
    fix = walker.visit()["fixes"][0]
    assert not fix["cured"]
    assert fix["proof"]["items"][0]["result"] == "failed"


@chromium_only
def test_a_proof_is_made_anew_after_more_work(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """Items that passed before the power was cut once more count for nothing when the walk comes to the proof again."""
    walker = Walker(browser)
    tree_id, plan = trees.find(lambda step: step["kind"] == "fix" and bool(step["exposes"]))
    off = next(n for n, (_, way) in enumerate(plan) if way["isolates"])
    walker.begin(page(demo_site, tree_id))
    walker.rush(plan)
    walker.pass_proof()
    pressed = "document.querySelectorAll('[data-ft-current] [aria-pressed=true]').length"
    assert browser.eval(pressed)
    browser.click("[data-ft=keys]")
    assert browser.eval(pressed), "it outlives what only draws the screen anew"
    browser.click(f"[data-ft=trail][data-ft-value='{tree_id}/{plan[off][0]}']")
    browser.await_js(f"{CURRENT} === '{plan[off][0]}'")
    walker.rush(plan[off:])
    walker.acknowledge()
    assert browser.eval(pressed) == 0
    assert browser.eval("document.querySelector('[data-ft=cured]').disabled")


def test_back_from_a_proof_asks_for_the_isolation_again(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """A proof that was begun needs the power: who goes back from it to a step that lays it open must look first."""

    def mended_where_it_was_open(step: Data) -> bool:
        return step["kind"] == "fix" and bool(set(step["exposes"]) & set(step.get("restores") or []))

    walker = Walker(browser)
    for tree_id in trees.by_id:
        plan = trees.plan_where(tree_id, mended_where_it_was_open)
        if plan and trees.by_id[tree_id]["steps"][plan[-1][0]]["exposes"]:
            break
    else:
        pytest.fail("no fix of the demo library follows a check of what lies open")
    step = trees.by_id[tree_id]["steps"][plan[-1][0]]
    walker.begin(page(demo_site, tree_id))
    walker.rush(plan)
    assert "Isolated now" in browser.text(".fw-strip")
    walker.acknowledge()
    browser.click("[data-ft=proof-item]")
    assert browser.count(".fw-isolated") == 0, "it is put back for the proof"
    browser.click("[data-ft=back]")
    browser.await_js(f"{CURRENT} === '{plan[-1][0]}'")
    assert "look again" in browser.text(".fw-strip .fw-isolated")
    while browser.count("[data-ft=caution-ack]"):
        browser.click("[data-ft=caution-ack]")
    assert browser.eval(SHUT)
    for _ in step["exposes"]:
        browser.click("[data-ft=isolation-ack]")
    assert not browser.eval(SHUT)
    assert "Isolated now" in browser.text(".fw-strip .fw-isolated")


@chromium_only
def test_stop_use_advice_stays(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """Advice to stop using the chair stays on the screen and in the record from the moment it is given."""
    walker = Walker(browser)
    for tree_id in trees.by_id:
        plan = trees.plan_where(tree_id, lambda step: any("stop_use" in way for way in step["ways"]))
        if plan is not None:
            break
    else:
        pytest.fail("no answer of the demo library gives stop-use advice")
    step = trees.by_id[tree_id]["steps"][trees.ends_at(tree_id, plan)]
    way = next(way for way in step["ways"] if "stop_use" in way)
    walker.begin(page(demo_site, tree_id))
    walker.rush([*plan, (trees.ends_at(tree_id, plan), way)])
    told = browser.text(".fw-strip .fw-stop")
    assert told
    assert browser.eval("getComputedStyle(document.querySelector('.fw-strip')).position") == "sticky"
    browser.eval("window.scrollTo(0, document.body.scrollHeight)")
    assert browser.eval("document.querySelector('.fw-stop').getBoundingClientRect().top") >= 0
    assert any(advice in told for advice in walker.visit()["stop_use"])


@chromium_only
def test_wait_clock_goes_by_the_time_of_day(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """The clock of a waiting step counts by the time of day and is still right after the page was gone."""
    walker = Walker(browser)
    tree_id, plan = trees.find(lambda step: step["wait"] and step["kind"] != "fix")
    minutes = trees.by_id[tree_id]["steps"][trees.ends_at(tree_id, plan)]["wait"]
    walker.begin(page(demo_site, tree_id))
    walker.rush(plan)
    walker.acknowledge()
    browser.click("[data-ft=wait]")
    assert " left, until " in browser.text(".fw-clock")
    # The device slept for the waiting time: the start lies that much earlier.
    browser.eval(
        "faultTrees.store.settled().then(() => { const visit = faultTrees.store.all()[0];"
        f" visit.timer.start -= {minutes} * 60000;"
        " faultTrees.store.put(visit); return faultTrees.store.settled(); })"
    )
    browser.reload()
    browser.await_js(CURRENT)
    assert browser.text(".fw-clock").startswith("Waiting time is over since ")


@chromium_only
def test_cannot_tell_lists_what_is_possible(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """Where the author gave no way for it, `cannot tell` lists the answers, likelier first, and one can come back."""
    walker = Walker(browser)

    def wanted(step: Data) -> bool:
        odds = [way["odds"] for way in step["ways"]]
        return step["kind"] == "check" and all(way["via"] == "answer" for way in step["ways"]) and len(set(odds)) > 1

    tree_id, plan = trees.find(wanted)
    at = trees.ends_at(tree_id, plan)
    step = trees.by_id[tree_id]["steps"][at]
    walker.begin(page(demo_site, tree_id))
    walker.rush(plan)
    walker.acknowledge()
    browser.click("[data-ft=unsure]")
    listed = browser.eval("[...document.querySelectorAll('[data-ft=unsure-go]')].map(one => one.dataset.ftValue)")
    assert listed == [way["label"] for way in sorted(step["ways"], key=lambda way: -way["odds"])]
    assert "Then still possible: " in browser.text(".fw-panel ol")
    browser.click("[data-ft=unsure-go]")
    browser.await_js(f"{CURRENT} !== '{at}'")
    assert f"Not known at step {len(plan) + 1}" in browser.text(".fw-walker")
    assert walker.visit()["steps"][-1]["assumed"]
    browser.click("[data-ft=come-back]")
    browser.await_js(f"{CURRENT} === '{at}'")


@chromium_only
def test_what_was_not_known_stays_so_over_a_reopening(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """An earlier step is opened and answered again: a later answer that was only taken as if is kept as that."""

    def plain(step: Data) -> bool:
        return step["kind"] == "check" and all(way["via"] == "answer" for way in step["ways"]) and not step["cautions"]

    tree_id, first, second = next(
        (tree_id, way, way["to"])
        for tree_id, tree in trees.by_id.items()
        for way in tree["steps"][tree["start"]]["ways"]
        if way["via"] == "answer" and plain(tree["steps"][way["to"]])
    )
    start, label = trees.by_id[tree_id]["start"], trees.by_id[tree_id]["steps"][second]["ways"][0]["label"]
    walker = Walker(browser)
    walker.begin(page(demo_site, tree_id))
    walker.take(first)
    browser.click("[data-ft=unsure]")
    browser.click(f"[data-ft=unsure-go][data-ft-value={json.dumps(label)}]")
    browser.await_js("document.querySelector('[data-ft=come-back]') !== null")
    browser.click("[data-ft=trail]")
    browser.await_js(f"{CURRENT} === '{start}'")
    walker.take(first)
    kept = walker.visit()["steps"][1]
    assert (kept["step"], kept["answer"], kept["kept"], kept["assumed"]) == (second, label, True, True)


@chromium_only
def test_found_panel_blocks_nothing(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """The first screen asks for the chair as found; the first step is there at once, and one button skips the form."""
    walker = Walker(browser)
    tree_id = next(iter(trees.by_id))
    walker.begin(page(demo_site, tree_id))
    assert walker.current == trees.by_id[tree_id]["start"]
    assert browser.visible("#fw_field_lamps")
    browser.fill("#fw_field_job", "W-7714")
    browser.click("[data-ft=found-skip]")
    assert browser.count("#fw_field_lamps") == 0
    assert browser.text(".fw-job") == "W-7714"
    assert walker.visit()["fields"]["job"] == "W-7714"


@chromium_only
def test_double_tap_reads_no_caution(open_browser: OpenBrowser, demo_site: Path, trees: Trees) -> None:
    """With gloves a tap may come twice: the second one begins no second visit and acknowledges nothing."""
    browser = open_browser(Look(360, 640, touch=True))
    walker = Walker(browser)
    browser.open(page(demo_site, next(iter(trees.by_id))))
    browser.await_js("document.querySelector('.fw-site') !== null")
    browser.eval("document.querySelectorAll('[data-ft=begin]').forEach(one => { one.click(); one.click(); })")
    browser.await_js(CURRENT)
    assert len(walker.stored()) == 1
    tap = "new PointerEvent('click', {pointerType: 'touch', detail: %d, bubbles: true})"
    browser.eval(f"document.querySelector('[data-ft=caution-ack]').dispatchEvent({tap % 2})")
    assert browser.count("[data-ft=caution-ack]") == 1
    browser.eval(f"document.querySelector('[data-ft=caution-ack]').dispatchEvent({tap % 1})")
    assert browser.count("[data-ft=caution-ack]") == 0


def test_an_isolation_that_is_taken_back_is_told(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """Back over an isolating step says that the power is still off at the chair, until somebody says it is not."""
    tree_id, plan = trees.find(lambda step: bool(step["exposes"]))
    at = next(n for n, (_, way) in enumerate(plan) if way["isolates"])
    walker = Walker(browser)
    walker.begin(page(demo_site, tree_id))
    walker.rush(plan[: at + 1])
    assert browser.count("[data-ft=is-back]") == 0
    browser.click("[data-ft=back]")
    browser.await_js("document.querySelector('.fw-strip [data-ft=is-back]') !== null")
    named = trees.by_id[tree_id]["hazards"][plan[at][1]["isolates"][0]]["name"]
    assert named in browser.text(".fw-strip .fw-ask")
    walker.take(plan[at][1])
    assert browser.count("[data-ft=is-back]") == 0, "it is isolated again"
    browser.click("[data-ft=back]")
    walker.stored()
    browser.reload()
    browser.await_js(CURRENT)
    assert named in browser.text(".fw-strip .fw-ask"), "a reload or a pause forgets nothing"
    browser.click("[data-ft=hand-over]")
    assert named in browser.text(".fw-hand"), "who takes over is told"
    browser.click("[data-ft=is-back]")
    browser.await_js("document.querySelector('[data-ft=is-back]') === null")
    walker.stored()
    browser.reload()
    browser.await_js(CURRENT)
    assert browser.count("[data-ft=is-back]") == 0


def test_not_in_service_while_a_taken_back_isolation_stands(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """A passed proof does not bring a chair into service as long as nobody has said that the power is put back."""

    def proven_live(step: Data) -> bool:
        return step["kind"] == "fix" and not step.get("exposes")

    tree_id, plan = trees.find(lambda step: bool(step["exposes"]))
    off = next(n for n, (_, way) in enumerate(plan) if way["isolates"])
    ends = [
        trees.plan_where(tree_id, lambda step, end=end: step is end)
        for end in trees.by_id[tree_id]["steps"].values()
        if proven_live(end)
    ]
    fix = next(one for one in ends if one and not any(way["isolates"] for _, way in one))
    common = next(n for n, (one, other) in enumerate(zip(plan, fix, strict=False)) if one != other)
    walker = Walker(browser)
    walker.begin(page(demo_site, tree_id))
    walker.rush(plan[: off + 1])
    for _ in range(off + 1 - common):
        before = walker.current
        browser.click("[data-ft=back]")
        browser.await_js(f"{CURRENT} !== {json.dumps(before)}")
    walker.rush(fix[common:])
    walker.pass_proof()
    browser.click("[data-ft=cured]")
    browser.await_js("document.querySelector('[data-ft=finish]') !== null")
    shut = """document.querySelector('[data-ft=left][data-ft-value="in service"]').disabled"""
    assert browser.eval(shut)
    browser.click("[data-ft=is-back]")
    browser.await_js("document.querySelector('[data-ft=is-back]') === null")
    assert not browser.eval(shut)


@chromium_only
def test_an_end_whose_proof_failed_says_so(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """At an end that is no fault a failed item says what to do, and what came of the visit is left open."""
    walker = Walker(browser)
    tree_id, plan = trees.find(lambda step: step["kind"] == "done" and bool(step.get("proof")))
    walker.begin(page(demo_site, tree_id))
    walker.rush(plan)
    walker.acknowledge()
    status = ".fw-prove > .fw-band"
    assert browser.text("[data-ft=cured]") in browser.text(status), "the button that the proof opens is named"
    browser.click("[data-ft=proof-failed]")
    assert "hand the case over" in browser.text(status)
    assert browser.count("[data-ft=outcome]:checked") == 0
    browser.click('[data-ft=left][data-ft-value="out of use"]')
    browser.click("[data-ft=finish]")
    assert browser.count("[data-ft=record-delete]") == 0, "no outcome is taken for granted"


@chromium_only
def test_an_escalation_is_filled_from_the_walk(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """A lamp that is to be told, and was answered in the walk, stands there with its answer."""
    walker = Walker(browser)
    for tree_id in trees.by_id:
        plan = trees.plan_where(
            tree_id,
            lambda step: step["kind"] == "escalate" and any("lamp" in text for text in step.get("bring", [])),
        )
        lamps = [way["label"] for step, way in plan or [] if "lamp" in trees.by_id[tree_id]["steps"][step]["text"]]
        if plan and lamps:
            break
    else:
        pytest.fail("no escalation of the demo library asks for a lamp that its walk looked at")
    walker.begin(page(demo_site, tree_id))
    walker.rush(plan)
    for label in lamps:
        assert f": {label}" in browser.text("[data-ft-current] .fw-box")
