"""A tree was read through not too long ago.

Cables, lamps and software change, and a tree that nobody has read since sends people the wrong
way. `reviewed` is the day when somebody last read the tree through; it holds for `review_every`,
365 days where that is left out. Then this warning comes. A day that is still to come is a slip of
the pen and an error.

`kb check --today 2027-03-01` judges by another day than today, to see what falls due by then.

To mend it, read the tree through as a technician would, mend what is wrong, and set `reviewed`.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity
from kb_tools.model.entities import DEFAULT_REVIEW_DAYS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.rules.contract import Subject

ID = "review-current"
SEVERITY = Severity.WARNING
SUMMARY = "A tree was read through not too long ago, and not in the future."


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each tree whose review is out of date or still to come."""
    today = subject.today
    for tree in subject.library.trees.values():
        if tree.reviewed is None:
            continue
        reviewed = tree.reviewed.date
        holds = tree.review_every.days if tree.review_every else DEFAULT_REVIEW_DAYS
        age = (today - reviewed).days
        if age < 0:
            yield Finding(
                tree.reviewed.word.place,
                ID,
                Severity.ERROR,
                f"The review of {reviewed} is still to come; today is {today}",
                "Write the day when the tree was read through",
            )
        elif age > holds:
            due = reviewed + timedelta(days=holds)
            yield Finding(
                tree.reviewed.word.place,
                ID,
                SEVERITY,
                f"The last review, of {reviewed}, held for {holds} days, until {due}",
                "Read the tree through, mend what is wrong, and set `reviewed`",
            )
