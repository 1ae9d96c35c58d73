"""What the page "What the field teaches" shows, and `kb learn --report` tells: the counts in plain words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from kb_tools.numbers.learned import FAR_LONGER, LEAST_TIMED
from kb_tools.pages.numbering import step_numbers
from kb_tools.pages.numbers_view import percent
from kb_tools.pages.rich_text import plain
from kb_tools.pages.wording import counted, day, minutes

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import date

    from kb_tools.model.entities import Library, Tree
    from kb_tools.numbers.learned import Cured, Lessons, Often, Silent, Slow

MOST_LINES = 12
LEAST_SEARCHES = 3
"""In so many visits a word must have been searched for before a published page shows it."""
ASIDE = {
    "other-library": ("record of another library", "records of other libraries"),
    "unknown-tree": ("visit to a tree that is no longer there", "visits to trees that are no longer there"),
    "unknown-answers": ("answer that this edition does not have", "answers that this edition does not have"),
}


@dataclass(frozen=True, slots=True)
class Line:
    """One thing to look at."""

    text: str
    href: str
    note: str


@dataclass(frozen=True, slots=True)
class Lesson:
    """Things of one kind, the weightiest first."""

    id: str
    title: str
    lead: str
    lines: list[Line]
    none: str
    """What to say where there are none."""
    more: int = 0
    """How many lines are left out."""


@dataclass(frozen=True, slots=True)
class LearnedPage:
    """The page."""

    summary: list[str]
    lessons: list[Lesson]


def learned_page(library: Library, taught: Lessons, least_searches: int = LEAST_SEARCHES) -> LearnedPage:
    """Return what is shown of what the field teaches.

    Args:
        library: The library.
        taught: What the counts of its records teach.
        least_searches: In how many visits a word must have been searched for to be shown.

    """
    return _Page(library, taught, least_searches).page()


class _Page:
    def __init__(self, library: Library, taught: Lessons, least_searches: int) -> None:
        self.library, self.taught, self.least_searches = library, taught, least_searches
        self.numbers: dict[str, dict[str, int]] = {}

    def page(self) -> LearnedPage:
        """Return the page."""
        taught = self.taught
        half = f"A median is told from {LEAST_TIMED} times on, from times counted in steps of twice as long."
        lessons = [
            self._lesson(
                "no_cure",
                "Where walks end without a cure",
                "Visits that were closed here, of all that ended in this tree; handing over is no cure.",
                [self._often(one, "ended here") for one in taught.no_cure],
            ),
            self._lesson(
                "cannot_tell",
                "Where people cannot tell",
                "Answers that said “cannot tell” or “cannot”, or were taken as if, of all answers.",
                [self._often(one, "could not") for one in taught.cannot_tell],
            ),
            self._lesson(
                "back",
                "Where people go back",
                "Answers that were taken back, of all that were given.",
                [self._often(one, "taken back") for one in taught.back],
            ),
            self._lesson(
                "slow",
                "What takes far longer than the tree says",
                f"The median is more than {FAR_LONGER:g} times as long. {half}",
                [self._slow(one) for one in taught.slow],
            ),
            self._lesson(
                "fixes",
                "Fixes that do not hold",
                "Fixes after which the proof failed. The range holds the true share in 90 of 100 such cases.",
                [self._cured(one) for one in taught.fixes],
            ),
            self._silent(),
            self._lesson(
                "unopened",
                "Trees that nobody opens",
                "Not opened in the last year, not by a link either.",
                [
                    Line(str(self._tree(one.tree).title), f"trees/{one.tree}.html", f"last {self._day(one.last)}")
                    for one in taught.unopened
                ],
            ),
            self._searches(),
        ]
        return LearnedPage(list(self._summary()), lessons)

    def _summary(self) -> Iterator[str]:
        taught = self.taught
        span = f", from {day(taught.first)} to {day(taught.last)}" if taught.first and taught.last else ""
        yield f"{counted(taught.records, 'record')}{span}."
        yield (
            f"The shares of causes are those of the trees' authors, worth {taught.strength:g} records in each tree, "
            "and what the records found."
        )
        aside = [counted(number, *ASIDE[name]) for name, number in taught.set_aside.items() if name in ASIDE]
        if aside:
            yield f"Set aside: {', '.join(aside)}."

    def _lesson(self, name: str, title: str, lead: str, lines: Sequence[Line], none: str = "") -> Lesson:
        none = none or "Nothing of the kind was counted."
        return Lesson(name, title, lead, list(lines[:MOST_LINES]), none, max(0, len(lines) - MOST_LINES))

    def _tree(self, tree: str) -> Tree:
        return self.library.trees[tree]

    def _line(self, tree: str, step: str, note: str) -> Line:
        shown = self._tree(tree)
        numbers = self.numbers.setdefault(tree, step_numbers(shown))
        found = shown.steps[step]  # type: ignore[index]
        text = plain(found.text) if found.text else step
        return Line(f"{shown.title}, step {numbers[step]}: {text}", f"trees/{tree}.html#{step}", note)

    def _often(self, one: Often, what: str) -> Line:
        return self._line(one.tree, one.step, f"{what} {one.number:,} of {one.of:,} ({percent(one.number / one.of)})")

    def _slow(self, one: Slow) -> Line:
        told = f"median {minutes(one.median)} of {counted(one.timed, 'time')}; the tree says {minutes(one.says)}"
        return self._line(one.tree, one.step, told)

    def _cured(self, one: Cured) -> Line:
        told = f"cured {one.cured:,} of {one.of:,}, so {percent(one.low)} to {percent(one.high)}"
        if one.is_surprising:
            verdict = "less than the tree says"
        elif one.cured < one.expected * one.of:
            verdict = "less than the tree says, but that may be chance"
        else:
            verdict = "no less than the tree says"
        return self._line(one.tree, one.step, f"{told}; {verdict} ({percent(one.expected)})")

    def _silent(self) -> Lesson:
        taught = self.taught
        by_tree: dict[str, list[Silent]] = {}
        for one in taught.silent:
            by_tree.setdefault(one.tree, []).append(one)
        # Trees with few silent answers first: there the silence means something.
        ordered = sorted(by_tree.values(), key=lambda group: (len(group), group[0].tree))
        lines = [
            self._line(one.tree, one.step, f"“{one.answer}”, last {self._day(one.last)}")
            for group in ordered
            for one in group
        ]
        short = "The records do not reach back a year, so nothing can be said." if not taught.spans_a_year else ""
        lead = "Answers of trees that were opened."
        return self._lesson("silent", "Answers that nobody has given for a year", lead, lines, short)

    def _searches(self) -> Lesson:
        shown = [(word, number) for word, number in self.taught.searches.items() if number >= self.least_searches]
        lines = [Line(word, "", f"in {counted(number, 'visit')}") for word, number in shown]
        few = f" Words of fewer than {self.least_searches} visits are not shown." if self.least_searches > 1 else ""
        lead = f"Single words from searches that found nothing, where the searcher let them into the record.{few}"
        return self._lesson("searches", "Words that found nothing", lead, lines)

    def _day(self, when: date | None) -> str:
        return day(when) if when else "never"
