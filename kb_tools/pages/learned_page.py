"""What the page "What the field teaches" shows, and `kb learn --report` tells: the counts in plain words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from kb_tools.numbers.learned import FAR_LONGER, LEAST_TIMED
from kb_tools.pages.numbering import step_numbers
from kb_tools.pages.rich_text import plain
from kb_tools.pages.words import words_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import date

    from kb_tools.model.entities import Library, Tree
    from kb_tools.numbers.learned import Cured, Lessons, Often, Silent, Slow

MOST_LINES = 12
LEAST_SEARCHES = 3
"""In so many visits a word must have been searched for before a published page shows it."""
ASIDE = ("other-library", "unknown-tree", "unknown-answers")
"""What of the records that were set aside the page tells."""


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
        self.words = words_of(library)
        self.numbers: dict[str, dict[str, int]] = {}

    def page(self) -> LearnedPage:
        """Return the page."""
        taught, words = self.taught, self.words
        lessons = [
            self._lesson("no_cure", [self._often(one, "no_cure") for one in taught.no_cure]),
            self._lesson("cannot_tell", [self._often(one, "cannot_tell") for one in taught.cannot_tell]),
            self._lesson("back", [self._often(one, "back") for one in taught.back]),
            self._lesson(
                "slow",
                [self._slow(one) for one in taught.slow],
                words.say("learned.slow_lead", times=words.figure(FAR_LONGER), least=LEAST_TIMED),
            ),
            self._lesson("fixes", [self._cured(one) for one in taught.fixes]),
            self._silent(),
            self._lesson(
                "unopened",
                [
                    Line(
                        str(self._tree(one.tree).title),
                        f"trees/{one.tree}.html",
                        words.say("learned.unopened_line", day=self._day(one.last)),
                    )
                    for one in taught.unopened
                ],
            ),
            self._searches(),
        ]
        return LearnedPage(list(self._summary()), lessons)

    def _summary(self) -> Iterator[str]:
        taught, words = self.taught, self.words
        records = words.count("count.records", taught.records)
        if taught.first and taught.last:
            first, last = words.day(taught.first), words.day(taught.last)
            yield words.say("learned.summary_span", records=records, first=first, last=last)
        else:
            yield words.say("learned.summary", records=records)
        yield words.say("learned.shares", strength=words.figure(taught.strength))
        aside = [
            words.count(f"learned.aside.{name}", number) for name, number in taught.set_aside.items() if name in ASIDE
        ]
        if aside:
            yield words.say("learned.aside_list", kinds=", ".join(aside))

    def _lesson(self, name: str, lines: Sequence[Line], lead: str = "", none: str = "") -> Lesson:
        words = self.words
        return Lesson(
            name,
            words.say(f"learned.{name}"),
            lead or words.say(f"learned.{name}_lead"),
            list(lines[:MOST_LINES]),
            none or words.say("learned.nothing"),
            max(0, len(lines) - MOST_LINES),
        )

    def _tree(self, tree: str) -> Tree:
        return self.library.trees[tree]

    def _line(self, tree: str, step: str, note: str) -> Line:
        shown = self._tree(tree)
        numbers = self.numbers.setdefault(tree, step_numbers(shown))
        found = shown.steps[step]  # type: ignore[index]
        text = plain(found.text) if found.text else step
        where = self.words.say("learned.at_step", tree=shown.title, n=numbers[step], text=text)
        return Line(where, f"trees/{tree}.html#{step}", note)

    def _often(self, one: Often, lesson: str) -> Line:
        words = self.words
        n, of, share = words.number(one.number), words.number(one.of), words.percent(one.number / one.of)
        return self._line(one.tree, one.step, words.say(f"learned.{lesson}_line", n=n, all=of, percent=share))

    def _slow(self, one: Slow) -> Line:
        words = self.words
        time, says, times = words.minutes(one.median), words.minutes(one.says), words.count("count.times", one.timed)
        told = words.say("learned.slow_line", time=time, times=times, says=says)
        return self._line(one.tree, one.step, told)

    def _cured(self, one: Cured) -> Line:
        words = self.words
        if one.is_surprising:
            verdict = "learned.fixes_less"
        elif one.cured < one.expected * one.of:
            verdict = "learned.fixes_perhaps"
        else:
            verdict = "learned.fixes_no_less"
        told = words.say(
            verdict,
            n=words.number(one.cured),
            all=words.number(one.of),
            low=words.percent(one.low),
            high=words.percent(one.high),
            says=words.percent(one.expected),
        )
        return self._line(one.tree, one.step, told)

    def _silent(self) -> Lesson:
        taught, words = self.taught, self.words
        by_tree: dict[str, list[Silent]] = {}
        for one in taught.silent:
            by_tree.setdefault(one.tree, []).append(one)
        # Trees with few silent answers first: there the silence means something.
        ordered = sorted(by_tree.values(), key=lambda group: (len(group), group[0].tree))
        lines = [
            self._line(one.tree, one.step, words.say("learned.silent_line", answer=one.answer, day=self._day(one.last)))
            for group in ordered
            for one in group
        ]
        return self._lesson("silent", lines, none="" if taught.spans_a_year else words.say("learned.silent_short"))

    def _searches(self) -> Lesson:
        shown = [(word, number) for word, number in self.taught.searches.items() if number >= self.least_searches]
        words = self.words
        lines = [
            Line(word, "", words.say("learned.searches_line", visits=words.count("count.visits", number)))
            for word, number in shown
        ]
        lead = words.say("learned.searches_lead")
        if self.least_searches > 1:
            lead += f" {words.say('learned.searches_few', least=self.least_searches)}"
        return self._lesson("searches", lines, lead)

    def _day(self, when: date | None) -> str:
        return self.words.day(when) if when else self.words.say("learned.never")
