"""The data that the browser gets: what the library is, its index, and one script for each tree.

Plain scripts that assign JSON, so that they load from disk without `fetch`. Bytes depend on the
library alone: keys are sorted.
"""

from __future__ import annotations

import json
import re
import unicodedata
from typing import TYPE_CHECKING, Any

from kb_tools.model.moved import Moves
from kb_tools.numbers.odds import library_numbers
from kb_tools.pages.tree_data import compile_tree, rich

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from kb_tools.model.compiled import CompiledTree
    from kb_tools.model.entities import Library, Tree
    from kb_tools.model.graph import StepGraph
    from kb_tools.model.hazards import Isolation
    from kb_tools.numbers.odds import TreeNumbers

LIBRARY = "kb/library.js"
"""What every page needs to know of the library; small."""
INDEX = "kb/index.js"
"""What finder and codes need: every tree in short; loaded at the start of home, elsewhere when it is asked for."""
PAGES = "kb/pages.js"
"""Titles and headings of the pages that are no trees, for the finder."""
_OF_INDEX = ("trees", "words")
_HEAD = "(window.faultTrees = window.faultTrees || {}).data = window.faultTrees.data || {trees: {}};\n"
_ESCAPED = {"<": "\\u003c", "\u2028": "\\u2028", "\u2029": "\\u2029"}
"""What could end a script element, or a line of a script that an old reader parses."""


def browser_files(
    library: Library,
    graph: StepGraph,
    isolation: Isolation,
    trees: Sequence[Tree],
    numbers: Mapping[str, TreeNumbers] | None = None,
) -> Iterator[tuple[str, str]]:
    """Yield the scripts of data: address and content.

    Args:
        library: A library without loops.
        graph: Its graph.
        isolation: What is isolated where.
        trees: The trees to publish, each with a start.
        numbers: What `library_numbers` made of them; left out: it is asked.

    """
    numbers = library_numbers(graph, library) if numbers is None else numbers
    compiled = [compile_tree(library, graph, isolation, tree, numbers[tree.id]) for tree in trees]
    index = index_of(library, trees, compiled)
    yield LIBRARY, library_script(index)
    yield INDEX, index_script(index)
    for tree in compiled:
        yield f"kb/trees/{tree['id']}.js", tree_script(tree)


def tree_script(tree: CompiledTree) -> str:
    """Return the script that hands a tree to the walk."""
    return f"{_HEAD}window.faultTrees.data.trees[{_json(tree['id'])}] = {_json(tree)};\n"


def index_script(index: Mapping[str, Any]) -> str:
    """Return the script that hands the index to finder and walk: the trees in short, and synonyms."""
    return _put({key: index[key] for key in _OF_INDEX})


def library_script(index: Mapping[str, Any]) -> str:
    """Return the script that tells every page what the library is: all of the index but what the finder needs."""
    return _put({key: value for key, value in index.items() if key not in _OF_INDEX})


def pages_script(pages: Sequence[tuple[str, str, Sequence[str]]]) -> str:
    """Return the script that hands the finder the pages that are no trees.

    Args:
        pages: Address from the site's root, title and headings of each.

    """
    told = [{"id": url, "title": title, "heard_as": list(headings)} for url, title, headings in pages]
    return f"{_HEAD}window.faultTrees.data.pages = {_json(told)};\n"


def _put(part: dict[str, Any]) -> str:
    index = "window.faultTrees.data.index"
    return f"{_HEAD}Object.assign({index} = {index} || {{}}, {_json(part)});\n"


def _json(value: object) -> str:
    text = json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)
    for char, escaped in _ESCAPED.items():
        text = text.replace(char, escaped)
    return text


def index_of(library: Library, trees: Sequence[Tree], compiled: Sequence[CompiledTree]) -> dict[str, Any]:
    """Return the index: what the library is, its trees in short, synonyms, the desk's questions."""
    settings = library.settings
    site_url = str(settings.site_url) if settings and settings.site_url else None
    about = {
        "title": library.title,
        "edition": settings.edition if settings else None,
        "date": settings.date.date.isoformat() if settings and settings.date else None,
        "max_age_days": settings.max_age.days if settings and settings.max_age else None,
        "language": library.language,
        "site_url": site_url,
        "key": library.key,
    }
    desk = [
        {"ask": str(one.ask), "bad": str(one.bad), "say": str(one.say), "stop_use": rich(one.stop_use)}
        for one in library.desk
    ]
    return {
        "library": about,
        "count": len(trees),
        "trees": [_entry(tree, data) for tree, data in zip(trees, compiled, strict=True)],
        "words": [list(map(str, group)) for group in library.words],
        "desk": desk,
        "moved": Moves(library).table(),
    }


def _entry(tree: Tree, data: CompiledTree) -> dict[str, Any]:
    """Return a tree in short."""
    return {
        "id": data["id"],
        "title": data["title"],
        "area": data["area"],
        "equipment": data["equipment"],
        "heard_as": [str(text) for text in tree.heard_as],
        "words": _bag(data),
        "steps": len(data["steps"]),
        "minutes": data["steps"][data["start"]]["left"],
        "tag": data["tag"],
        "fingerprint": data["fingerprint"],
        "url": f"trees/{data['id']}.html",
    }


def _bag(data: CompiledTree) -> str:
    """Return the words of the steps and answers, each once, for the finder."""
    texts: list[str] = []
    for step in data["steps"].values():
        texts += [step["text"], step.get("say", "")]
        for way in step["ways"]:
            if way["via"] in ("answer", "unsure", "band"):
                texts += [way["label"], way.get("say", "")]
    spelt = unicodedata.normalize("NFD", " ".join(texts).lower())
    return " ".join(sorted(set(re.findall(r"[^\W_]+", re.sub("[\u0300-\u036f'\u2019]", "", spelt)))))
