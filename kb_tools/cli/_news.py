"""From what was compared to what the page of the edition shows: the two rooms do not know each other."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kb_tools.pages.edition_page import Accepted, EditionNews, FiguresLine, NewsLine

if TYPE_CHECKING:
    from kb_tools.author.publish import Publication
    from kb_tools.model.entities import Library


def news_of(told: Publication, library: Library) -> EditionNews:
    """Return what the page of an edition shows of a comparison; what got less safe stands there with its reason."""
    titles = told.titles | {tree.id: str(tree.title) for tree in library.trees.values()}
    found = told.comparison
    return EditionNews(
        since=told.since,
        lines=[
            NewsLine(str(one.kind).capitalize(), one.tree, one.step, one.text, titles.get(one.tree, ""))
            for one in found.changes
            if not one.grave
        ],
        figures=[
            FiguresLine(one.tree, titles.get(one.tree, ""), one.minutes, one.worst, one.odds) for one in found.figures
        ],
        accepted=[Accepted(str(one.kind), one.tree, one.step, one.text, why) for one, why in told.accepted],
        previous=told.previous,
    )
