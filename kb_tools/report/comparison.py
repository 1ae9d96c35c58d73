"""What changed between two editions, as text and as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rich.text import Text

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.author.compare import Comparison


def comparison_json(found: Comparison) -> dict[str, Any]:
    """Return a comparison of two editions as JSON values."""
    return {
        "changes": [
            {
                "kind": str(change.kind),
                "grave": change.grave,
                "tree": change.tree,
                "step": change.step,
                "text": change.text,
            }
            for change in found.changes
        ],
        "figures": [
            {
                "tree": figures.tree,
                "expected_minutes": list(figures.minutes),
                "worst_minutes": list(figures.worst),
                "odds": {cause: list(pair) for cause, pair in figures.odds.items()},
            }
            for figures in found.figures
        ],
    }


def comparison_text(found: Comparison) -> Iterator[Text]:
    """Yield a comparison of two editions as lines for a terminal, grave changes first."""
    if not found.changes and not found.figures:
        yield Text("Nothing changed", "green")
    for change in found.changes:
        place = f"{change.tree}/{change.step}" if change.step else change.tree
        yield Text(f"{change.kind}  ", "bold red" if change.grave else "cyan").append(place, "bold")
        yield Text(f"  {change.text}")
    for figures in found.figures:
        yield Text("figures  ", "cyan").append(figures.tree, "bold")
        expected, worst = (_both(*(f"{one:.0f} min" for one in pair)) for pair in (figures.minutes, figures.worst))
        yield Text(f"  expected {expected}; at worst {worst}")
        for cause, pair in figures.odds.items():
            yield Text(f"  {cause}: {_both(*(f'{odds:.0%}' for odds in pair))}")


def _both(before: str, after: str) -> str:
    """Return a figure as it was and as it is; once where that prints alike."""
    return f"{before} as before" if before == after else f"{before}, now {after}"
