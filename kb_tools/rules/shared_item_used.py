"""Every shared item is used somewhere.

What no tree uses goes stale without anybody noticing: nobody walks a fix that no tree leads to,
and a hazard that nothing names protects nobody. Looked at are hazards, cautions, shared checks and
fixes, proofs, equipment, tools and spares.

A hazard is used when a step, a proof or a table names it, or a caution that is shown. A caution is
used when a tree, step or proof names it, or when its hazard is used: it is then shown by itself.

To mend it, use the item, or delete it.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity
from kb_tools.model.contents import references_of
from kb_tools.model.records import nearest

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from typing import Any

    from kb_tools.model.entities import Library
    from kb_tools.rules.contract import Subject

ID = "shared-item-used"
SEVERITY = Severity.WARNING
SUMMARY = "Every shared item is used somewhere."

_EFFECTS = {"isolates", "confirms", "restores", "answers", "bands"}
_KEYS = {
    "hazard": {"hazard", "cautions", "exposes", "works_live", "needs"} | _EFFECTS,
    "caution": {"caution", "cautions", "hazard"},
    "shared check": {"check", "measure"},
    "shared fix": {"fix"},
    "proof": {"proof"},
    "equipment": {"equipment"},
    "tool": {"tools"},
    "spare": {"spares"},
}
"""What an id names -> the keys that name it, or hold groups that do."""
_LOOKED_FOR = frozenset(
    {"hazard", "caution", "proof", "equipment", "tool", "spare", "fix", "shared check", "shared fix"}
)
_Used = dict[str, set[str]]
"""What an id names -> the ids that are named."""


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each shared item that nothing uses."""
    library = subject.library
    if library.broken or library.doubts.ids or not all(tree.steps for tree in library.trees.values()):
        return  # what could not be read may use anything
    unread = {key for _, key in library.doubts.keys}
    used = _named(library)
    doubtful = _settle_misspelt(used, library)
    used["shared fix"] |= used["fix"]  # a table's cause names a step of its tree, or a shared fix
    _close_over_cautions(used, library)
    for of, shelf in _shelves(library).items():
        if unread & _KEYS[of] or of in doubtful:
            continue
        for name, item in shelf.items():
            if name not in used[of]:
                yield Finding(
                    getattr(name, "place", item.place),
                    ID,
                    SEVERITY,
                    f"The {of} `{name}` is not used by anything",
                    "Use it, or delete it",
                )


def _shelves(library: Library) -> dict[str, Mapping[Any, Any]]:
    """Return the items of each kind, by what an id of that kind is said to name."""
    return {
        "hazard": library.hazards,
        "caution": library.cautions,
        "shared check": library.checks,
        "shared fix": library.fixes,
        "proof": library.proofs,
        "equipment": library.equipment,
        "tool": library.tools,
        "spare": library.spares,
    }


def _named(library: Library) -> _Used:
    """Return every id that a tree, a table, a shared body or a proof names."""
    used: _Used = defaultdict(set)
    for tree in library.trees.values():
        for of, word in references_of(tree, _LOOKED_FOR):
            used[of].add(word)
        for step in tree.steps.values():
            if step.use is not None:
                used["shared fix" if step.kind == "fix" else "shared check"].add(step.use)
    others = (library.tables, library.checks, library.fixes, library.proofs)
    for of, word in references_of(others, _LOOKED_FOR):
        used[of].add(word)
    return used


def _settle_misspelt(used: _Used, library: Library) -> set[str]:
    """Add the items that misspelt ids mean; return the kinds of item with ids that could mean any.

    A misspelt id is a finding of its own, and the item that it means is used.
    """
    doubtful: set[str] = set()
    for of, shelf in _shelves(library).items():
        for name in [name for name in used[of] if name and name not in shelf]:
            close = nearest(name, shelf)
            used[of].add(close)
            if not close:
                doubtful.add(of)
    warned_of = (caution.hazard for caution in library.cautions.values())
    if "caution" in doubtful or any(hazard and hazard not in library.hazards for hazard in warned_of):
        doubtful.add("hazard")
    return doubtful


def _close_over_cautions(used: _Used, library: Library) -> None:
    """Add the cautions that are shown for a used hazard, and the hazards of cautions shown."""
    cautions = {str(name): caution.hazard for name, caution in library.cautions.items()}
    used["hazard"] |= {cautions[name] or "" for name in used["caution"] if name in cautions}
    shown = used["hazard"] | {hazard for hazard in cautions.values() if hazard not in library.hazards}
    used["caution"] |= {name for name, hazard in cautions.items() if hazard and hazard in shown}
