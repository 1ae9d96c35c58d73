"""XML as DITA files are written: elements, Markdown of the library as DITA, documents with their type."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree as ET

from kb_tools.pages.rich_text import FIGURES

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

    from kb_tools.pages.rich_text import Block

_TYPES = {
    "troubleshooting": ("-//OASIS//DTD DITA Troubleshooting//EN", "troubleshooting.dtd"),
    "task": ("-//OASIS//DTD DITA Task//EN", "task.dtd"),
    "topic": ("-//OASIS//DTD DITA Topic//EN", "topic.dtd"),
    "map": ("-//OASIS//DTD DITA Map//EN", "map.dtd"),
}
"""Root element -> public and system identifier of its document type (OASIS DITA 1.3, part 3)."""
_MIXED = frozenset(
    "title navtitle shortdesc p li cmd keyword indexterm stentry xref choice ph typeofhazard consequence howtoavoid "
    "responsibleParty note lq b i codeph alt q".split()
)
"""Elements that hold text: white space in them would be read as such."""
_INLINE = {"strong": "b", "em": "i", "code": "codeph"}
_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What XML 1.0 cannot hold (section 2.2)."""
_FIGURE = re.compile(rf"{FIGURES}/(?P<table>[a-z0-9-]+)\.html(?:#(?P<row>.*))?")
_EXTERNAL = re.compile(r"[a-z][a-z0-9+.-]*:", re.IGNORECASE)


def element(tag: str, *inside: str | Element | None, **attributes: str) -> Element:
    """Return an element with texts and elements in their order; None is passed over, `_` after a name is dropped."""
    made = ET.Element(tag, {name.rstrip("_").replace("_", "-"): clean(value) for name, value in attributes.items()})
    for part in inside:
        add(made, part)
    return made


def add(into: Element, part: str | Element | None) -> None:
    """Put a text or an element at the end of an element."""
    if part is None:
        return
    if isinstance(part, ET.Element):
        into.append(part)
    elif len(into):
        into[-1].tail = (into[-1].tail or "") + clean(part)
    else:
        into.text = (into.text or "") + clean(part)


def clean(text: str) -> str:
    """Return a text without the characters that XML cannot hold."""
    return _NOT_XML.sub("\N{REPLACEMENT CHARACTER}", str(text))


def blocks_of(nodes: list[Block]) -> list[Element]:
    """Return rich text as block elements of DITA."""
    made: list[Element] = []
    for node in nodes:
        if isinstance(node, str):
            made.append(element("p", node.strip()))
        else:
            made += _block(node)
    return made


def _block(node: Any) -> list[Element]:  # noqa: ANN401 - a block is a list of mixed kinds
    tag, inside = node[0], node[-1]
    if tag in ("ul", "ol"):
        return [element(tag, *[_item(child) for child in inside if not isinstance(child, str)])]
    if tag == "table":
        return [_table(inside)]
    if tag == "blockquote":
        return [element("lq", *blocks_of(inside))]
    if tag in ("h4", "h5", "h6"):
        return [element("p", element("b", *inline_of(inside)))]
    return [element("p", *inline_of(inside if tag == "p" else [node]))]


def _item(node: Any) -> Element:  # noqa: ANN401 - see `_block`
    """Return an item of a list: its text, and the lists in it."""
    made = element("li")
    for child in node[-1]:
        if not isinstance(child, str) and child[0] in ("p", "ul", "ol", "table", "blockquote"):
            for block in _block(child):
                add(made, block)
        else:
            for part in inline_of([child]):
                add(made, part)
    return made


def _table(parts: list[Any]) -> Element:
    rows = [row for part in parts for row in part[-1]]
    cells = [[element("stentry", *inline_of(cell[-1])) for cell in row[-1]] for row in rows]
    has_head = bool(rows) and rows[0][-1][0][0] == "th"
    names = ["sthead" if has_head and not number else "strow" for number in range(len(rows))]
    return element("simpletable", *[element(name, *row) for name, row in zip(names, cells, strict=True)])


def inline_of(nodes: list[Block]) -> list[str | Element]:
    """Return rich text as what may stand in a line of DITA."""
    made: list[str | Element] = []
    for node in nodes:
        if isinstance(node, str):
            made.append(re.sub(r"\s+", " ", node))
            continue
        tag: Any = node[0]
        inside: Any = node[-1]
        address = str(node[1]["href"]) if tag == "a" and len(node) > 2 else ""  # type: ignore[call-overload,index] # noqa: PLR2004
        if tag in _INLINE:
            made.append(element(_INLINE[tag], *inline_of(inside)))
        elif figure := _FIGURE.fullmatch(address):
            table, row = figure["table"], (figure["row"] or "").removeprefix(figure["table"]).removeprefix("-")
            made.append(element("xref", *inline_of(inside), href=figure_href(table, row)))
        elif _EXTERNAL.match(address):
            made.append(element("xref", *inline_of(inside), href=address, scope="external", format="html"))
        elif tag == "br":
            made.append(" ")
        else:
            made += [*([" "] if made and tag == "p" else []), *inline_of(inside)]
    return made


def figure_href(table: str, row: str = "") -> str:
    """Return the reference to a table of figures, or to one of its rows, from a topic: all lie one folder deep."""
    return f"../figures/{table}.dita#{table}/{row}" if row else f"../figures/{table}.dita"


def document_text(root: Element) -> str:
    """Return a DITA document as text: declaration, document type, and elements on lines of their own."""
    public, system = _TYPES[root.tag]
    _indent(root, "\n")
    head = f'<?xml version="1.0" encoding="UTF-8"?>\n<!DOCTYPE {root.tag} PUBLIC "{public}" "{system}">\n'
    return f"{head}{ET.tostring(root, encoding='unicode')}\n"


def _indent(parent: Element, line: str) -> None:
    """Put elements that hold no text on lines of their own; where text stands nothing is added."""
    if not len(parent) or parent.tag in _MIXED:
        return
    parent.text = f"{line} "
    for child in parent:
        _indent(child, f"{line} ")
        child.tail = f"{line} "
    parent[-1].tail = line
