"""The page of today's visits: what to take along for each symptom, and the data with which the browser adds them up."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kb_tools.pages.numbers_view import item_name, pack_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kb_tools.model.entities import Library, Tree
    from kb_tools.numbers.visit import Visits

VISITS = "kb/visits.js"
_DIGITS = 9


@dataclass(frozen=True, slots=True)
class SymptomView:
    """A symptom on the page."""

    tree: str
    title: str
    href: str
    pack: list[str]
    """What to take along, in sentences."""


@dataclass(frozen=True, slots=True)
class VisitsPage:
    """What the page shows where no script runs; the list of the day is the browser's."""

    symptoms: list[SymptomView]


def visits_page(library: Library, trees: Sequence[Tree], visits: Visits) -> VisitsPage:
    """Return what the page of today's visits shows.

    Args:
        library: A sound library.
        trees: The trees that have pages.
        visits: What visits to them need.

    """
    return VisitsPage(
        [
            SymptomView(
                tree.id,
                tree.title,
                f"trees/{tree.id}.html",
                pack_words(library, visits.packing([tree.id]), 1),
            )
            for tree in trees
        ]
    )


def visits_script(library: Library, trees: Sequence[Tree], visits: Visits) -> str:
    """Return the script that hands the browser what each symptom needs; see `take.js`.

    Items are numbered spares first, each kind by id: the order in which items that are needed equally
    often stand.
    """
    each = {tree.id: visits.to(tree.id) for tree in trees}
    used = {item for visit in each.values() for item in visit.needs}
    items = sorted(used, key=lambda item: (item.is_tool, item.id))
    place = {item: at for at, item in enumerate(items)}
    data = {
        "items": [[item.id, item_name(library, item)] for item in items],
        "trees": {
            tree: {
                "needs": [[place[item], _figure(chance)] for item, chance in visit.needs.items()],
                "cures": [[_figure(chance), sorted(place[item] for item in sets)] for chance, sets in visit.cures],
                "least": visit.at_least,
            }
            for tree, visit in each.items()
        },
    }
    text = json.dumps(data, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)
    text = text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")
    return f"window.faultTrees.data.visits = {text};\n"


def _figure(value: float) -> float:
    return float(f"{value:.{_DIGITS}g}")
