"""Which trees hang together: nothing of a tree depends on trees that it is not linked with.

Links carry minutes, odds and what is isolated from tree to tree, so that an edit of one tree may
change any tree of its group, in either direction, and none beyond it.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from kb_tools.model.entities import Tree


def names_in(tree: Tree) -> frozenset[str]:
    """Return the ids of the other trees that a tree names, in links and cases, known or not."""
    named = {str(step.link).partition("/")[0] for step in tree.steps.values() if step.link}
    for case in tree.cases:
        for key in (*case.given, case.ends_at or ""):
            other, slash, _ = str(key).partition("/")
            if slash:
                named.add(other)
    return frozenset(named - {tree.id})


class Groups:
    """The groups of trees that hang together, kept up with edits."""

    def __init__(self) -> None:
        """Know no tree yet."""
        self._names: dict[str, frozenset[str]] = {}
        self._named_by: dict[str, set[str]] = defaultdict(set)
        self._group: dict[str, tuple[str, ...]] = {}

    def update(self, changed: Iterable[str], trees: Mapping[str, Tree]) -> list[tuple[str, ...]]:
        """Follow an edit.

        Args:
            changed: Ids of trees that are new, gone or other than they were.
            trees: All trees as they are now.

        Returns:
            The groups that the edit may have changed, each in the order of `trees`.

        """
        touched = set(changed)
        touched |= {member for name in touched for member in self._group.get(name, ())}
        for name in changed:
            for other in self._names.pop(name, ()):
                self._named_by[other].discard(name)
            if name in trees:
                self._names[name] = names_in(trees[name])
                for other in self._names[name]:
                    self._named_by[other].add(name)
        place = {name: at for at, name in enumerate(trees)}
        groups: list[tuple[str, ...]] = []
        seen: set[str] = set()
        for name in sorted(touched, key=lambda one: place.get(one, -1)):
            self._group.pop(name, None)
            if name not in seen:
                together = self._reach(name, seen)
                group = tuple(sorted((one for one in together if one in trees), key=place.__getitem__))
                groups += [group] if group else []
        for group in groups:
            self._group.update(dict.fromkeys(group, group))
        return groups

    def _reach(self, start: str, seen: set[str]) -> list[str]:
        """Return all ids that hang together with one, ids of no tree included, and note them as seen."""
        found = [start]
        seen.add(start)
        for name in found:
            for other in (*self._names.get(name, ()), *self._named_by.get(name, ())):
                if other not in seen:
                    seen.add(other)
                    found.append(other)
        return found
