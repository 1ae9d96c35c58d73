"""The bench of the best order of checks: sizes, times and ratios on random tables. It gates nothing.

The generator: every cause shows a check's first answer with chance 1 - density and else one of the
others, equally likely; a share of the cells is left out (any answer). Weights are uniform in
[0.05, 1.05], minutes all 1 or whole numbers from 1 to 10; a wide table has minutes from 0.1 to 100 and
weights over four orders of magnitude, both log-uniform. No two causes have the same row. Each hazard
takes 2 to 12 minutes of isolating and putting back; a share of the checks expose it, and a share of the
others need its power. All from Python's Mersenne Twister with the seed printed, so that each line can be
run again. Tables of 20 x 20 with 20 to 60 % of the cells left out take a minute or two together, at
density 0.5 and seed 1; the spread of 70 tables of 20 x 20, to 90 % left out and with up to three hazards,
takes half an hour or more and, for the largest, several GB:

    python bench/order.py                    # all lines
    python bench/order.py --spread           # the spread
    python bench/order.py 60 60 0.5 --seed 3 # one table
"""

from __future__ import annotations

import argparse
import time
from random import Random
from typing import NamedTuple

from rich.console import Console
from rich.table import Table

from kb_tools.numbers.best_order import best_order
from kb_tools.numbers.order_greedy import Plan
from kb_tools.numbers.order_problem import Check, Hazard, Problem
from kb_tools.numbers.order_states import States


class Size(NamedTuple):
    """What a random table is like."""

    causes: int
    checks: int
    density: float
    unlike: bool = True
    """Minutes from 1 to 10, instead of 1 each."""
    answers: int = 2
    left_out: float = 0.0
    seed: int = 1
    hazards: int = 0
    exposing: float = 0.34
    needing: float = 0.15
    wide: bool = False


LINES = (
    *(Size(20, 20, density, unlike) for unlike in (False, True) for density in (0.5, 0.2, 0.1)),
    Size(20, 20, 0.5, answers=4),
    *(
        Size(20, 20, 0.5, unlike, answers, share)
        for share in (0.2, 0.3, 0.4, 0.5, 0.6)
        for answers, unlike in ((2, False), (2, True), (3, True))
    ),
    Size(20, 20, 0.2, left_out=0.1),
    *(Size(20, 20, 0.5, left_out=share, hazards=hazards) for share in (0.0, 0.3, 0.5) for hazards in (1, 3)),
    *(Size(40, 40, 0.5, unlike, seed=seed) for unlike in (False, True) for seed in (1, 2, 3)),
    *(Size(60, 60, 0.5, unlike, seed=seed) for unlike in (False, True) for seed in (1, 2, 3)),
    Size(60, 60, 0.5, answers=3),
    *(Size(size, size, density, unlike) for size in (40, 60) for unlike in (False, True) for density in (0.2, 0.1)),
    *(Size(500, 200, density, unlike) for density in (0.5, 0.1) for unlike in (False, True)),
)


STAYS = ((0, 0.0, 0.0), (1, 0.34, 0.15), (1, 1.0, 0.0), (2, 0.5, 0.15), (3, 0.34, 0.0), (3, 0.34, 0.15), (3, 0.7, 0.15))
"""Hazards, and the shares of checks that expose each and of the others that need its power."""
SPREAD = tuple(
    Size(20, 20, 0.5, seed % 3 > 0, 2 + seed % 3, tenths / 10, seed, *stay, wide=seed % 4 == 0)
    for seed, (tenths, stay) in enumerate(((tenths, stay) for tenths in range(10) for stay in STAYS), start=1)
)
"""Each share of open cells with each kind of stays; minutes, answers and width take turns."""


def table(size: Size) -> Problem:
    """Return the random table of a line."""
    source = Random(size.seed)  # noqa: S311 - no secrets here
    minutes = [float(source.randint(1, 10)) if size.unlike else 1.0 for _ in range(size.checks)]
    rows: dict[tuple[int, ...], None] = {}
    while len(rows) < size.causes:
        rows[tuple(_cell(source, size) for _ in range(size.checks))] = None
    weights = tuple(source.random() + 0.05 for _ in rows)
    if size.wide:
        minutes = [10 ** source.uniform(-1, 2) for _ in minutes]
        weights = tuple(10 ** source.uniform(-4, 0) for _ in rows)
    stays = tuple(Hazard(f"h{k}", source.uniform(2, 12)) for k in range(size.hazards))
    checks = tuple(_check(source, size, f"t{j:03}", cost) for j, cost in enumerate(minutes))
    return Problem(tuple(f"c{i:03}" for i in range(size.causes)), weights, checks, tuple(rows), stays)


def _check(source: Random, size: Size, name: str, minutes: float) -> Check:
    hazards = [f"h{k}" for k in range(size.hazards)]
    exposes = frozenset(hazard for hazard in hazards if source.random() < size.exposing)
    needs = frozenset(hazard for hazard in hazards if source.random() < size.needing) - exposes
    return Check(name, minutes, tuple("abcdefgh"[: size.answers]), exposes, needs)


def _cell(source: Random, size: Size) -> int:
    if source.random() < size.left_out:
        return (1 << size.answers) - 1
    return 1 << source.randint(1, size.answers - 1) if source.random() < size.density else 1


def line(size: Size, seconds: float | None) -> tuple[str, ...]:
    """Search one table; return the cells of its line."""
    problem = table(size)
    states = States(problem)
    greedy = Plan(states).extend(states.everything)
    wall, cpu = time.perf_counter(), time.process_time()
    result = best_order(problem, seconds=seconds)
    wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
    return (
        f"{size.causes} x {size.checks}",
        f"{size.density:g}",
        "0.1 to 100" if size.wide else "1 to 10" if size.unlike else "1",
        f"{size.answers}",
        f"{size.left_out:.0%}" if size.left_out else "",
        f"{size.hazards}: {size.exposing:.0%}, {size.needing:.0%}" if size.hazards else "",
        f"{size.seed}",
        f"{wall:.2f}",
        f"{cpu:.2f}",
        "yes" if result.exact else "no",
        f"{result.expected_minutes:.4f}",
        f"{result.gap:.1%}" if not result.exact else "",
        f"{greedy / result.expected_minutes:.3f}",
    )


def arguments() -> argparse.Namespace:
    """Read the command line."""
    parser = argparse.ArgumentParser(description="Time the search for the best order of checks.")
    parser.add_argument("size", nargs="*", type=float, help="causes, checks and density of one table")
    parser.add_argument("--unit", action="store_true", help="all checks take one minute")
    parser.add_argument("--answers", type=int, default=2, help="answers to each check")
    parser.add_argument("--left-out", type=float, default=0.0, help="share of cells that may be any answer")
    parser.add_argument("--hazards", type=int, default=0, help="each exposed by a third of the checks")
    parser.add_argument("--spread", action="store_true", help="70 tables of 20 x 20 of many kinds")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, help="time limit (default: none to 20 x 20, else a minute)")
    return parser.parse_args()


def main() -> None:
    """Print a line for each table, as soon as it is there."""
    asked = arguments()
    lines = SPREAD if asked.spread else LINES
    if asked.size:
        causes, checks, density = asked.size
        one = Size(int(causes), int(checks), density, not asked.unit, asked.answers, asked.left_out, asked.seed)
        lines = (one._replace(hazards=asked.hazards),)
    found = Table(title="Best order of checks", caption="gap: share of the minutes above the proven bound")
    heads = "table,density,minutes,answers,left out,hazards,seed,seconds,CPU,exact,best,gap,first plan / best"
    for head in heads.split(","):
        found.add_column(head, justify="right")
    console = Console(width=150)
    for size in lines:
        found.add_row(*line(size, asked.seconds))
        console.print(f"{size.causes} x {size.checks}, density {size.density:g}: done", style="dim")
    console.print(found)


if __name__ == "__main__":
    main()
