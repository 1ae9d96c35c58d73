"""Support-desk mode: safety questions first, plain words, no technician's step for an untrained caller."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from browser.walking import CURRENT, Data, Trees, Walker, page

if TYPE_CHECKING:
    from pathlib import Path

    from browser.browsing import Browser

chromium_only = pytest.mark.parametrize("engine", ["chromium"], indirect=True)


@pytest.fixture(scope="module")
def trees(demo_site: Path) -> Trees:
    """Return the demo library's trees."""
    return Trees(demo_site)


def test_call_from_begin_to_hand_over(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """A carer's call: questions, the desk's wording, a stop at the technician's step, what was found, the code."""

    def handed(step: Data) -> bool:
        return step["who"] == "technician" and step["kind"] in {"check", "measure", "do"} and bool(step.get("say"))

    plans = {tree: trees.plan_where(tree, handed, only="anyone") for tree in trees.by_id}
    tree_id, plan = next((tree, plan) for tree, plan in plans.items() if plan)
    steps = trees.by_id[tree_id]["steps"]
    walker = Walker(browser)
    walker.begin(page(demo_site, tree_id), desk=True)
    questions = browser.eval("faultTrees.data.index.desk")
    assert [question["ask"] for question in questions] == browser.texts(".fw-found legend")[:-1]
    browser.await_js("document.activeElement.id === 'fw_desk_title'")
    bad = next(n for n, question in enumerate(questions) if question["stop_use"])
    browser.eval(f"document.querySelector('input[name=fw-desk-{bad}][value={questions[bad]['bad']}]').click()")
    assert questions[bad]["say"] in browser.text(f".fw-found > div:nth-of-type({bad + 1}) [role=alert]")
    assert browser.visible(".fw-strip .fw-stop")
    browser.eval("document.querySelector('input[name=fw-caller][value=carer]').click()")
    browser.click("[data-ft=found-skip]")
    for step, way in plan:
        assert browser.text("[data-ft-current] h1") == steps[step]["say"]
        walker.take(way)
    at = trees.ends_at(tree_id, plan)
    assert walker.current == at
    assert steps[at]["say"] in browser.text("[data-ft-current]"), "why the caller stops"
    for control in ("answer", "done", "cannot", "reading", "cured", "unsure", "how"):
        assert browser.count(f"[data-ft={control}]") == 0, "a technician's step offers nothing to a carer"
    for _, way in plan:
        told = str(way.get("say", way["label"]))
        assert told in browser.text("[data-ft-current]"), "answers are told in the words that the caller heard"
        assert told in browser.text(".fw-trails")
    browser.click("[data-ft-current] [data-ft=hand-over]")
    code = browser.text("[data-ft=code]")
    assert all(len(group) <= 4 for group in code.split("-"))
    visit = walker.visit()
    assert visit["code"] == code
    assert visit["caller"] == "carer"
    assert visit["stop_use"]
    assert visit["stop_use"][0] in browser.text(".fw-hand"), "a code does not carry it, so it is read out"
    link = f"#{browser.eval('location.hash').split('#')[1].split('&mode=')[0]}"
    browser.open((demo_site / "index.html").as_uri())
    browser.open(page(demo_site, tree_id) + link)
    browser.await_js(f"{CURRENT} === {json.dumps(at)}")
    assert walker.visit()["mode"] == "technician", "who takes over by a link walks at the chair"
    assert visit["stop_use"][0] in browser.text(".fw-strip")
    assert "Here the caller stops" not in browser.text("[data-ft-current]")


def test_safety_questions_left_out_are_named_once(browser: Browser, demo_site: Path) -> None:
    """Going on with open safety questions names them and asks once; the record says what was not asked."""
    walker = Walker(browser)
    walker.begin(page(demo_site, "chair-dead"), desk=True)
    first, *others = browser.eval("faultTrees.data.index.desk.map((one) => one.ask)")
    browser.eval("document.querySelector('input[name=fw-desk-0][value=No]').click()")
    assert not browser.visible("[data-ft=desk-skip]")
    browser.click("[data-ft=found-skip]")
    assert browser.texts(".fw-found .fw-ask li") == others
    assert browser.visible("#fw_desk_title"), "one tap does not pass them"
    browser.click("[data-ft=desk-skip]")
    assert browser.count("#fw_desk_title") == 0
    walker.acknowledge()
    browser.click("[data-ft=answer]:not([disabled])")
    assert browser.count(".fw-unasked") == 0, "said once"
    assert browser.visible("[data-ft=desk-open]"), "and still open"
    assert walker.visit()["not_asked"] == others
    told = browser.eval("faultTrees.record.text(faultTrees.record.clean(faultTrees.store.all()[0]))")
    assert f"{first} No" in told
    assert all(f"{ask} not asked" in told for ask in others)


@chromium_only
def test_safety_questions_passed_by_an_answer_are_named(browser: Browser, demo_site: Path) -> None:
    """Who answers the step below the open questions has them named on the next screen, with the way back to them."""
    walker = Walker(browser)
    walker.begin(page(demo_site, "chair-dead"), desk=True)
    walker.acknowledge()
    browser.click("[data-ft=answer]:not([disabled])")
    browser.await_js("document.querySelector('.fw-unasked') !== null")
    assert browser.texts(".fw-unasked li") == browser.eval("faultTrees.data.index.desk.map((one) => one.ask)")
    browser.await_js("document.activeElement.closest('.fw-unasked') !== null")
    browser.click("[data-ft=desk-open]")
    assert browser.visible("#fw_desk_title")
    assert len(walker.visit()["steps"]) == 1, "the answer given is kept"


@chromium_only
def test_calling_technician_gets_every_step(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """A technician on the phone gets the technician's steps, in the desk's wording where there is one."""
    tree_id, plan = trees.find(lambda step: step["kind"] == "fix" and step["who"] == "technician")
    walker = Walker(browser)
    walker.begin(page(demo_site, tree_id), desk=True)
    browser.eval("document.querySelector('input[name=fw-caller][value=technician]').click()")
    browser.click("[data-ft=found-skip]")
    for step, way in plan:
        about = trees.by_id[tree_id]["steps"][step]
        assert browser.text("[data-ft-current] h1") == about.get("say", about["text"])
        assert about["text"] in browser.text("[data-ft-current]") or about["who"] == "anyone"
        walker.take(way)
    assert browser.count("[data-ft=cured]") == 1


@chromium_only
@pytest.mark.parametrize("kind", ["escalate", "done"])
def test_the_desk_reads_whom_an_end_hands_the_case_to(
    browser: Browser, demo_site: Path, trees: Trees, kind: str
) -> None:
    """At an end the caller's words stand first, and beside them what the end means for the desk."""
    plans = {
        tree: trees.plan_where(tree, lambda step: step["kind"] == kind and bool(step.get("say")), only="anyone")
        for tree in trees.by_id
    }
    tree_id, plan = next((tree, plan) for tree, plan in plans.items() if plan)
    walker = Walker(browser)
    walker.begin(page(demo_site, tree_id), desk=True)
    walker.rush(plan)
    end = trees.by_id[tree_id]["steps"][trees.ends_at(tree_id, plan)]
    assert browser.text("[data-ft-current] h1") == end["say"]
    assert browser.text("[data-ft-current] h1 + p") == end["text"]


@chromium_only
def test_mode_can_be_changed_in_a_walk(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """Switching to desk mode in a walk asks the safety questions and keeps the answers."""
    tree_id = next(iter(trees.by_id))
    walker = Walker(browser)
    walker.begin(page(demo_site, tree_id))
    plan = trees.plan(tree_id, "escalate")
    assert plan
    walker.take(plan[0][1])
    browser.click("[data-ft=mode]")
    assert browser.attribute("[data-ft=mode]", "aria-pressed") == "true"
    assert browser.visible("#fw_desk_title")
    assert len(walker.visit()["steps"]) == 1
    browser.click("[data-ft=mode]")
    assert browser.attribute("[data-ft=mode]", "aria-pressed") == "false"


@chromium_only
def test_dropped_call_is_found_by_its_reference(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """A call that drops is found again by its job reference and goes on where it stood."""
    walker = Walker(browser)
    for n, tree_id in enumerate([*trees.by_id, *trees.by_id][:7]):
        walker.begin(page(demo_site, tree_id), desk=True)
        browser.fill("#fw_field_job", f"CALL-{n}")
        browser.click("[data-ft=pause]")
    browser.await_js("document.querySelector('#fw_find_job') !== null")
    browser.fill("#fw_find_job", "call-3")
    assert browser.count("[data-ft=walk-open]") == 1
    browser.click("[data-ft=walk-open]")
    browser.await_js(CURRENT)
    assert browser.text(".fw-job") == "CALL-3"


@chromium_only
def test_a_proof_that_only_a_technician_can_make_is_handed_over(
    browser: Browser, demo_site: Path, trees: Trees
) -> None:
    """Where a carer's call ends at a technician's proof, the hand-over is offered there and no outcome is chosen."""

    def unproven(step: Data) -> bool:
        return step["kind"] == "done" and bool(step.get("proof"))

    plans = {tree: trees.plan_where(tree, unproven, only="anyone") for tree in trees.by_id}
    tree_id, plan = next((tree, plan) for tree, plan in plans.items() if plan)
    walker = Walker(browser)
    walker.begin(page(demo_site, tree_id), desk=True)
    browser.eval("document.querySelector('input[name=fw-caller][value=carer]').click()")
    browser.click("[data-ft=found-skip]")
    browser.click("[data-ft=desk-skip]")
    walker.rush(plan)
    assert browser.count("[data-ft=cured]") == 0
    assert browser.count("[data-ft-current] [data-ft=hand-over]") == 1
    assert browser.count("[data-ft=hand-over]") == 1
    assert browser.count("[data-ft=outcome]:checked") == 0


@chromium_only
def test_a_danger_that_was_told_keeps_the_chair_out_of_service(browser: Browser, demo_site: Path, trees: Trees) -> None:
    """A caller may prove a simple fix; a bad answer to a safety question still keeps the chair out of service."""
    plans = {
        tree: trees.plan_where(tree, lambda step: step["kind"] == "fix" and step["who"] == "anyone", only="anyone")
        for tree in trees.by_id
    }
    tree_id, plan = next((tree, plan) for tree, plan in plans.items() if plan)
    walker = Walker(browser)
    walker.begin(page(demo_site, tree_id), desk=True)
    questions = browser.eval("faultTrees.data.index.desk")
    danger = next(n for n, question in enumerate(questions) if question["stop_use"])
    for n, question in enumerate(questions):
        fine = "No" if question["bad"] == "Yes" else "Yes"
        answer = question["bad"] if n == danger else fine
        browser.eval(f"document.querySelector('input[name=fw-desk-{n}][value={answer}]').click()")
    browser.click("[data-ft=found-skip]")
    walker.rush(plan)
    walker.pass_proof()
    browser.click("[data-ft=cured]")
    browser.await_js("document.querySelector('[data-ft=finish]') !== null")
    assert browser.eval("""document.querySelector('[data-ft=left][data-ft-value="in service"]').disabled""")
    assert browser.text(".fw-strip .fw-stop strong").startswith("Stop use")
