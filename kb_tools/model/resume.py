"""Walks that are gone on with: from a code, from a link, from what was kept.

The twin of the browser's `resume.js`.
"""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeAlias
from urllib.parse import parse_qsl

from kb_tools.model import code as codes
from kb_tools.model.code import WalkProblem
from kb_tools.model.reading import reading
from kb_tools.model.stand import Pick, Trees, choices, follow, tree_of
from kb_tools.model.walk import Walk

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from kb_tools.model.compiled import CompiledStep

_MOST = 2000
_LONGEST = 20000
_LONGEST_READING = 60


def resume(trees: Trees, given: str) -> Walk:
    """Stand where another walk stands.

    Args:
        trees: Compiled trees by their ids.
        given: A walk code, or the fragment that `link` made, alone or in an address.

    Raises:
        WalkProblem: `too-long`, `mistyped`, `foreign`, `changed` or `link`.

    """
    if len(given) > _LONGEST:
        raise WalkProblem("too-long", "This is too long for a walk.")
    link: dict[str, str] = {}
    code = given
    if "walk=" in given:
        for name, value in parse_qsl(given[given.find("#") + 1 :], keep_blank_values=True):
            link.setdefault(name, value)
        code = link.get("walk", "")
    parts = codes.read(code)
    named = [name for name, tree in trees.items() if tree["tag"] == parts.tag]
    if not named:
        raise WalkProblem("foreign", "This code belongs to another library.")
    for first in named:
        picks = _unpack(trees, first, parts.number)
        if picks is not None:
            entered = follow(trees, first, picks).entered
            if codes.fold(trees[name]["fingerprint"] for name in entered) == parts.shape:
                return Walk(trees, first, _with_readings(trees, picks, link.get("readings", "")))
    raise WalkProblem("changed", "A tree of this walk has changed since the code was made.")


_Chosen: TypeAlias = tuple[int, str | float | None] | None
"""Which choice, and what was given for it; None to stop there."""


def _along(trees: Trees, first: str, choose: Callable[[CompiledStep, int, str, str], _Chosen]) -> list[Pick] | None:
    """Return a row of answers, or None where a choice fits no step."""
    tree = tree_of(trees, first)
    name = tree["start"]
    picks: list[Pick] = []
    while len(picks) < _MOST:
        step = tree["steps"].get(name)
        if step is None:
            return None
        chosen = choose(step, len(picks), tree["id"], name)
        if chosen is None:
            return picks
        pick, value = chosen
        ways = choices(step)
        if not 0 <= pick < len(ways):
            return None
        way = ways[pick]
        picks.append(Pick(tree["id"], name, way["label"] if value is None else value, pick))
        if way["via"] == "cured":
            return picks
        link = step.get("link")
        if link:
            tree = tree_of(trees, link["tree"])
        name = link["step"] if link else way.get("to", "")
    return None


def _unpack(trees: Trees, first: str, number: int) -> list[Pick] | None:
    """Return the answers that a number stands for, or None where it stands for none in these trees."""

    def choose(step: CompiledStep, *_: object) -> _Chosen:
        nonlocal number
        number, digit = divmod(number, len(choices(step)) + 1)
        return (digit - 1, None) if digit else None

    picks = _along(trees, first, choose)
    return None if number else picks


def _with_readings(trees: Trees, picks: list[Pick], readings: str) -> list[Pick]:
    """Put the readings of a link to its answers."""
    damaged = WalkProblem("link", "This link is damaged. Type the walk code instead.")
    picks = [replace(pick) for pick in picks]
    for text in readings.split(";") if readings else []:
        found = re.fullmatch(rf"([0-9]{{1,4}}):([^\n\r\u2028\u2029]{{1,{_LONGEST_READING}}})", text)
        if not found or int(found[1]) >= len(picks):
            raise damaged
        pick = picks[int(found[1])]
        step = trees[pick.tree]["steps"][pick.step]
        if _band(step, found[2]) != pick.pick:
            raise damaged
        pick.value = found[2]
    return picks


def _band(step: CompiledStep, value: str | float) -> int:
    """Return the band of a reading, -1 where it is none."""
    try:
        return reading(step, value).pick if step["kind"] == "measure" else -1
    except WalkProblem:
        return -1


def restore(trees: Trees, stored: Mapping[str, Any], moved: Mapping[str, str] | None = None) -> Walk:
    """Go on with a walk that was kept.

    Args:
        trees: Compiled trees by their ids.
        stored: What `to_json` gave.
        moved: What is called otherwise today, as `Moves.table` tells it.

    Raises:
        WalkProblem: `damaged`, `not-loaded`, or `changed` where the trees are no longer the same.

    """
    trail = stored.get("trail")
    if stored.get("version") != 1 or not isinstance(trail, list) or len(trail) > _MOST:
        raise WalkProblem("damaged", "This walk cannot be read.")

    def today(tree: str, step: str = "") -> tuple[str, str]:
        now, _, now_step = (moved or {}).get(f"{tree}/{step}", (moved or {}).get(tree, tree)).partition("/")
        return now, now_step or step

    def choose(step: CompiledStep, at: int, tree: str, name: str) -> _Chosen:
        if at >= len(trail):
            return None
        entry = trail[at]
        labels = [way["label"] for way in choices(step)]
        fits = today(entry["tree"], entry["step"]) == (tree, name) and entry["answer"] in labels
        pick = labels.index(entry["answer"]) if fits else -1
        read = entry["value"] != entry["answer"]
        return (-1 if read and _band(step, entry["value"]) != pick else pick, entry["value"])

    first = today(stored["first"])[0]
    picks = _along(trees, first, choose)
    known = {today(name)[0]: fingerprint for name, fingerprint in stored.get("trees", {}).items()}
    if picks is not None and len(picks) == len(trail):
        entered = follow(trees, first, picks).entered
        if all(known.get(name) == trees[name]["fingerprint"] for name in entered):
            acks = [ack for ack in stored.get("acks", []) if ack["at"] <= len(picks)]
            return Walk(trees, first, picks, acks)
    raise WalkProblem("changed", "A tree of this walk has changed.")
