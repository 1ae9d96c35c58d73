"""A step whose words hint at a hazard says what it has to do with it.

The safety rules prove what is declared, and a hazard that nobody declared is invisible to them.
So each hazard has `hints` in `hazards.yml`: words that come up where it is near, such as "fuse
holder" or "bare wire". When one of them stands in a step's own words (its question or action,
`how`, `confirm`, `say`), the step must say something of that hazard: that it exposes it, works
live on it, needs its power, isolates, confirms or restores it (on an answer counts too), or shows
its caution.

Hints are found as whole words, in the singular or a simple plural, whatever their case. Steps that
only hand over or lead on (`escalate`, `link`) are passed over. Sub-words do not count: "fuse" is
not found in "refused".

To mend it, declare what is true, most often `exposes`. If the hazard is not near, word the step
otherwise, make the hint longer ("fuse holder" for "fuse"), or show the hazard's caution by
`cautions`.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from dataclasses import dataclass
from itertools import accumulate
from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.model.entities import Answer, Band, Library, Step, Tree
    from kb_tools.model.values import Word
    from kb_tools.rules.contract import Subject

ID = "hazard-undeclared"
SEVERITY = Severity.WARNING
SUMMARY = "A step whose words hint at a hazard says what it has to do with it."

_NO_WORK = frozenset({"escalate", "link", ""})
_DECLARING = (
    "exposes",
    "works_live",
    "needs",
    "isolates",
    "confirms",
    "restores",
    "cautions",
    "answers",
    "bands",
)
"""Keys that say something of a hazard, or hold ways on that do."""


@dataclass(frozen=True, slots=True)
class _Hints:
    """All hints of a library in one pattern."""

    pattern: re.Pattern[str]
    """Matches, at the start of a word, the longest hint that stands there."""
    hazards: dict[str, tuple[Word, ...]]
    """A hint as the pattern's group gives it, tidied -> the hazards that it hints at."""


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each step and hazard that its words hint at without a declaration."""
    library = subject.library
    hints = _hints_of(library)
    if hints is None:
        return
    for tree in library.trees.values():
        yield from _in_tree(tree, hints, library)


def _in_tree(tree: Tree, hints: _Hints, library: Library) -> Iterator[Finding]:
    """Search all words of a tree at once, and look closer only where a hint stands."""
    words = [(step, word) for step in tree.steps.values() for word in _own_words(step)]
    lowered = [word.lower() for _, word in words]
    starts = [0, *accumulate(len(word) + 1 for word in lowered)]
    reported: set[tuple[int, str]] = set()
    for match in hints.pattern.finditer("\0".join(lowered)):
        step, word = words[bisect_right(starts, match.start()) - 1]
        for hazard in hints.hazards[_tidy(match[1])]:
            if (id(step), hazard) in reported:
                continue
            reported.add((id(step), hazard))
            if not _declares(step, hazard, library):
                yield Finding(
                    word.place,
                    ID,
                    SEVERITY,
                    f"The words `{match[1]}` hint at the hazard `{hazard}`, of which this step declares nothing",
                    f"Add `exposes: [{hazard}]`, or what else is true; if it is not near, word it otherwise",
                    notes=((hazard.place, f"`{hazard}` and its hints are declared here"),),
                )


def _own_words(step: Step) -> list[Word]:
    """Return the words of a step that say what is done."""
    if step.kind in _NO_WORK or step.in_doubt:
        return []
    return [word for word in (step.text, step.how, step.confirm, step.say) if word]


def _declares(step: Step, hazard: str, library: Library) -> bool:
    """Tell whether a step, its answers or its cautions say anything of a hazard.

    An id that names nothing may mean it, and so may what could not be read.
    """
    declared: set[str] = {*step.exposes, *step.works_live, *step.needs}
    owners: tuple[Step | Answer | Band, ...] = (step, *(step.answers or ()), *(step.bands or ()))
    for owner in owners:
        declared.update(owner.isolates, owner.confirms, owner.restores)
    for name in step.cautions:
        caution = library.cautions.get(name)
        declared.add(caution.hazard or "" if caution else name)
    if hazard in declared or not declared <= {*library.hazards, ""}:
        return True
    return any(library.doubts.key(owner.place, key) for owner in owners for key in _DECLARING)


def _hints_of(library: Library) -> _Hints | None:
    """Return the hints of all hazards, or None when there is none."""
    hinted: dict[str, list[Word]] = {}
    for hazard, entry in library.hazards.items():
        for written in entry.hints:
            if written.strip():
                hinted.setdefault(_tidy(written.lower()), []).append(hazard)
    if not hinted:
        return None
    longest_first = sorted(hinted, key=lambda hint: (-len(hint), hint))
    spelt = "|".join(_spelt(hint) for hint in longest_first)
    found: dict[str, dict[Word, None]] = {}
    for hint in hinted:
        # A shorter hint at the same word is hidden by the longer one: it hints all the same.
        inside = [other for other in hinted if hint == other or hint.startswith(f"{other} ")]
        for form in _forms(hint):
            for other in inside:
                found.setdefault(form, {}).update(dict.fromkeys(hinted[other]))
    forms = {form: tuple(hazards) for form, hazards in found.items()}
    return _Hints(re.compile(rf"(?<!\w)(?=({spelt})(?!\w))"), forms)


def _tidy(text: str) -> str:
    return " ".join(re.split(r"[\s-]+", text.strip()))


def _forms(hint: str) -> tuple[str, ...]:
    """Return a hint in the singular and in its simple plurals."""
    plurals = [f"{hint}s", f"{hint}es"]
    if hint.endswith("y"):
        plurals.append(f"{hint[:-1]}ies")
    return (hint, *plurals)


def _spelt(hint: str) -> str:
    """Return a pattern for a hint: its words joined by spaces or hyphens, perhaps in the plural."""
    words = r"[\s-]+".join(re.escape(word) for word in hint.split())
    return f"{words[:-1]}(?:y|ys|ies)" if hint.endswith("y") else f"{words}(?:s|es)?"
