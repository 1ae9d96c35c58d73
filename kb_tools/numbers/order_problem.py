"""What the search for the best order of checks is given, and what it gives back.

An order of checks is a tree of nested mappings, ready for JSON: an inner node is
`{"check": id, "answers": {answer: order}}`, a leaf is `{"causes": [id]}`. Only answers that some
cause left can show stand in it.

What an order costs: the sum over the causes of the cause's chance times the minutes of the checks
on its way (K. R. Pattipati and M. G. Alexandridis, IEEE Trans. SMC 20(4):872-887, 1990). A way ends
when one cause is left or no check that was not done yet splits those that are left. A cause that
may show several answers to a check shows each of them equally likely.

What isolation costs: the first check that exposes a hazard opens a *stay* and carries the minutes
of isolating and of putting back. The stay lasts until a check that needs the hazard's power, or
until the checks end, so checks in between that expose the same hazard carry nothing more. The
putting back of the last stay is counted too, although the person does it after the mending.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeAlias, TypedDict, final

if TYPE_CHECKING:
    from collections.abc import Iterable


@final
class Split(TypedDict):
    """A check and the order that follows each of its answers."""

    check: str
    answers: dict[str, Order]


@final
class Group(TypedDict):
    """The causes that are left when nothing more can be told apart, best fix first."""

    causes: list[str]


Order: TypeAlias = Split | Group


@dataclass(frozen=True, slots=True)
class Hazard:
    """A hazard that some check exposes."""

    id: str
    minutes: float
    """Minutes of one stay: isolating and putting back."""


@dataclass(frozen=True, slots=True)
class Check:
    """A check that could be made."""

    id: str
    minutes: float
    """Minutes hands on, without any isolation."""
    answers: tuple[str, ...]
    exposes: frozenset[str] = frozenset()
    """Hazards that must be isolated before it."""
    needs: frozenset[str] = frozenset()
    """Hazards whose power it needs or that it works live: they must not be isolated."""


@dataclass(frozen=True, slots=True)
class Problem:
    """Causes, checks, and what each cause makes each check show.

    Raises ValueError when the parts do not fit together.
    """

    causes: tuple[str, ...]
    weights: tuple[float, ...]
    """One for each cause, not negative; kept normalised to a sum of 1. All zero means all equal."""
    checks: tuple[Check, ...]
    shows: tuple[tuple[int, ...], ...]
    """`shows[i][j]`: the answers of check j that cause i may show, bit a for answer a; never 0."""
    hazards: tuple[Hazard, ...] = ()
    fix_minutes: tuple[float, ...] = field(default=())
    """Minutes of mending each cause; left out, all alike. Only the order inside a group uses it."""

    def __post_init__(self) -> None:
        """Refuse what does not fit together; normalise the weights."""
        self._check_lengths()
        self._check_numbers()
        self._check_names()
        for cause, row in zip(self.causes, self.shows, strict=True):
            for check, mask in zip(self.checks, row, strict=True):
                if not 0 < mask < 1 << len(check.answers):
                    raise ValueError(f"cause {cause}: no answer, or one that does not exist, to check {check.id}")
        total = math.fsum(self.weights)
        even = 1 / len(self.causes)
        normal = tuple(weight / total if total > 0 else even for weight in self.weights)
        object.__setattr__(self, "weights", normal)
        if not self.fix_minutes:
            object.__setattr__(self, "fix_minutes", (1.0,) * len(self.causes))

    def _check_lengths(self) -> None:
        if not self.causes:
            raise ValueError("a table needs a cause")
        lengths = {len(self.causes), len(self.weights), len(self.shows)}
        if self.fix_minutes:
            lengths.add(len(self.fix_minutes))
        if len(lengths) > 1 or any(len(row) != len(self.checks) for row in self.shows):
            raise ValueError("causes, weights, minutes of fixes and rows must be equally many")

    def _check_numbers(self) -> None:
        minutes = [check.minutes for check in self.checks]
        minutes += [hazard.minutes for hazard in self.hazards]
        for number in (*self.weights, *self.fix_minutes, *minutes):
            if not (math.isfinite(number) and number >= 0):
                raise ValueError(f"{number} is no weight and no number of minutes")

    def _check_names(self) -> None:
        _refuse_repeated("cause", self.causes)
        _refuse_repeated("check", (check.id for check in self.checks))
        _refuse_repeated("hazard", (hazard.id for hazard in self.hazards))
        known = {hazard.id for hazard in self.hazards}
        for check in self.checks:
            _refuse_repeated(f"answer of {check.id}", check.answers)
            if unknown := sorted(check.exposes - known):
                raise ValueError(f"check {check.id} exposes the unknown hazard {unknown[0]}")
            if both := sorted(check.exposes & check.needs):
                raise ValueError(f"check {check.id} both exposes {both[0]} and needs its power")


def _refuse_repeated(kind: str, names: Iterable[str]) -> None:
    for name, times in Counter(names).items():
        if times > 1:
            raise ValueError(f"{kind} {name} stands there {times} times")


@dataclass(frozen=True, slots=True)
class Result:
    """The order found, and how good it is proven to be."""

    order: Order
    expected_minutes: float
    """Minutes of checks that the order takes on average."""
    lower_bound: float
    """No order takes fewer minutes on average; equal to `expected_minutes` when exact."""
    exact: bool
    """Whether the order is proven to be a best one."""
    groups: tuple[tuple[str, ...], ...]
    """Causes of which no check is sure to tell any two apart, two or more each, best fix first."""

    @property
    def gap(self) -> float:
        """How far from the bound, as a share of `expected_minutes`; 0 when exact."""
        if self.exact or self.expected_minutes <= 0:
            return 0.0
        return 1 - self.lower_bound / self.expected_minutes


@dataclass(frozen=True, slots=True)
class Progress:
    """Where a long search stands; handed to the caller's callback about twice a second."""

    seconds: float
    expected_minutes: float
    """Minutes of the best order so far."""
    lower_bound: float
    states: int
    """Situations looked at so far."""
