"""All figures of a tree in the shape that `kb numbers --format json` prints."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from kb_tools.numbers.learned import tree_shares
from kb_tools.numbers.odds import causes_at, tree_numbers_with_links
from kb_tools.numbers.shares import prior_strength
from kb_tools.numbers.visit import take_along

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from kb_tools.model.entities import Library
    from kb_tools.model.graph import Node, StepGraph
    from kb_tools.numbers.odds import StepNumbers, TreeNumbers
    from kb_tools.numbers.visit import Packing


def tree_figures(
    graph: StepGraph, library: Library, tree_id: str, shares: Mapping[str, float] | None = None
) -> dict[str, Any]:
    """Return the figures of a tree.

    Args:
        graph: The library's graph.
        library: The library.
        tree_id: Which tree.
        shares: Cause -> weight, in place of the shares written in the tree.

    Returns:
        Minutes hands on; chances and odds from 0 to 1; causes likeliest first; `take_along` with
        the chance that an item is needed, and that the visit ends cured with it and those before;
        where visit records were counted, `field`: how many found a cause, how many the author's word
        weighs as much as, and each cause's share with its 90 % interval.

    Raises:
        LibraryError: when the tree has no start, or runs in a loop.

    """
    numbers = tree_numbers_with_links(graph, library, tree_id, shares)
    own = numbers[tree_id]
    packing = take_along(graph, numbers, [tree_id])
    counted = tree_shares(library, library.trees[tree_id])
    field = {
        "records": sum(one.found for one in counted),
        "prior_strength": prior_strength(library),
        "shares": [asdict(one) for one in counted],
    }
    return {
        "tree": tree_id,
        "expected_minutes": own.ahead.minutes,
        "worst_minutes": own.ahead.worst,
        "expected_checks": own.ahead.checks,
        "escalation_chance": own.ahead.escalation,
        "steps": {name: _step(graph.nodes[f"{tree_id}/{name}"], step) for name, step in own.steps.items()},
        "causes": causes_at(graph, own, own.start),
        "take_along": _taken(packing),
        **({"field": field} if counted else {}),
    }


def day_figures(graph: StepGraph, numbers: Mapping[str, TreeNumbers], symptoms: Sequence[str]) -> dict[str, Any]:
    """Return what to take along to independent visits, one for each symptom, as `kb numbers --format json` prints it.

    Args:
        graph: The library's graph.
        numbers: Tree -> its numbers, of each symptom's tree and of all that links lead to from it.
        symptoms: A tree's id for each visit.

    """
    packing = take_along(graph, numbers, symptoms)
    return {
        "trees": list(symptoms),
        "take_along": _taken(packing),
        "smallest": [item.id for item in packing.smallest],
        "cured_with_smallest": packing.cured_with_smallest,
        "reaches_90_percent": packing.is_enough,
    }


def _taken(packing: Packing) -> list[dict[str, Any]]:
    return [
        {"item": one.item.id, "chance": one.chance, "cured_with_first": one.cured_with_first} for one in packing.items
    ]


def _step(node: Node, numbers: StepNumbers) -> dict[str, Any]:
    answers = {way.label: odds for way, odds in zip(node.ways, numbers.odds, strict=True)}
    if node.step.kind == "fix":
        answers = {"cured": numbers.cured} | answers
    return {"reach": numbers.reach, "answers": answers, "minutes_left": numbers.ahead.minutes}
