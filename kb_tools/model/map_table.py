"""Derive an evidence table from an equipment map: which part is broken when a point fails?

A broken part breaks every point at or after it on its flow (design of the format). So the causes are
the parts at or before the failing point, the checks are the other points on the same kind of flow,
and each part makes a check show No when the part lies at or before that point, Yes otherwise.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import networkx as nx

from kb_tools.findings import UsageError
from kb_tools.model.entities import Table, TableCause, TableCheck
from kb_tools.model.values import Word

if TYPE_CHECKING:
    from kb_tools.findings import Place
    from kb_tools.model.entities import EquipmentMap, Library, Point

WORKS, FAILS = "Yes", "No"


def table_from_map(library: Library, map_id: str, symptom: str) -> Table:
    """Return the table for a point of a map that fails.

    Args:
        library: The library.
        map_id: The map.
        symptom: The point, as its id alone or followed by `fails`.

    Raises:
        UsageError: when there is no such map or point.

    """
    shown = library.maps.get(map_id)
    if shown is None:
        raise UsageError(f"{map_id} is no equipment map; the library's maps: {', '.join(library.maps) or 'none'}")
    wanted = symptom.removesuffix("fails").strip()
    point = next((one for one in shown.points if one.id == wanted), None)
    if point is None:
        known = ", ".join(one.id for one in shown.points)
        told = f"its points: {known}" if known else "it has none yet; add them under `points`"
        raise UsageError(f"{map_id} has no point {wanted!r}; {told}")
    return _table(shown, point)


def _table(shown: EquipmentMap, failing: Point) -> Table:
    flow = nx.DiGraph((str(one.start), str(one.to)) for one in shown.flows if one.carries == failing.carries)
    flow.add_node(str(failing.at))
    before = nx.ancestors(flow, str(failing.at)) | {str(failing.at)}
    parts = [part for part in shown.parts if part in before]
    points = [one for one in shown.points if one is not failing and one.carries == failing.carries and one.at in flow]
    place = shown.place
    checks: dict[Word, TableCheck] = {}
    shows: dict[Word, dict[Word, tuple[Word, ...]]] = {part: {} for part in parts}
    for point in points:
        breaks = nx.ancestors(flow, str(point.at)) | {str(point.at)}
        checks[point.id] = TableCheck(
            place,
            check=point.check,
            takes=point.takes,
            looks_at=(point.at,),
            answers=(_word(WORKS, place), _word(FAILS, place)),
        )
        for part in parts:
            shows[part][point.id] = (_word(FAILS if part in breaks else WORKS, place),)
    causes = {part: TableCause(place, share=shown.parts[part].share) for part in parts}
    title = _word(f"{failing.check.rstrip('?')}? No", place)
    table = Table(place, title=title, causes=causes, checks=checks, shows=shows)
    table.id, table.file = f"{shown.id}-{failing.id}", shown.file
    return table


def _word(text: str, place: Place) -> Word:
    word = Word(text)
    word.file, word.line, word.column = place
    return word
