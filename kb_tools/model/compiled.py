"""The shapes of the data that the browser gets: `kb/trees/<id>.js` and `kb/index.js`.

`pages.browser_data` fills them, `model.walk` and the browser's `walk.js` run on them. Keys whose
value would be nothing are left out; lists that a step may have are there even when empty.

Rendered Markdown comes as blocks: a text, `[tag, [blocks]]` or `[tag, {"href": address}, [blocks]]`.
"""

from __future__ import annotations

from typing import Any, NotRequired, TypeAlias, TypedDict

Blocks: TypeAlias = list[Any]


_Readings = TypedDict("_Readings", {"from": NotRequired[float], "below": NotRequired[float]})
"""The readings of a band: from the first, which is included, to below the second."""


class CompiledWay(_Readings):
    """One way on from a step."""

    via: str
    """`answer`, `unsure`, `band`, `then`, `cannot`, `not_cured` or `link`."""
    label: str
    """What the walk takes as an answer; of a band its name, otherwise `done`, `cannot`, `not cured` or `go`."""
    say: NotRequired[str]
    to: NotRequired[str]
    """A step of this tree; of a link `tree/step`; left out where there is no such step."""
    odds: float
    """Chance that it is taken at this step; of `not_cured`: that the fix does not cure."""
    onward: NotRequired[float]
    """Of `not_cured`: the chance that the cause lies behind the fix, as long as it was not met."""
    isolates: list[str]
    confirms: list[str]
    restores: list[str]
    stop_use: NotRequired[Blocks]


class CompiledStep(TypedDict):
    """One step."""

    n: int
    """Its number on the page: every way within the tree leads to a greater one."""
    kind: str
    text: str
    say: NotRequired[str]
    how: NotRequired[Blocks]
    who: str
    minutes: float
    assumed: bool
    wait: float
    tools: list[str]
    spares: list[str]
    looks_at: list[str]
    picture: NotRequired[dict[str, str]]
    cautions: list[str]
    """What to show before it: its own cautions and those of its hazards, the gravest first."""
    exposes: list[str]
    works_live: list[str]
    needs: list[str]
    isolated_by: NotRequired[dict[str, list[str]]]
    live_because: NotRequired[str]
    controls: NotRequired[str]
    source: NotRequired[Blocks]
    """A line of text and links."""
    confirm: NotRequired[Blocks]
    unit: NotRequired[str]
    units: NotRequired[list[list[Any]]]
    """Units that a reading may be given in: name, factor, offset."""
    plausible: NotRequired[list[float]]
    ways: list[CompiledWay]
    isolates: NotRequired[list[str]]
    """Of an end: what is isolated once it is done."""
    restores: NotRequired[list[str]]
    """Of an end: what is put back before its proof, or in the course of it."""
    share: NotRequired[float]
    stop: NotRequired[float]
    """Of a cause: the chance that it is the cause, where it was not met before this step."""
    cures: NotRequired[float]
    """Of a fix; left out: 1."""
    proof: NotRequired[str]
    put_back: NotRequired[Blocks]
    bring: NotRequired[list[str]]
    leave: NotRequired[Blocks]
    stop_use: NotRequired[Blocks]
    link: NotRequired[dict[str, str]]
    mass: float
    """Weight of one path that has come here with its cause still ahead."""
    left: float
    """Expected minutes from here."""
    worst: float
    waiting: float
    """Expected minutes from here that only pass."""


class CompiledTree(TypedDict):
    """One tree."""

    id: str
    title: str
    area: str
    applies_to: NotRequired[str]
    equipment: list[str]
    reviewed: NotRequired[str]
    stop_use: NotRequired[Blocks]
    map: NotRequired[str]
    start: str
    tag: int
    """20 bits that name the tree in a walk code."""
    fingerprint: int
    """32 bits of its shape: steps, answers and where they lead."""
    cautions: list[str]
    caution_texts: dict[str, dict[str, Any]]
    hazards: dict[str, dict[str, Any]]
    tools: dict[str, str]
    spares: dict[str, dict[str, Any]]
    proofs: dict[str, dict[str, Any]]
    parts: dict[str, str]
    steps: dict[str, CompiledStep]
