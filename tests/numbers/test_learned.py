"""Shares after field records, and what the field teaches: against the published example, scipy and plain counting."""

from __future__ import annotations

import shutil
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from scipy import stats

from kb_tools.author.learn import Asked, learn
from kb_tools.author.learn_file import counts_of
from kb_tools.model.entities import Counts, StepCounts, TreeCounts
from kb_tools.model.graph import build_graph
from kb_tools.model.hazards import analyse
from kb_tools.model.values import Number
from kb_tools.numbers.learned import lessons, tree_shares
from kb_tools.numbers.odds import causes_at, library_numbers, tree_numbers
from kb_tools.numbers.tree_figures import tree_figures
from kb_tools.pages.browser_data import browser_files
from kb_tools.pages.learned_page import learned_page
from making import HERE, answer, library, step, tree, word
from visit_records import STARTED, lines, loaded, record

if TYPE_CHECKING:
    from kb_tools.model.entities import Library
    from kb_tools.model.graph import StepGraph

SMALL = Path(__file__).parent.parent / "data" / "small"
CRIMPED = ["Silent", "No supply", "done", "Yes", "cured"]
TO_DESK = ["Silent", "No supply", "cannot"]


def two_causes(shares: tuple[float, float], found: tuple[int, int]) -> tuple[Library, StepGraph]:
    """Return a library of one tree with two causes, and how often records found each."""
    ends = {name: step("escalate", share=Number(share)) for name, share in zip(("one", "two"), shares, strict=True)}
    made = library([tree("t", "ask", {"ask": step("check", answers=(answer("one"), answer("two", "No"))), **ends})])
    counts = TreeCounts(HERE, causes={word("one"): found[0], word("two"): found[1]})
    made.counts = Counts(HERE, records=sum(found), trees={word("t"): counts})
    return made, build_graph(made)


def test_published_posterior() -> None:
    """A prior of size 20 and mean .485 and 437 of 980 give .447 (Gelman et al., Bayesian Data Analysis, 2.4)."""
    made, graph = two_causes((48.5, 51.5), (437, 543))
    numbers = tree_numbers(graph, made, "t")
    assert numbers.causes["one"] == pytest.approx(0.447, abs=0.0006)
    assert numbers.steps["ask"].odds[0] == pytest.approx((437 + 20 * 0.485) / 1000)


def test_ranges_against_scipy() -> None:
    """The range of a share is the central 90 % of its beta distribution (scipy)."""
    made, _ = two_causes((3, 1), (5, 7))
    [one, _] = tree_shares(made, made.trees["t"])
    assert one.low == pytest.approx(float(stats.beta.ppf(0.05, 15 + 5, 5 + 7)))
    assert one.high == pytest.approx(float(stats.beta.ppf(0.95, 15 + 5, 5 + 7)))
    assert (one.found, one.author) == (5, 0.75)
    assert one.mean == pytest.approx(20 / 32)


def test_without_counts_nothing_changes() -> None:
    """Counts that found no cause leave every share as the author wrote it, to the byte of the browser's data."""
    made, graph = loaded(SMALL)
    isolation = analyse(graph, made)
    before = list(browser_files(made, graph, isolation, list(made.trees.values())))
    made.counts = Counts(HERE, records=3, trees={word("seat-stuck"): TreeCounts(HERE, visits=3)})
    assert list(browser_files(made, graph, isolation, list(made.trees.values()))) == before
    made.counts.trees[word("seat-stuck")].causes = {word("crimp"): 40}
    after = list(browser_files(made, graph, isolation, list(made.trees.values())))
    assert [name for (name, old), (_, new) in zip(before, after, strict=True) if old != new] == [
        "kb/index.js",
        "kb/trees/seat-stuck.js",
    ]


def test_the_walk_gets_the_learned_shares() -> None:
    """Numbers, `kb numbers` and the data of the walk have the same shares after records."""
    made, graph = loaded(SMALL)
    assert made.trees
    before = library_numbers(graph, made)["seat-stuck"].causes
    made.counts = Counts(HERE, records=8, trees={word("seat-stuck"): TreeCounts(HERE, causes={word("crimp"): 8})})
    own = library_numbers(graph, made)["seat-stuck"]
    assert own.causes["crimp"] == pytest.approx((20 * before["crimp"] + 8) / 28)
    figures = tree_figures(graph, made, "seat-stuck")
    assert figures["field"]["records"] == 8
    assert figures["field"]["prior_strength"] == 20
    assert {one["cause"]: one["mean"] for one in figures["field"]["shares"]} == pytest.approx(own.causes)
    assert figures["causes"] == pytest.approx(causes_at(graph, own, own.start))


def test_prior_strength_is_set(tmp_path: Path) -> None:
    """`prior_strength` in library.yml says how many records the author's word weighs as much as."""
    shutil.copytree(SMALL, tmp_path / "library")
    settings = tmp_path / "library/trees/shared/library.yml"
    settings.write_text(settings.read_text("utf-8").rstrip() + "\nprior_strength: 5\n", "utf-8")
    made, graph = loaded(tmp_path / "library")
    before = library_numbers(graph, made)["seat-stuck"].causes["crimp"]
    made.counts = Counts(HERE, records=5, trees={word("seat-stuck"): TreeCounts(HERE, causes={word("crimp"): 5})})
    assert library_numbers(graph, made)["seat-stuck"].causes["crimp"] == pytest.approx((5 * before + 5) / 10)


def taught(tmp_path: Path) -> tuple[Library, StepGraph]:
    """Return the small library with what records of two years taught it."""
    made, graph = loaded(SMALL)
    records = []
    for number in range(12):
        answers = CRIMPED if number % 3 else [*CRIMPED[:-1], "not cured"]
        one = record(made, graph, "seat-stuck", answers, id=f"{number}", started=STARTED - timedelta(days=60 * number))
        one["searches"] = ["flux"]
        one["withdrawn"] = [{**one["steps"][0], "withdrawn": one["ended"]}] if number < 2 else []
        records.append(one)
    records += [record(made, graph, "seat-stuck", TO_DESK, id=f"d{number}", started=STARTED) for number in range(3)]
    path = tmp_path / "records.jsonl"
    path.write_text(lines(records), "utf-8")
    made.counts = counts_of(learn(made, graph, Asked([path]), date(2027, 1, 1)).tally)
    return made, graph


def test_lessons(tmp_path: Path) -> None:
    """Each lesson names its steps with what was counted there, the weightiest first."""
    made, graph = taught(tmp_path)
    found = lessons(made, graph)
    assert (found.records, found.last, found.until) == (15, date(2026, 11, 3), date(2026, 11, 3))
    assert [(one.step, one.number, one.of) for one in found.no_cure] == [("desk", 7, 15)]
    assert [(one.step, one.number, one.of) for one in found.cannot_tell] == [("unplug", 3, 15)]
    assert [(one.step, one.number, one.of) for one in found.back] == [("listen", 2, 17)]
    # `listen` takes half a minute, the records say one.
    assert [one.step for one in found.slow] == []
    assert [(one.step, one.cured, one.of) for one in found.fixes] == [("crimp", 8, 12)]
    assert found.spans_a_year
    assert ("listen", "Heard", None) in [(one.step, one.answer, one.last) for one in found.silent]
    assert ("listen", "Silent") not in [(one.step, one.answer) for one in found.silent]
    assert [(one.tree, one.last) for one in found.unopened] == [("buttons-dead", None)]
    assert found.searches == {"flux": 12}


def test_a_year_is_counted_from_a_date(tmp_path: Path) -> None:
    """Seen from a later day a tree that was opened is one that nobody opens; before a year nothing is called silent."""
    made, graph = taught(tmp_path)
    later = lessons(made, graph, date(2028, 1, 1))
    assert [one.tree for one in later.unopened] == ["buttons-dead", "seat-stuck"]
    assert made.counts
    made.counts.first = made.counts.last
    early = lessons(made, graph)
    assert not early.spans_a_year
    assert early.silent == []


def test_far_longer(tmp_path: Path) -> None:
    """A check is slow when its median is more than twice what the tree says, from five times on."""
    made, graph = taught(tmp_path)
    assert made.counts
    assert made.counts.trees
    counted = made.counts.trees[word("seat-stuck")].steps
    counted[word("splice")] = StepCounts(HERE, answers={word("Yes"): 5}, minutes=(0, 0, 1, 0, 3, 1))
    [slow] = lessons(made, graph).slow
    assert (slow.step, slow.says, slow.timed) == ("splice", 1.0, 5)
    assert 2 < slow.median <= 4
    counted[word("splice")].minutes = (0, 0, 0, 0, 4)
    assert lessons(made, graph).slow == []


def test_page_and_report_in_step(tmp_path: Path) -> None:
    """The page shows every lesson of the report, escaped words of few searches left out, and links to real steps."""
    made, graph = taught(tmp_path)
    found = lessons(made, graph)
    page = learned_page(made, found)
    by_id = {lesson.id: lesson for lesson in page.lessons}
    for name in ("no_cure", "cannot_tell", "back", "slow", "fixes", "silent", "unopened"):
        assert len(by_id[name].lines) + by_id[name].more == len(getattr(found, name)), name
    assert page.summary[0].startswith("15 records, from ")
    assert "7 of 15 (47\N{NO-BREAK SPACE}%)" in by_id["no_cure"].lines[0].note
    assert by_id["no_cure"].lines[0].href == "trees/seat-stuck.html#desk"
    found.searches["rare"] = 2
    assert [
        line.text for line in next(one for one in learned_page(made, found).lessons if one.id == "searches").lines
    ] == ["flux"]
