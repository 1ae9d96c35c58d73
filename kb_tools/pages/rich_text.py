"""Markdown of the library to HTML and to blocks for the browser, without raw HTML.

One Markdown instance serves all texts; plain sentences, which most texts are, take a short cut;
what was rendered once is remembered.
"""

from __future__ import annotations

import re
from functools import cache
from html import escape, unescape
from html.parser import HTMLParser
from typing import TYPE_CHECKING, Any, TypeAlias
from urllib.parse import urlsplit

from markdown import Markdown
from markdown.treeprocessors import Treeprocessor
from markdown.util import AMP_SUBSTITUTE
from markupsafe import Markup

from kb_tools.model.figures import SCHEME
from kb_tools.model.values import is_id

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

Block: TypeAlias = "str | list[Block] | list[str | dict[str, str] | list[Block]]"
"""A text, `[tag, [blocks]]` or `[tag, {attributes}, [blocks]]`."""

TAGS = frozenset(
    (
        *("p", "br", "strong", "em", "code", "ul", "ol", "li", "a", "h4", "h5", "h6", "blockquote"),
        *("table", "thead", "tbody", "tr", "th", "td"),
    )
)
"""What blocks may hold; anything else is dropped to its text."""

_PLAIN = re.compile(r"(?![\s#>+\-=:|~]|\d+[.)])[^\n\\`*_\[\]<>&!|~{}^]*[^\s\\`*_\[\]<>&!|~{}^]")
"""A line in which Markdown finds nothing to do."""
_SCHEMES = frozenset({"http", "https", "mailto", "tel"})
_HEADINGS = {"h1": "h4", "h2": "h5", "h3": "h6", "h4": "h6", "h5": "h6"}


class _Safe(Treeprocessor):
    """Headings below those of the page; links and pictures that stay within reach."""

    def run(self, root: Element) -> None:
        """Change `root` in place."""
        for element in root.iter():
            element.tag = _HEADINGS.get(element.tag, element.tag)
            for name in ("href", "src"):
                address = element.get(name)
                if address is not None:
                    element.set(name, _address(address, is_picture=name == "src"))


def _address(address: str, *, is_picture: bool) -> str:
    """Return an address that may stand in a page: of a known scheme, or below the site's root."""
    while (decoded := unescape(address.replace(AMP_SUBSTITUTE, "&"))) != address:
        address = decoded
    # Browsers pass over control characters and white space when they look for a scheme.
    address = "".join(char for char in address if char > " ")
    try:
        parts = urlsplit(address)
    except ValueError:
        return "#"
    if parts.scheme == SCHEME and not is_picture:
        address = figure_address(parts.path)
        return _ROOT + address if address else "#"
    if parts.scheme or parts.netloc:
        return address if parts.scheme.lower() in _SCHEMES and not is_picture else "#"
    if not parts.path:
        return f"#{parts.fragment}"
    if ":" in parts.path or "\\" in parts.path:
        return "#"
    path = re.sub(r"\.md$", ".html", parts.path.lstrip("/"))
    return _ROOT + parts._replace(path=path).geturl()


_ROOT = "ft-site-root:"
"""Stands before an address below the site's root until the page is known that shows it."""

FIGURES = "figures"
"""Where the pages of the tables of figures lie, from the site's root."""


def figure_address(name: str) -> str:
    """Return where a row of figures stands, from the site's root.

    Args:
        name: `table/row`, or a table alone.

    Returns:
        The address; empty where `name` is no such name.

    """
    table, slash, row = name.partition("/")
    if not is_id(table) or (slash and not is_id(row)):
        return ""
    return f"{FIGURES}/{table}.html#" + (f"{table}-{row}" if slash else f"figures-{table}")


@cache
def _markdown() -> Markdown:
    """Return the one Markdown instance, which passes no raw HTML."""
    instance = Markdown(extensions=["tables", "sane_lists"], output_format="html")
    instance.preprocessors.deregister("html_block")
    instance.inlinePatterns.deregister("html")
    instance.treeprocessors.register(_Safe(instance), "ft-safe", 5)
    return instance


@cache
def _rendered(text: str) -> str:
    if _PLAIN.fullmatch(text):
        return f"<p>{escape(text)}</p>"
    return _markdown().reset().convert(text)


@cache
def html(text: str, root: str = "") -> Markup:
    """Return the Markdown `text` as HTML blocks.

    Args:
        text: Markdown; raw HTML in it comes out as the text it is.
        root: What leads from the page to the site's root, `../` on a tree page: links and pictures
            of the text are given from the root.

    """
    return Markup(_rendered(text).replace(_ROOT, root))  # noqa: S704 - made from escaped text


@cache
def inline(text: str, root: str = "") -> Markup:
    """Return `text` as HTML without the paragraph around it, where it is a single one."""
    rendered = html(text, root)
    if rendered.startswith("<p>") and rendered.endswith("</p>") and rendered.count("<p>") == 1:
        return Markup(rendered[3:-4])  # noqa: S704 - cut from safe HTML
    return rendered


class _Reader(HTMLParser):
    """Rendered HTML to blocks."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.blocks: list[Block] = []
        self.open: list[tuple[str, list[Block]]] = [("", self.blocks)]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Open an allowed tag; a picture leaves its text alternative."""
        given = dict(attrs)
        if tag == "img":
            self.handle_data(given.get("alt") or "")
        elif tag in TAGS:
            children: list[Block] = []
            href = given.get("href") or ""
            node: Any = [tag, children]
            if tag == "a" and href != "#":
                node = [tag, {"href": href.replace(_ROOT, "")}, children]
            self.open[-1][1].append(node)
            if tag != "br":
                self.open.append((tag, children))

    def handle_endtag(self, tag: str) -> None:
        """Close the tag if it is the open one."""
        if len(self.open) > 1 and self.open[-1][0] == tag:
            self.open.pop()

    def handle_data(self, data: str) -> None:
        """Keep text, but not the line breaks between blocks."""
        children = self.open[-1][1]
        if data and (data.strip() or self.open[-1][0] in ("p", "li", "td", "th", "strong", "em")):
            children.append(data)


@cache
def _blocks(text: str) -> tuple[Block, ...]:
    if _PLAIN.fullmatch(text):
        paragraph: Any = ["p", [text]]
        return (paragraph,)
    return tuple(read_back(_rendered(text)))


def read_back(rendered: str) -> list[Block]:
    """Return HTML of this module as blocks; addresses stay as they stand in it."""
    reader = _Reader()
    reader.feed(rendered)
    reader.close()
    return reader.blocks


def blocks(text: str) -> list[Block]:
    """Return the Markdown `text` as blocks, from which the browser builds nodes without HTML.

    A block is a text, `[tag, [blocks]]` or `[tag, {"href": address}, [blocks]]` with a tag of
    `TAGS`. Relative addresses are given from the site's root. The list must not be changed.
    """
    return list(_blocks(text))


def plain(text: str) -> str:
    """Return the Markdown `text` as one line of plain text."""
    if _PLAIN.fullmatch(text):
        return text
    return " ".join(_plain_of(list(_blocks(text))).split())


def _plain_of(nodes: list[Block]) -> str:
    parts = []
    for node in nodes:
        if isinstance(node, str):
            parts.append(node)
        else:
            children = node[-1]
            parts.append(_plain_of(children) if isinstance(children, list) else "")  # type: ignore[arg-type]
            if node[0] not in ("strong", "em", "code", "a"):
                parts.append(" ")
    return "".join(parts)
