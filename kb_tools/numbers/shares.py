"""Where the share of a cause comes from: the tree's author, and the visit records that were counted.

With q the author's normalised share of a cause, m the prior strength in records and n how often
records found it, its weight is m q + n: the parameter of a Dirichlet posterior, whose mean
(m q + n) / (m + N) is the share. `records.share_interval` adds the ranges; the sources stand there.
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from kb_tools.model.entities import CAUSES

if TYPE_CHECKING:
    from collections.abc import Mapping

    from kb_tools.model.entities import Library, Tree, TreeCounts

PRIOR_STRENGTH = 20.0
"""How many visit records the author's shares weigh as much as, unless library.yml says otherwise."""


def author_weights(tree: Tree) -> dict[str, Fraction]:
    """Return the weight that a tree's author gave each cause, in the order written; all 1 where none has a share."""
    steps = {str(name): step for name, step in tree.steps.items() if step.kind in CAUSES}
    if all(step.share is None for step in steps.values()):
        return dict.fromkeys(steps, Fraction(1))
    return {name: Fraction(step.share or 0) for name, step in steps.items()}


def prior_strength(library: Library) -> float:
    """Return how many visit records the shares of the authors weigh as much as."""
    settings = library.settings
    return float(settings.prior_strength) if settings and settings.prior_strength else PRIOR_STRENGTH


def counts_of(library: Library, tree_id: str) -> TreeCounts | None:
    """Return what was counted of a tree; None where nothing was."""
    trees: Mapping[str, TreeCounts] = {} if library.counts is None else library.counts.trees or {}  # type: ignore[assignment]
    return trees.get(tree_id)


def found_causes(library: Library, tree: Tree) -> dict[str, int]:
    """Return in how many records each cause of a tree was found, in the order written; empty where in none."""
    counts = counts_of(library, tree.id)
    found: Mapping[str, int] = (counts.causes or {}) if counts else {}  # type: ignore[assignment]
    return {name: found.get(name, 0) for name in author_weights(tree)} if any(found.values()) else {}


def prior_shares(tree: Tree) -> dict[str, Fraction]:
    """Return the author's shares of a tree, normalised; all alike where all are 0."""
    weights = author_weights(tree)
    if not any(weights.values()):
        weights = dict.fromkeys(weights, Fraction(1))
    total = sum(weights.values())
    return {name: weight / total for name, weight in weights.items()}


def weights_of(tree: Tree, library: Library) -> dict[str, Fraction]:
    """Return the weights of a tree's causes: the author's, or where records were counted the posterior's parameters."""
    found = found_causes(library, tree)
    if not found:
        return author_weights(tree)
    strength = Fraction(prior_strength(library))
    return {name: strength * share + found[name] for name, share in prior_shares(tree).items()}
