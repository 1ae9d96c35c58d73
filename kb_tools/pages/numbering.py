"""The number that each step bears on its page, in the walk and on paper.

Numbers follow the flow: every way within a tree leads to a greater number, so that "go to step 12"
never sends a reader back, and the first answer's branch comes right after its question.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.model.entities import Step, Tree


def step_numbers(tree: Tree) -> dict[str, int]:
    """Return the steps of `tree` by id with their numbers, from 1, in the order of the numbers.

    The order is a reverse postorder of a depth-first walk from the start that takes the ways in
    reverse: a topological order where there is no loop. Steps that the start does not reach come
    last, in the order written.
    """
    order: list[str] = []
    seen: set[str] = set()
    steps: dict[str, Step] = dict(tree.steps.items())
    for root in (tree.start, *reversed(tree.steps)):
        if root is None or root in seen or root not in tree.steps:
            continue
        order_of_root = _postorder(root, steps, seen)
        # What is not reached from the start is written behind, so its postorder goes in front.
        order = order_of_root if root == tree.start else [*order_of_root, *order]
    return {name: number for number, name in enumerate(reversed(order), 1)}


def _postorder(root: str, steps: dict[str, Step], seen: set[str]) -> list[str]:
    """Return the steps reached from `root` that are not yet `seen`, each after all it leads to."""
    order: list[str] = []
    seen.add(root)
    stack = [(root, _targets_reversed(steps[root], steps))]
    while stack:
        name, targets = stack[-1]
        following = next((target for target in targets if target not in seen), None)
        if following is None:
            stack.pop()
            order.append(name)
        else:
            seen.add(following)
            stack.append((following, _targets_reversed(steps[following], steps)))
    return order


def _targets_reversed(step: Step, steps: dict[str, Step]) -> Iterator[str]:
    """Yield the steps of the same tree that `step` leads to, the last way first."""
    named = [
        *(answer.to for answer in step.answers or ()),
        *(band.to for band in step.bands or ()),
        step.then,
        step.cannot,
        step.not_cured,
    ]
    return (name for name in reversed(named) if name is not None and name in steps)
