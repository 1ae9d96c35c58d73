"""The pocket file: one HTML file with trees, drawings, finder and walk, and nothing beside it."""

from __future__ import annotations

import base64
import json
import mimetypes
import re
import zlib
from importlib.metadata import PackageNotFoundError, files
from importlib.resources import files as resource
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from kb_tools.findings import BuildError
from kb_tools.pages.browser_data import index_of
from kb_tools.pages.csp import pocket_policy
from kb_tools.pages.figures_page import figures_html
from kb_tools.pages.rich_text import FIGURES
from kb_tools.pages.scripts import finder_script, squeezed, walker_script, words_script
from kb_tools.pages.scripts import styles as walker_styles
from kb_tools.pages.site_pages import SITE_STYLES, SitePages
from kb_tools.pages.tree_data import compile_tree
from kb_tools.source.writing import write_whole

if TYPE_CHECKING:
    from pathlib import Path

    from kb_tools.rules.contract import Subject

POCKET = "pocket.html"
"""Where the file goes when nothing else is said, below the library's root."""


_TREE_PAGE = re.compile(r'href="trees/([a-z0-9-]+)\.html"')
"""What the site links to as a page is a part of this one."""
_FIGURES_PAGE = rf"{FIGURES}/[a-z0-9-]+\.html#"
"""A table of figures is one too."""
_HALO = " paint-order: stroke;"
"""A property of SVG 2 that the Nu HTML checker does not know in a style of a page; here the drawings bear it."""


def pack(root: Path, out: Path, subject: Subject) -> int:
    """Write the pocket file of a library; what stood there stays until the new one is whole.

    Args:
        root: The folder that holds trees/ and content/.
        out: The file.
        subject: The library of `root`, read and found without errors.

    Returns:
        The size of the file in bytes.

    Raises:
        LibraryError: when it cannot be written.

    """
    text = pocket(root, subject)
    write_whole(out, text)
    return len(text.encode("utf-8"))


def pocket(root: Path, subject: Subject) -> str:
    """Return the pocket file of a library as text; the same sources give the same text."""
    library = subject.library
    pages = SitePages(subject, with_drafts=False, with_reference=False, dot_program="")
    compiled = [
        compile_tree(library, subject.graph, subject.isolation, tree, pages.numbers[tree.id]) for tree in pages.trees
    ]
    index = index_of(library, pages.trees, compiled)
    for entry in index["trees"]:
        entry["url"] = f"#tree-{entry['id']}"
    carried = {
        "index": index,
        "trees": {tree["id"]: _leading_inside(tree) for tree in compiled},
        "drawings": {
            tree.id: [_as_xml(drawing) for _, _, drawing in pages.tree_page(tree.id).drawings] for tree in pages.trees
        },
        "pictures": _pictures(root, compiled),
    }
    symptoms = Markup(_TREE_PAGE.sub(r'href="#tree-\1"', str(pages.symptoms())))  # noqa: S704 - escaped already
    figures = Markup(re.sub(f'href="{_FIGURES_PAGE}', 'href="#', str(figures_html(library))))  # noqa: S704 - escaped already
    body = pages.render(
        "pocket", symptoms=symptoms, title=pages.title, trees=pages.trees, figures=figures, licence=_licence()
    )
    parts = resource("kb_tools.carriers") / "pocket_parts"
    style = (
        SITE_STYLES.read_text("utf-8").replace(_HALO, "") + walker_styles() + (parts / "pocket.css").read_text("utf-8")
    )
    own = squeezed((parts / "pocket.js").read_text("utf-8"))
    scripts = [own, words_script(pages.words), walker_script() + finder_script()]
    return _page(library.language, pages.title, style, body, _packed(carried), scripts)


def _leading_inside(data: Any) -> Any:  # noqa: ANN401 - any part of a tree's data
    """Return a tree's data with its links to rows of figures leading to the rows in this file."""
    if isinstance(data, dict):
        return {
            name: re.sub(f"^{_FIGURES_PAGE}", "#", part) if name == "href" else _leading_inside(part)
            for name, part in data.items()
        }
    return [_leading_inside(part) for part in data] if isinstance(data, list | tuple) else data


def _as_xml(drawing: str) -> str:
    """Return an inline drawing as a document of its own: it is parsed as XML, not as HTML."""
    text = str(drawing).replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
    return text.replace('class="ft-answer"', 'class="ft-answer" paint-order="stroke"')


def _page(language: str, title: str, style: str, body: Markup, data: str, scripts: list[str]) -> str:
    """Return the whole file. Scripts and style of ours stand in it as they are, so nothing in them may end them."""
    if "</" in "".join(scripts) or "</" in style:
        raise BuildError("A script or style of the pocket file would end its own element")
    head = Markup('<meta charset="utf-8"><title>{}</title>').format(title)
    code = "".join(f"<script>{script}</script>" for script in scripts)
    return (
        f'<!doctype html>\n<html lang="{Markup.escape(language)}"><head>{head}'
        f'<meta http-equiv="Content-Security-Policy" content="{pocket_policy(scripts, style)}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1"><meta name="ft-root" content="">'
        f"<style>{style}</style></head><body>\n{body}\n"
        f'<script type="text/plain" id="ft-pocket-data">{data}</script>\n{code}</body></html>\n'
    )


def _packed(carried: dict[str, Any]) -> str:
    """Return the data as base 64 of a raw DEFLATE stream (RFC 1951)."""
    text = json.dumps(carried, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    packer = zlib.compressobj(9, zlib.DEFLATED, -zlib.MAX_WBITS)
    return base64.b64encode(packer.compress(text.encode("utf-8")) + packer.flush()).decode("ascii")


def _pictures(root: Path, compiled: list[Any]) -> dict[str, str]:
    """Return every picture that a step shows, as a data address."""
    names = {step["picture"]["src"] for tree in compiled for step in tree["steps"].values() if step.get("picture")}
    pictures = {}
    for name in sorted(names):
        kind = mimetypes.guess_type(name)[0] or "application/octet-stream"
        content = base64.b64encode((root / "content" / name).read_bytes()).decode("ascii")
        pictures[name] = f"data:{kind};base64,{content}"
    return pictures


def _licence() -> str:
    """Return the text of our own licence: the file carries nobody else's programs."""
    try:
        found = [file for file in files("kb-tools") or () if file.name == "LICENSE"]
        if found:
            return str(found[0].read_text("utf-8"))
    except (PackageNotFoundError, FileNotFoundError):
        pass
    return "MIT License"
