"""Ids that changed: which present id an old one means, and which id a present one had first.

A walk code is bound to the ids of its trees as they were first called, so that a new id breaks no
code. Stored walks, records and addresses name the ids of their day, which are looked up here.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.model.entities import Library


class Moves:
    """The changes of ids of a library, in the order in which they were made."""

    def __init__(self, library: Library) -> None:
        """Take the list of trees/shared/moved.yml."""
        self._trees = library.trees
        self._changes = [(str(one.was).partition("/"), str(one.now).partition("/")) for one in library.moved]

    def now(self, tree: str, step: str = "") -> tuple[str, str]:
        """Return the present ids of a tree and step that are named as of old; what never moved stays.

        An id that there is again means what bears it today.
        """
        known = self._trees.get(tree)
        if known is not None and (not step or step in known.steps):
            return tree, step
        for (was_tree, slash, was_step), (now_tree, _, now_step) in self._changes:
            if not slash and was_tree == tree:
                tree = now_tree
            elif slash and (was_tree, was_step) == (tree, step):
                tree, step = now_tree, now_step
        return tree, step

    def first(self, tree: str, step: str = "") -> tuple[str, str]:
        """Return the ids that a present tree and step had when they were new."""
        for (was_tree, slash, was_step), (now_tree, _, now_step) in reversed(self._changes):
            if not slash and now_tree == tree:
                tree = was_tree
            elif slash and (now_tree, now_step) == (tree, step):
                tree, step = was_tree, was_step
        return tree, step

    def old_trees(self) -> dict[str, str]:
        """Return each tree id that no tree bears any more -> the tree that it means."""
        named = {part for was, now in self._changes for part in (was[0], now[0])}
        found = {name: self.now(name)[0] for name in sorted(named - set(self._trees))}
        return {old: now for old, now in found.items() if now in self._trees}

    def old_steps(self, tree: str) -> dict[str, list[str]]:
        """Return each step of a tree that had other ids -> those, as far as no step bears them today."""
        steps = self._trees[tree].steps
        found: dict[str, list[str]] = {}
        for name in sorted({part[2] for change in self._changes for part in change if part[2]} - set(map(str, steps))):
            for old_tree in self._names_of(tree):
                now_tree, now_step = self.now(old_tree, name)
                if now_tree == tree and now_step in steps:
                    found.setdefault(now_step, []).append(name)
                    break
        return found

    def _names_of(self, tree: str) -> Iterator[str]:
        yield tree
        yield from (old for old, now in self.old_trees().items() if now == tree)

    def table(self) -> dict[str, str]:
        """Return what a walk needs to read old ids: `tree` or `tree/step` as of old -> as of today.

        A step that only its tree's name changed for is not listed: the tree is.
        """
        found: dict[str, str] = dict(self.old_trees())
        for tree in self._trees:
            for step, names in self.old_steps(tree).items():
                found |= {f"{known}/{name}": f"{tree}/{step}" for known in self._names_of(tree) for name in names}
        return dict(sorted(found.items()))

    def dead(self) -> Iterator[int]:
        """Yield which entries of the list, from 0, lead to nothing that there is today."""
        for number, (was, _) in enumerate(self._changes):
            tree, step = self.now(was[0], was[2])
            if tree not in self._trees or (step and step not in self._trees[tree].steps):
                yield number
