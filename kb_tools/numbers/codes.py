"""Huffman codes and entropy: what it takes at least to name one of several by asking."""

from __future__ import annotations

import math
from heapq import heapify, heappop, heappush, heapreplace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable


def huffman(weights: Iterable[float], ways: int = 2) -> float:
    """Least weighted path length of a tree with these leaf weights and `ways` branches a node.

    For ways > 2 leaves of weight 0 are added until the last merge is full (T. Cover and J. Thomas,
    Elements of Information Theory, 5.6).
    """
    heap = list(weights)
    if ways > 2:  # noqa: PLR2004 - a binary code needs no filling up
        heap += [0.0] * ((1 - len(heap)) % (ways - 1))
    heapify(heap)
    total = 0.0
    if ways == 2:  # noqa: PLR2004
        while len(heap) > 1:
            merged = heappop(heap) + heap[0]
            heapreplace(heap, merged)
            total += merged
        return total
    while len(heap) > 1:
        merged = math.fsum(heappop(heap) for _ in range(ways))
        heappush(heap, merged)
        total += merged
    return total


def entropy(weights: Iterable[float]) -> float:
    """Bits times weight that it takes to name one of several: W log2 W - sum of w log2 w.

    With weights that sum to 1 this is Shannon's entropy.
    """
    positive = [weight for weight in weights if weight > 0]
    total = math.fsum(positive)
    if not positive:
        return 0.0
    return max(0.0, total * math.log2(total) - math.fsum(w * math.log2(w) for w in positive))
