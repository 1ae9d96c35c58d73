"""Where a finding about a step is shown, when part of the step stands in a shared file."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.findings import Place
    from kb_tools.model.entities import Library, Step
    from kb_tools.model.graph import Node
    from kb_tools.model.values import Word

Notes = tuple[tuple["Place", str], ...]


def seen_from(node: Node, word: Word, note: str) -> tuple[Place, Notes]:
    """Return where to report what `word` says of a step, and notes that lead to the rest.

    A word in the tree's own file is the place itself. One in a shared file becomes a note with
    the text `note`, and the step in the tree is the place: the path that is wrong is there.
    """
    if word.file == node.tree.file:
        return word.place, ()
    return node.step.place, ((word.place, note),)


def bodies(library: Library) -> Iterator[Step]:
    """Yield every step of every tree, then every shared body; those in doubt are left out.

    A step that uses a shared body holds the very words of it, so that a finding placed at such a
    word, with a message that does not name the step, comes out once however often it is used.
    """
    for tree in library.trees.values():
        for step in tree.steps.values():
            if step.kind and not step.in_doubt:
                yield step
    for shelf in (library.checks, library.fixes):
        yield from shelf.values()
