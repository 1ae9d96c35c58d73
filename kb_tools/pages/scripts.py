"""The walker's scripts and styles as the site carries them: without comments, a page asks for what it uses.

The sources stay many small files; each of the site's scripts is made of several, in one function with a block for each.
What needs no room is written in its shortest form, and local variables get short names; names of properties stay.
"""

from __future__ import annotations

import json
import re
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import minify_html
from rjsmin import jsmin

from kb_tools.pages.short_names import shortened

if TYPE_CHECKING:
    from kb_tools.pages.words import Node, Words

WALKER = Path(__file__).parent / "walker"
ENGINE = ("load", "code", "reading", "stand", "walk", "resume")
"""Scripts that walk trees without a page, each after those that it uses."""
FINDER = ("find_words", "find")
"""Scripts that find without a page."""
BUNDLES = {
    "walker": (
        "load", "reading", "store", "desk", "stand", "walk", "record", "code", "resume", "dom", "view_start", "app",
        "view_known", "view_reading", "view_end", "view_session", "view_record", "view_desk", "view_step", "view",
        "view_lists",
    ),
    "finder": (*FINDER, "view_find"),
    "day": ("take", "view_visits"),
}  # fmt: skip
"""What each script of the site is made of, each file after what it takes from others at once. Otherwise the order only
matters to what compresses the script: it looks 32 KB back, so alike files are near one another (found by trying)."""
_NAME = re.compile(r"[A-Za-z_]\w*")
_MODULE = re.compile(r'/\*\*.*?\*/\s*\(function \(\) \{\s*"use strict";\n(.*)\}\)\(\);\s*', re.DOTALL)
"""How each of the walker's files is written; what stands in the braces becomes a block of the script."""
_BEGIN = "(function(){"
_PAGE = re.compile(rf"<script>{re.escape(_BEGIN)}(.*)</script>", re.DOTALL)
_NOTE = "/* @__PURE__ */ "
"""What the minifier adds for other tools."""
_SHARES = (
    "const faultTrees = (window.faultTrees = window.faultTrees || {});",
    "const view = (faultTrees.view = faultTrees.view || /** @type {any} */ ({}));",
)
"""What files begin with, and a script says once."""
_SHARED = "|".join(map(re.escape, _SHARES))
_SOUGHT = "bring_match"
"""The lists of this group are looked for in texts; all other words are shown."""


def words_script(words: Words) -> str:
    """Return the script with the texts of the walk."""
    own = f"{_literal(words.walk)[:-1]},locale:{_literal(words.locale)}}}"
    return f"(window.faultTrees=window.faultTrees||{{}}).words={own};\n"


def _literal(node: Node, *, sought: bool = False) -> str:
    """Return texts, lists and groups of them as they stand in a script, with quotes only where they are needed.

    Args:
        node: The texts.
        sought: Whether a list is looked for in other texts: then it becomes a pattern that finds any of it.

    """
    if isinstance(node, str):
        return json.dumps(node, ensure_ascii=False)
    if isinstance(node, list):
        pattern = "|".join(map(re.escape, node)).replace("/", r"\/").replace(r"\ ", " ")
        return f"/{pattern}/i" if sought else f"[{','.join(map(_literal, node))}]"
    inside = [
        f"{name if _NAME.fullmatch(name) else json.dumps(name)}:{_literal(part, sought=name == _SOUGHT or sought)}"
        for name, part in node.items()
    ]
    return f"{{{','.join(inside)}}}"


@cache
def walker_script() -> str:
    """Return what every page uses: all scripts but the texts, the finder and the page of the day's visits."""
    return _joined(*BUNDLES["walker"])


@cache
def finder_script() -> str:
    """Return the finder; it comes after `walker_script`."""
    return _joined(*BUNDLES["finder"])


@cache
def day_script() -> str:
    """Return what the page of the day's visits uses besides; it comes after `finder_script`."""
    return _joined(*BUNDLES["day"])


def _joined(*names: str) -> str:
    blocks = list[str]()
    for name in names:
        found = _MODULE.fullmatch((WALKER / f"{name}.js").read_text("utf-8"))
        if found is None:
            raise ValueError(f"{name}.js is no function in strict mode that is called at once")
        blocks.append(f"{{{re.sub(_SHARED, '', found[1])}}}")
    shared = "".join(_SHARES)
    return squeezed(f'(function () {{ "use strict"; {shared} {"".join(blocks)} }})();')


def squeezed(script: str) -> str:
    """Return a script that does the same and takes less room.

    Args:
        script: One function in strict mode that is called at once.

    Raises:
        ValueError: when it is something else, or cannot be parsed.

    """
    # The minifier is one of pages. It leaves comments in scripts, takes strict mode for granted and renames nothing.
    made = _PAGE.fullmatch(minify_html.minify(f"<script>{jsmin(script)}</script>", minify_js=True))
    if made is None or "use strict" not in script:
        raise ValueError("a script is no function in strict mode that is called at once")
    return shortened(f'{_BEGIN}"use strict";{made[1].replace(_NOTE, "")}\n')


def record_schema() -> str:
    """Return the JSON Schema of a visit record's file."""
    return (WALKER / "record.schema.json").read_text("utf-8")


def styles() -> str:
    """Return the walker's styles."""
    return "".join(path.read_text("utf-8") for path in sorted(WALKER.glob("*.css")))
