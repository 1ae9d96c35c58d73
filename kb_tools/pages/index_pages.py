"""What home and the index pages show: symptoms, fixes, cautions, proofs, tools and spares."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from kb_tools.pages.numbering import step_numbers
from kb_tools.pages.panels import Panel, ProofView, panels_of, proof_view
from kb_tools.pages.rich_text import inline, plain
from kb_tools.pages.words import words_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from markupsafe import Markup

    from kb_tools.model.entities import Library, Step, Tree
    from kb_tools.pages.words import Words

ROOT = ""
"""Index pages lie at the site's root."""


@dataclass(frozen=True, slots=True)
class User:
    """A place that uses what an index lists."""

    title: str
    href: str
    number: int | None = None
    """The number of the step, where it is one step."""


_HEARD_ON_HOME = 3
"""So many of the users' phrases stand on home: on a phone a dozen each would hide the next symptom. The
tree's own page has all of them, and the finder knows them all."""


@dataclass(frozen=True, slots=True)
class Symptom:
    """A tree on the home page, with a few of the users' phrases."""

    title: str
    href: str
    heard_as: list[str]
    size: str


@dataclass(frozen=True, slots=True)
class Group:
    """The trees about one piece of equipment."""

    id: str
    name: str
    entries: list[Symptom]


@dataclass(frozen=True, slots=True)
class FixEntry:
    """A fix and the steps that are it."""

    id: str
    text: Markup
    takes: str
    spares: list[tuple[str, str]]
    users: list[User]


@dataclass(frozen=True, slots=True)
class CautionEntry:
    """A caution and the trees that show it."""

    panel: Panel
    users: list[User]


@dataclass(frozen=True, slots=True)
class ProofEntry:
    """A proof and the trees whose fixes need it."""

    proof: ProofView
    users: list[User]


@dataclass(frozen=True, slots=True)
class ThingEntry:
    """A tool or a spare and the trees that need it."""

    id: str
    name: str
    price: str
    order_as: str
    users: list[User]


@dataclass(slots=True)
class Indexes:
    """All that home and the index pages show."""

    groups: list[Group] = field(default_factory=list)
    fixes: list[FixEntry] = field(default_factory=list)
    cautions: list[CautionEntry] = field(default_factory=list)
    proofs: list[ProofEntry] = field(default_factory=list)
    tools: list[ThingEntry] = field(default_factory=list)
    spares: list[ThingEntry] = field(default_factory=list)


@dataclass(slots=True)
class _Uses:
    """Who uses what: id -> tree id -> the tree; and the fixes by what they say."""

    cautions: dict[str, dict[str, Tree]] = field(default_factory=lambda: defaultdict(dict))
    proofs: dict[str, dict[str, Tree]] = field(default_factory=lambda: defaultdict(dict))
    tools: dict[str, dict[str, Tree]] = field(default_factory=lambda: defaultdict(dict))
    spares: dict[str, dict[str, Tree]] = field(default_factory=lambda: defaultdict(dict))
    fixes: dict[str, list[tuple[Tree, str, int, Step]]] = field(default_factory=lambda: defaultdict(list))


def indexes(library: Library, trees: list[Tree], expected: dict[str, float]) -> Indexes:
    """Return what home and the index pages show.

    Args:
        library: A sound library.
        trees: The trees of the site; drafts are left out by the caller.
        expected: Tree id -> expected minutes, where known.

    """
    uses = _Uses()
    for tree in trees:
        _note_uses(tree, library, uses)
    return Indexes(
        groups=_groups(library, trees, expected),
        fixes=_fixes(library, uses),
        cautions=[
            CautionEntry(panel, _users(uses.cautions[panel.id])) for panel in panels_of(library.cautions, library, ROOT)
        ],
        proofs=[
            ProofEntry(view, _users(uses.proofs[name]))
            for name in library.proofs
            if (view := proof_view(name, library, ROOT))
        ],
        tools=_things(library.tools, uses.tools, library),
        spares=_things(library.spares, uses.spares, library),
    )


def tree_href(tree: Tree) -> str:
    """Return the address of a tree's page from the site's root."""
    return f"trees/{tree.id}.html"


def _note_uses(tree: Tree, library: Library, uses: _Uses) -> None:
    numbers = step_numbers(tree)
    steps: dict[str, Step] = dict(tree.steps.items())
    for caution in tree.cautions:
        uses.cautions[caution][tree.id] = tree
    for name, number in numbers.items():
        step = steps[name]
        for warned in _cautions(step, library):
            uses.cautions[warned][tree.id] = tree
        for shelf, ids in ((uses.tools, step.tools), (uses.spares, step.spares)):
            for thing in ids:
                shelf[thing][tree.id] = tree
        if step.proof:
            uses.proofs[step.proof][tree.id] = tree
        if step.kind == "fix":
            key = f"{step.use}" if step.use else f"\n{plain(step.text or '')}"
            uses.fixes[key].append((tree, name, number, step))


def _cautions(step: Step, library: Library) -> Iterator[str]:
    yield from step.cautions
    for hazard in (*step.exposes, *step.works_live):
        yield from library.cautions_for(hazard)
    if step.proof and step.proof in library.proofs:
        yield from library.proofs[step.proof].cautions


def _users(trees: dict[str, Tree]) -> list[User]:
    return [User(tree.title, tree_href(tree)) for tree in trees.values()]


def _groups(library: Library, trees: list[Tree], expected: dict[str, float]) -> list[Group]:
    """Return the trees by equipment, in the order in which the equipment is declared."""
    words = words_of(library)
    about: dict[str, list[Tree]] = {name: [] for name in library.equipment}
    rest: list[Tree] = []
    for tree in trees:
        named = [name for name in tree.equipment if name in about]
        for name in named:
            about[name].append(tree)
        if not named:
            rest.append(tree)
    groups = [
        Group(name, library.equipment[name].name, [_symptom(tree, expected, words) for tree in found])  # type: ignore[index]
        for name, found in about.items()
        if found
    ]
    if rest:
        groups.append(Group("other_", words.say("home.other"), [_symptom(tree, expected, words) for tree in rest]))
    return groups


def _symptom(tree: Tree, expected: dict[str, float], words: Words) -> Symptom:
    size = words.count("count.steps", len(tree.steps))
    if tree.id in expected:
        size = words.say("home.size", steps=size, time=words.minutes(expected[tree.id]))
    return Symptom(tree.title, tree_href(tree), list(tree.heard_as[:_HEARD_ON_HOME]), size)


def _fixes(library: Library, uses: _Uses) -> list[FixEntry]:
    """Return the fixes by what they say, in the order of their words."""
    entries, words = [], words_of(library)
    for number, (key, found) in enumerate(sorted(uses.fixes.items(), key=lambda item: _text(item[1])), 1):
        step = found[0][3]
        entries.append(
            FixEntry(
                key if not key.startswith("\n") else f"fix_{number}",
                inline(step.text or "", ROOT),
                words.minutes(step.minutes) if step.minutes else "",
                [(spare, _name(library.spares, spare)) for spare in step.spares],
                [User(tree.title, f"{tree_href(tree)}#{name}", at) for tree, name, at, _ in found],
            )
        )
    return entries


def _text(found: list[tuple[Tree, str, int, Step]]) -> str:
    return plain(found[0][3].text or "").casefold()


def _name(things: dict, name: str) -> str:  # type: ignore[type-arg]
    return str(things[name].name if name in things else name)


def _things(things: dict, used: dict[str, dict[str, Tree]], library: Library) -> list[ThingEntry]:  # type: ignore[type-arg]
    """Return tools or spares in the order of their names."""
    words = words_of(library)
    currency = (library.settings.currency if library.settings else None) or ""
    return [
        ThingEntry(
            name,
            thing.name,
            f"{words.figure(thing.price)} {currency}".strip() if thing.price is not None else "",
            thing.order_as or "",
            _users(used[name]),
        )
        for name, thing in sorted(things.items(), key=lambda item: item[1].name.casefold())
    ]
