"""What changed between two editions: rewording told from rewiring, and what got less safe first."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING

from kb_tools.findings import LibraryError
from kb_tools.model.cases import end_of, replay
from kb_tools.model.entities import ENDS, UNREAD_SIGNAL, signal_rank
from kb_tools.model.graph import build_graph
from kb_tools.model.values import folded
from kb_tools.numbers.odds import library_numbers

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.model.entities import Case, Library, Step, Tree
    from kb_tools.model.graph import StepGraph, Way
    from kb_tools.numbers.odds import TreeNumbers

SHARED = "shared"
"""Stands in place of a tree where a shared item changed."""
LEAST_MINUTES = 0.5
LEAST_ODDS = 0.01
"""Differences of figures below these are not told."""


class Kind(StrEnum):
    """Kinds of change; the first ones are grave and must be accepted before a build."""

    CAUTION_GONE = "caution gone"
    HAZARD_EXPOSED = "hazard newly exposed"
    PROOF_GONE = "proof gone"
    TREE_ADDED = "tree added"
    TREE_REMOVED = "tree removed"
    STEP_ADDED = "step added"
    STEP_REMOVED = "step removed"
    REWIRED = "leads elsewhere"
    WAY_ADDED = "way added"
    WAY_REMOVED = "way removed"
    EFFECT = "effect changed"
    CASE = "case ends elsewhere"
    REWORDED = "reworded"


GRAVE = (Kind.CAUTION_GONE, Kind.HAZARD_EXPOSED, Kind.PROOF_GONE)


@dataclass(frozen=True, slots=True)
class Change:
    """One difference."""

    kind: Kind
    tree: str
    step: str
    """The step that changed; empty for a whole tree."""
    text: str
    """What is different, for a person."""

    @property
    def grave(self) -> bool:
        """Whether the new edition warns or proves less than the old."""
        return self.kind in GRAVE

    @property
    def sort_key(self) -> tuple[int, str, str, str]:
        """Grave changes first, then by kind and place."""
        return (list(Kind).index(self.kind), self.tree, self.step, self.text)


@dataclass(frozen=True, slots=True)
class Figures:
    """Minutes and odds of a tree that is in both editions, where they differ."""

    tree: str
    minutes: tuple[float, float]
    """Expected minutes before and after."""
    worst: tuple[float, float]
    """Worst minutes before and after."""
    odds: dict[str, tuple[float, float]]
    """Cause -> odds before and after, where they moved by a hundredth or more."""


@dataclass(slots=True)
class Comparison:
    """All differences between two editions."""

    changes: list[Change] = field(default_factory=list)
    figures: list[Figures] = field(default_factory=list)

    @property
    def grave(self) -> list[Change]:
        """The changes that must be accepted."""
        return [change for change in self.changes if change.grave]


def compare(old: Library, new: Library) -> Comparison:
    """Compare two libraries.

    Args:
        old: The edition that people hold.
        new: The edition to be published.

    """
    before, after = build_graph(old), build_graph(new)
    changes: list[Change] = []
    for name in sorted(set(old.trees) | set(new.trees)):
        if name not in new.trees:
            changes.append(Change(Kind.TREE_REMOVED, name, "", old.trees[name].title))
        elif name not in old.trees:
            changes.append(Change(Kind.TREE_ADDED, name, "", new.trees[name].title))
        else:
            changes += _tree(old.trees[name], new.trees[name], before, after)
            changes += _cases(old, new, before, after, name)
            changes += _cautions_gone(old, new, before, after, name)
    changes += _shared(old, new)
    changes.sort(key=lambda change: change.sort_key)
    return Comparison(changes, _figures(old, new, before, after))


def _tree(old: Tree, new: Tree, before: StepGraph, after: StepGraph) -> Iterator[Change]:
    if old.title != new.title:
        yield Change(Kind.REWORDED, new.id, "", f"title: “{old.title}” is now “{new.title}”")
    if old.start != new.start:
        yield Change(Kind.REWIRED, new.id, "", f"starts at {new.start}, before at {old.start}")
    for name in sorted(set(old.steps) | set(new.steps)):
        if name not in new.steps:
            yield Change(Kind.STEP_REMOVED, new.id, name, str(old.steps[name].text or ""))
        elif name not in old.steps:
            step = new.steps[name]
            yield Change(Kind.STEP_ADDED, new.id, name, str(step.text or ""))
            for hazard in step.exposes:
                yield Change(Kind.HAZARD_EXPOSED, new.id, name, f"the new step exposes {hazard}")
        else:
            key = f"{new.id}/{name}"
            yield from _step(new.id, name, old.steps[name], new.steps[name])
            yield from _ways(new.id, name, before.nodes[key].ways, after.nodes[key].ways)


_WORDING = ("text", "say", "how", "confirm", "put_back", "leave", "stop_use", "live_because", "controls", "source")


def _step(tree: str, name: str, old: Step, new: Step) -> Iterator[Change]:
    if old.kind != new.kind:
        yield Change(Kind.REWIRED, tree, name, f"is a {new.kind} now, before a {old.kind}")
    if old.proof and not new.proof:
        yield Change(Kind.PROOF_GONE, tree, name, f"the proof {old.proof} is gone")
    elif old.proof != new.proof:
        yield Change(Kind.EFFECT, tree, name, f"proof {new.proof}, before {old.proof or 'none'}")
    for hazard in sorted(set(new.exposes) - set(old.exposes)):
        yield Change(Kind.HAZARD_EXPOSED, tree, name, f"exposes {hazard} now")
    for effect in ("exposes", "works_live", "needs"):
        gone = sorted(set(getattr(old, effect)) - set(getattr(new, effect)))
        come = sorted(set(getattr(new, effect)) - set(getattr(old, effect)))
        if gone or (come and effect != "exposes"):
            yield Change(Kind.EFFECT, tree, name, f"{effect}: {_listed(come, gone)}")
    changed = [key for key in _WORDING if getattr(old, key) != getattr(new, key)]
    if changed:
        detail = f": “{old.text}” is now “{new.text}”" if changed[0] == "text" else ""
        yield Change(Kind.REWORDED, tree, name, ", ".join(changed) + detail)


def _listed(come: list[str], gone: list[str]) -> str:
    return ", ".join([*(f"{name} added" for name in come), *(f"{name} removed" for name in gone)])


def _ways(tree: str, name: str, old: list[Way], new: list[Way]) -> Iterator[Change]:
    """Compare the ways on from a step by what they are called."""
    before = {(way.kind if way.kind != "unsure" else "answer", way.label): way for way in old}
    after = {(way.kind if way.kind != "unsure" else "answer", way.label): way for way in new}
    for key in [*before, *(key for key in after if key not in before)]:
        label = key[1]
        if key not in after:
            yield Change(Kind.WAY_REMOVED, tree, name, f"“{label}” (led to {before[key].named})")
        elif key not in before:
            yield Change(Kind.WAY_ADDED, tree, name, f"“{label}” leads to {after[key].named}")
        else:
            yield from _way(tree, name, before[key], after[key])


def _way(tree: str, name: str, old: Way, new: Way) -> Iterator[Change]:
    if old.named != new.named:
        yield Change(Kind.REWIRED, tree, name, f"“{new.label}” leads to {new.named}, before to {old.named}")
    if _edges(old) != _edges(new):
        yield Change(Kind.REWIRED, tree, name, f"“{new.label}” holds {_edges(new)}, before {_edges(old)}")
    for effect in ("isolates", "confirms", "restores"):
        come = sorted(set(getattr(new, effect)) - set(getattr(old, effect)))
        gone = sorted(set(getattr(old, effect)) - set(getattr(new, effect)))
        if come or gone:
            yield Change(Kind.EFFECT, tree, name, f"“{new.label}” {effect}: {_listed(come, gone)}")


def _edges(way: Way) -> str:
    """Return the readings that a band holds; empty for other ways."""
    start, below = getattr(way.origin, "start", None), getattr(way.origin, "below", None)
    words = [f"from {start:g}" if start is not None else "", f"below {below:g}" if below is not None else ""]
    return " ".join(word for word in words if word)


def _cases(old: Library, new: Library, before: StepGraph, after: StepGraph, name: str) -> Iterator[Change]:
    """Replay the old edition's cases in both, and tell those that end elsewhere.

    A case that bears the same name in the new edition is replayed with what it answers there: it was led
    over a new step by whoever added that.
    """
    was, now = old.trees[name], new.trees[name]
    led = {folded(case.case): case for case in now.cases}
    for case in was.cases:
        ended = replay(old, before, was, case).end
        ends = replay(new, after, now, led.get(folded(case.case), case)).end
        if ended != ends:
            where = f"ends at {ends}" if ends else "comes to no end"
            yield Change(
                Kind.CASE, name, _step_id(case), f"“{case.case}” {where}, before at {ended or end_of(was, case)}"
            )


def _step_id(case: Case) -> str:
    return str(case.ends_at).rpartition("/")[2]


def _cautions_gone(old: Library, new: Library, before: StepGraph, after: StepGraph, name: str) -> Iterator[Change]:
    """Tell cautions that stood on every way to an end and no longer do."""
    was, now = _surely_shown(old, before, old.trees[name]), _surely_shown(new, after, new.trees[name])
    for step, before_it in old.trees[name].steps.items():
        if step not in was or step not in now:
            continue
        own = _shown_at(old, before_it) - now[step]
        for caution in sorted(own):
            yield Change(
                Kind.CAUTION_GONE, name, step, f"{caution} is no longer shown at this step, nor on every way to it"
            )
        if before_it.kind in ENDS:
            for caution in sorted(was[step] - now[step] - own):
                yield Change(Kind.CAUTION_GONE, name, step, f"{caution} is no longer shown on every way to this end")


def _shared(old: Library, new: Library) -> Iterator[Change]:
    """Compare cautions, hazards and proofs, which many trees show."""
    for name in sorted(set(old.cautions) & set(new.cautions)):
        was, now = old.cautions[name], new.cautions[name]
        if signal_rank(now.signal) > signal_rank(was.signal) > UNREAD_SIGNAL:
            yield Change(Kind.CAUTION_GONE, SHARED, name, f"the caution says {now.signal}, before {was.signal}")
        yield from _reworded(name, "caution", was, now, ("text", "consequence", "avoid"))
    for name in sorted(set(old.hazards) & set(new.hazards)):
        yield from _reworded(name, "hazard", old.hazards[name], new.hazards[name], ("name", "how_isolated", "put_back"))
    for name in sorted(set(old.proofs) & set(new.proofs)):
        before, after = old.proofs[name], new.proofs[name]
        asked, asks = [str(one.item) for one in before.items], [str(one.item) for one in after.items]
        gone = [one for one in asked if one not in asks]
        if len(asks) < len(asked):
            told = "; ".join(f"“{one}”" for one in gone) or "one that stood there twice"
            yield Change(Kind.PROOF_GONE, SHARED, name, f"the proof asks for less: {told}")
        elif asked != asks:
            yield Change(Kind.REWORDED, SHARED, name, "proof: items")


def _reworded(name: str, kind: str, old: object, new: object, keys: tuple[str, ...]) -> Iterator[Change]:
    changed = [key for key in keys if getattr(old, key) != getattr(new, key)]
    if changed:
        yield Change(Kind.REWORDED, SHARED, name, f"{kind}: {', '.join(changed)}")


def _surely_shown(library: Library, graph: StepGraph, tree: Tree) -> dict[str, frozenset[str]]:
    """Return, for each step that the start reaches, the cautions shown on every way to it, itself included."""
    if graph.order is None or tree.start not in tree.steps:
        return {}
    entering: dict[str, frozenset[str]] = {f"{tree.id}/{tree.start}": frozenset(tree.cautions)}
    shown: dict[str, frozenset[str]] = {}
    for key in graph.order:
        if key not in entering:
            continue
        node = graph.nodes[key]
        here = entering[key] | _shown_at(library, node.step)
        if node.tree is tree:
            shown[str(node.name)] = here
        for way in node.ways:
            if way.target in graph.nodes and graph.nodes[way.target].tree is tree:
                known = entering.get(way.target)
                entering[way.target] = here if known is None else known & here
    return shown


def _shown_at(library: Library, step: Step) -> frozenset[str]:
    """Return the cautions that a step shows: its own, those of its hazards, those of its proof."""
    hazards = {*step.exposes, *step.works_live}
    of_hazards = {name for hazard in hazards for name in library.cautions_for(hazard)}
    proof = library.proofs.get(step.proof) if step.proof else None
    return frozenset({*step.cautions, *of_hazards, *(proof.cautions if proof else ())})


def _figures(old: Library, new: Library, before: StepGraph, after: StepGraph) -> list[Figures]:
    """Return minutes and odds of trees in both editions that moved enough to be told."""
    try:
        was, now = library_numbers(before, old), library_numbers(after, new)
    except LibraryError:
        # A loop leaves no numbers; `kb check` says so better.
        return []
    found = []
    for name in sorted(set(was) & set(now)):
        figures = _pair(name, was[name], now[name])
        moved = any(abs(a - b) >= LEAST_MINUTES for a, b in (figures.minutes, figures.worst))
        if moved or figures.odds:
            found.append(figures)
    return found


def _pair(name: str, was: TreeNumbers, now: TreeNumbers) -> Figures:
    odds = {
        cause: (was.causes.get(cause, 0.0), now.causes.get(cause, 0.0)) for cause in sorted({*was.causes, *now.causes})
    }
    return Figures(
        name,
        (was.ahead.minutes, now.ahead.minutes),
        (was.ahead.worst, now.ahead.worst),
        {cause: pair for cause, pair in odds.items() if abs(pair[0] - pair[1]) >= LEAST_ODDS},
    )
