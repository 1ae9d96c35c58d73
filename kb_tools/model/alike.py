"""Steps of different trees that are worded almost alike: a shared body would keep them alike.

Texts are compared by the sets of their character trigrams (Jaccard's coefficient). Which pairs are
worth comparing is found by minhashing and banding: A. Broder, "On the resemblance and containment of
documents", 1997; P. Indyk and R. Motwani, "Approximate nearest neighbors", STOC 1998. The hash functions
are fixed, so that the same library gives the same hints. A pair that is exactly as alike as `LEAST` is
found with a chance above 99 %. The time is linear in the number of steps.
"""

from __future__ import annotations

import hashlib
import re
from collections import defaultdict
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.findings import Place
    from kb_tools.model.entities import Library

LEAST = 0.75
"""Texts whose trigrams overlap less are not alike."""
KINDS = ("check", "measure", "fix")
"""Kinds of step whose body can be shared."""
FEWEST_LETTERS = 10
"""Shorter texts say too little to be told alike."""
_HASHES, _ROWS = 64, 4
_NEIGHBOURS = 12
"""With so many of those that fell into the same band before it a text is compared."""
_OPPOSITES = (
    frozenset({"left", "right"}),
    frozenset({"front", "rear", "back"}),
    frozenset({"upper", "lower", "top", "bottom"}),
    frozenset({"on", "off"}),
    frozenset({"in", "out"}),
    frozenset({"forward", "forwards", "backward", "backwards"}),
    frozenset({"warm", "cold", "hot"}),
    frozenset({"positive", "negative"}),
)
"""Words that make two texts different things, however alike the rest is."""


@dataclass(frozen=True, slots=True)
class Member:
    """A step, or a shared body, that is worded like others."""

    tree: str
    """The tree; empty for a shared body."""
    step: str
    """The step, or the id of the shared body."""
    text: str
    place: Place


@dataclass(frozen=True, slots=True)
class Alike:
    """Steps that are worded almost alike."""

    kind: str
    members: tuple[Member, ...]

    @property
    def shared(self) -> str:
        """The id of the shared body among them, or an empty text."""
        return next((one.step for one in self.members if not one.tree), "")


def alike(library: Library) -> list[Alike]:
    """Return the groups of steps of at least two trees, or of a tree and a shared body, that are worded alike.

    Steps that use a shared body already are left out. The largest groups come first.
    """
    texts: dict[tuple[str, str], list[Member]] = defaultdict(list)
    for kind, member in _members(library):
        words = " ".join(re.findall(r"\w+", member.text.casefold()))
        if len(words) >= FEWEST_LETTERS:
            texts[kind, words].append(member)
    keys = list(texts)
    leader = list(range(len(keys)))

    def lead(at: int) -> int:
        while leader[at] != at:
            leader[at] = leader[leader[at]]
            at = leader[at]
        return at

    for one, other in _pairs(keys):
        first, second = sorted((lead(one), lead(other)))
        leader[second] = first
    groups: dict[int, list[Member]] = defaultdict(list)
    for at, key in enumerate(keys):
        groups[lead(at)] += texts[key]
    found = [
        Alike(keys[at][0], tuple(members)) for at, members in groups.items() if len({one.tree for one in members}) > 1
    ]
    return sorted(found, key=lambda group: (-len(group.members), group.kind, group.members[0].text))


def _members(library: Library) -> Iterator[tuple[str, Member]]:
    for tree, name, step in library.steps():
        if step.kind in KINDS and not step.use and step.text:
            yield step.kind, Member(tree.id, str(name), str(step.text), step.place)
    for shelf in (library.checks, library.fixes):
        for name, body in shelf.items():
            if body.kind in KINDS and body.text:
                yield body.kind, Member("", str(name), str(body.text), body.place)


def _pairs(keys: list[tuple[str, str]]) -> Iterator[tuple[int, int]]:
    """Yield pairs of texts, by their places, that are alike and not the same thing said of another part."""
    bands: dict[tuple[object, ...], list[int]] = defaultdict(list)
    for at, (kind, words) in enumerate(keys):
        marks, two = _marks(kind, words), _trigrams(words)
        seen: set[int] = set()
        for number, band in enumerate(_bands(words)):
            bucket = bands[number, band, marks]
            for other in bucket[:_NEIGHBOURS]:
                if other in seen:
                    continue
                seen.add(other)
                one = _trigrams(keys[other][1])
                both = len(one & two)
                if both >= LEAST * (len(one) + len(two) - both):
                    yield other, at
            bucket.append(at)


@lru_cache(maxsize=100_000)
def _trigrams(words: str) -> frozenset[int]:
    spaced = f" {words} "
    return frozenset(_hash(spaced[at : at + 3]) for at in range(len(spaced) - 2))


@cache
def _hash(trigram: str) -> int:
    return int.from_bytes(hashlib.blake2b(trigram.encode("utf-8"), digest_size=8).digest(), "big")


def _marks(kind: str, words: str) -> tuple[object, ...]:
    """Return what must be the same in two texts: the kind of step, all numbers, and words that have an opposite."""
    each = words.split()
    told = [word for word in each if any(char.isdigit() for char in word) or any(word in two for two in _OPPOSITES)]
    return (kind, *told)


@lru_cache(maxsize=100_000)
def _bands(words: str) -> tuple[bytes, ...]:
    """Return the least hash of a text's trigrams under each of the hash functions, some at a time."""
    trigrams = _trigrams(words)
    mixed = (np.fromiter(trigrams, np.uint64, len(trigrams)) ^ _MASKS) * _FACTORS
    least = (mixed ^ (mixed >> np.uint64(32))).min(axis=1)
    return tuple(least[at : at + _ROWS].tobytes() for at in range(0, _HASHES, _ROWS))


_chance = np.random.default_rng(20261120)
_MASKS = _chance.integers(1, 1 << 63, (_HASHES, 1), dtype=np.uint64)
_FACTORS = _chance.integers(1, 1 << 63, (_HASHES, 1), dtype=np.uint64) | np.uint64(1)
