"""What visit records teach, as text and as JSON, and what there is to tell of counting them."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date
from typing import TYPE_CHECKING, Any

from rich.text import Text

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.author.learn import Learned
    from kb_tools.numbers.learned import Lessons
    from kb_tools.pages.learned_page import LearnedPage

_ASIDE = {
    "other-library": "records of another library set aside",
    "unknown-tree": "visits to trees that are no longer there set aside",
    "unknown-answers": "answers that this edition does not have set aside",
}


def told(learned: Learned) -> Iterator[str]:
    """Yield what to tell of counting: bad records first, then the sums."""
    bad, tally = learned.bad, learned.tally
    yield from bad.named
    if bad.number > len(bad.named):
        yield f"and {bad.number - len(bad.named):,} more bad records"
    yield f"{learned.fresh:,} {'record' if learned.fresh == 1 else 'records'} counted" + (
        f", {tally.records:,} in all with what was counted before" if tally.records != learned.fresh else ""
    )
    if bad.number:
        yield f"{bad.number:,} bad {'record' if bad.number == 1 else 'records'} passed over"
    if tally.doubles:
        yield f"{tally.doubles:,} {'double' if tally.doubles == 1 else 'doubles'} passed over"
    for name, words in _ASIDE.items():
        if tally.set_aside[name]:
            yield f"{tally.set_aside[name]:,} {words}"
    if not learned.knows_doubles and learned.parts + bool(learned.fresh) > 1:
        yield "Counts were added up: a record that stands in two of them counts twice, which only --seen can tell"
    if tally.searches:
        yield f"{len(tally.searches):,} searched words are among the counts: strike out any that names a person"


def as_text(page: LearnedPage) -> Iterator[Text]:
    """Yield what the counts teach as lines for a terminal."""
    yield from (Text(line) for line in page.summary)
    for lesson in page.lessons:
        yield Text(f"\n{lesson.title}", "bold")
        if not lesson.lines:
            yield Text(f"  {lesson.none}", "dim")
            continue
        yield Text(f"  {lesson.lead}", "dim")
        for line in lesson.lines:
            yield Text("  ").append(line.text).append(f": {line.note}", "cyan")
        if lesson.more:
            yield Text(f"  and {lesson.more:,} more; --format json lists all", "dim")


def as_json(taught: Lessons) -> dict[str, Any]:
    """Return what the counts teach: dates as text, minutes, chances from 0 to 1, every list whole."""
    plain: dict[str, Any] = _plain(asdict(taught))
    for fix, one in zip(plain["fixes"], taught.fixes, strict=True):
        fix["is_surprising"] = one.is_surprising
    return plain


def _plain(value: Any) -> Any:  # noqa: ANN401 - JSON
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_plain(inner) for inner in value]
    return value.isoformat() if isinstance(value, date) else value
