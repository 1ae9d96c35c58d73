"""The page of the file format, made from the declarations of its keys."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from kb_tools.model import entities as e
from kb_tools.model.build import SHARED_KINDS
from kb_tools.model.records import keys_of
from kb_tools.model.schema import DOCUMENTS, GLOBS, summary_of
from kb_tools.pages.rich_text import inline

if TYPE_CHECKING:
    from markupsafe import Markup

ROOT = "../"
_ORDER: tuple[type, ...] = (
    *(e.Tree, e.Step, e.Answer, e.Band, e.Case),
    *(e.Hazard, e.Caution, e.Proof, e.ProofItem, e.SharedAnswer),
    *(e.Equipment, e.Thing, e.DeskQuestion, e.Settings, e.Moved),
    *(e.Table, e.TableCause, e.TableCheck, e.TableBand),
    *(e.EquipmentMap, e.Part, e.Flow, e.Point),
    *(e.FigureTable, e.FigureColumn, e.FigureRow),
    *(e.Counts, e.TreeCounts, e.StepCounts),
)
"""The groups of keys in the order in which a reader meets them."""


@dataclass(frozen=True, slots=True)
class KeyRow:
    """One key."""

    name: str
    kind: Markup
    doc: Markup
    is_required: bool
    steps: str
    """The kinds of step that may bear it; empty for all."""


@dataclass(frozen=True, slots=True)
class KeyTable:
    """The keys of one group."""

    id: str
    name: str
    summary: str
    rows: list[KeyRow]
    is_of_steps: bool
    """Whether some of the keys are for some kinds of step only."""


@dataclass(frozen=True, slots=True)
class FileRow:
    """One kind of file."""

    path: str
    holds: Markup


@dataclass(frozen=True, slots=True)
class FormatPage:
    """The page of the file format."""

    files: list[FileRow]
    tables: list[KeyTable]


def format_page() -> FormatPage:
    """Return what the page of the file format shows."""
    files = [
        FileRow(GLOBS[role], inline(f"[{entity.__name__}](#{entity.__name__.lower()})", ROOT))
        for role, entity in DOCUMENTS.items()
    ]
    files += [FileRow(GLOBS[role], inline(kind.words(), ROOT)) for role, kind in SHARED_KINDS.items()]
    return FormatPage(files, [_table(entity) for entity in _ORDER])


def _table(entity: type) -> KeyTable:
    name = entity.__name__
    rows = [
        KeyRow(
            key,
            inline(declared.kind.words(), ROOT),
            inline(declared.doc, ROOT),
            declared.required,
            _steps(declared.steps),
        )
        for key, (_, declared) in keys_of(entity).items()
    ]
    return KeyTable(name.lower(), name, summary_of(entity), rows, entity is e.Step)


def _steps(kinds: tuple[str, ...]) -> str:
    return ", ".join(kinds)
