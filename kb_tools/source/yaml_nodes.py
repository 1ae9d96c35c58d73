"""YAML text to nodes that keep their marks; what is wrong with it becomes findings.

Nothing is resolved: every scalar stays the text that the author wrote, so that `Yes`, `010`
and `1:30` mean what they look like.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol

import yaml
from yaml.cyaml import CParser  # type: ignore[attr-defined]  # missing in the stubs
from yaml.nodes import CollectionNode, MappingNode, Node, ScalarNode, SequenceNode

from kb_tools.findings import Finding, Place, Severity
from kb_tools.source.yaml_errors import CUT, ESCAPED, QUOTE, UNESCAPE, UNQUOTED, explain

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

MAX_DEPTH = 30
"""The format itself nests seven deep."""
MAX_NODES = 200_000
"""Nodes after aliases are expanded; a file within the size limit without aliases stays below."""

_SYNTAX = "yaml-syntax"
_LIMIT = "limit-kept"


class _Loader(CParser):
    """The C parser, and in place of a resolver of types: nothing. Every value is what it says."""

    def resolve(self, *_: object) -> str:
        """Return the one tag that there is here; nobody reads it."""
        return ""

    def descend_resolver(self, *_: object) -> None:
        """Take no notice of where in the document the parser is."""

    def ascend_resolver(self) -> None:
        """Take no notice of where in the document the parser is."""


_LOADER: Any = _Loader
"""The stubs list PyYAML's own loaders only."""


class _Mark(Protocol):
    """Where something stands, counted from 0; both parsers have a class of their own for it."""

    @property
    def line(self) -> int: ...
    @property
    def column(self) -> int: ...


class _Spot(NamedTuple):
    """A mark of our own."""

    line: int
    column: int


def compose(text: str, name: str) -> tuple[Node | None, list[Finding]]:
    """Return the root node of the YAML `text` of the file `name`, or None, with findings.

    Raises nothing for any text: syntax errors, more than one document, nesting past `MAX_DEPTH`
    and aliases that expand past `MAX_NODES` are findings.
    """
    node, problem = _parsed(text, name)
    if node is None:
        return None, [problem or _nothing_in(name)]
    if "*" in text and "&" in text:
        heavy = _expands_too_far(node)
        if heavy is not None:
            message = "Aliases make this refer to itself, or repeat it too often"
            return None, [_at(name, heavy, _LIMIT, message, "Write the content out")]
    findings: list[Finding] = []
    if "!" in text and _MAY_HOLD_TAG.search(text):
        findings += _tags(node, text, name)
    if "&" in text and _MAY_HOLD_ANCHOR.search(text):
        findings += _anchors(node, text, name)
    if "\\" in text and _MAY_HOLD_ESCAPE.search(text):
        findings += _escapes(node, name)
    if _MAY_HOLD_QUESTION.search(text):
        findings += _questions(node, name)
    return node, findings


def _parsed(text: str, name: str) -> tuple[Node | None, Finding | None]:
    """Return the root node, or what keeps the parser from making one; neither for comments only."""
    separator = None if text.isascii() else _LINE_SEPARATOR.search(text)
    if separator:
        message = "An invisible character stands here that ends the line for YAML"
        return None, _character(name, text[: separator.start()], message)
    try:
        deep = _first_too_deep(text) if _may_be_deep(text) else None
        if deep is not None:
            return None, _too_deep(name, deep)
        return yaml.compose(text, Loader=_LOADER), None
    except yaml.MarkedYAMLError as error:
        return None, _syntax_finding(error, text, name)
    except yaml.YAMLError as error:
        return None, _reader_finding(error, text, name)


def _nothing_in(name: str) -> Finding:
    message, remedy = "The file holds only comments", "Write its content, or delete it"
    return Finding(Place(name), "file-readable", Severity.ERROR, message, remedy)


def cut_lines(text: str) -> dict[int, tuple[int, int]]:
    """Return where a comment starts that may be meant as text, as in `Socket #3`.

    Args:
        text: The YAML text.

    Returns:
        Line -> (column at which what stands before the comment ends, column of its #), all from 0.

    """
    if "#" not in text:
        return {}
    found = ((number, CUT.search(line)) for number, line in enumerate(text.split("\n")) if "#" in line)
    return {number: (match.start() + 1, match.start(1)) for number, match in found if match}


def is_nothing(node: Node) -> bool:
    """Tell whether nothing stands after a key: an empty plain scalar, `~` or `null`."""
    return isinstance(node, ScalarNode) and not node.style and node.value in ("", "~", "null")


def _at(name: str, node: Node, rule: str, message: str, remedy: str) -> Finding:
    mark = node.start_mark
    place = Place(name, mark.line + 1, mark.column + 1)
    return Finding(place, rule, Severity.ERROR, message, remedy)


def _too_deep(name: str, mark: _Mark | None) -> Finding:
    place = Place(name, mark.line + 1, mark.column + 1) if mark else Place(name)
    message = f"Nesting goes deeper than {MAX_DEPTH} levels here"
    return Finding(place, _LIMIT, Severity.ERROR, message, "Write it flatter; a tree nests seven deep")


def _may_be_deep(text: str) -> bool:
    """Tell whether `text` could nest past the limit, by a bound that is cheap and never too low."""
    if text.count("{") + text.count("[") > MAX_DEPTH // 2:
        flow = depth = 0
        for bracket in re.findall(r"[\[\]{}]", text):
            flow = flow + 1 if bracket in "[{" else max(0, flow - 1)
            depth = max(depth, flow)
        if depth > MAX_DEPTH // 2:
            return True
    deepest = re.compile(rf"^[ \-?:]{{{MAX_DEPTH}}}", re.MULTILINE)
    return deepest.search(text) is not None


def _first_too_deep(text: str) -> _Mark | None:
    """Return the mark of the first collection past the limit; the parser's events do not recurse."""
    depth = 0
    for event in yaml.parse(text, Loader=_LOADER):
        if isinstance(event, yaml.CollectionStartEvent):
            depth += 1
            if depth > MAX_DEPTH:
                return event.start_mark
        elif isinstance(event, yaml.CollectionEndEvent):
            depth -= 1
    return None


def _bracket_too_deep(text: str) -> int:
    """Return where brackets nest past the limit; the parser gives up further on, looking ahead."""
    depth = 0
    for bracket in re.finditer(r"[\[\]{}]", text):
        depth = depth + 1 if bracket[0] in "[{" else max(0, depth - 1)
        if depth >= MAX_DEPTH:  # all of them within the file's outermost group of keys
            return bracket.start()
    return 0


def _children(node: Node) -> Iterable[Node]:
    if isinstance(node, MappingNode):
        return (child for pair in node.value for child in pair)
    if isinstance(node, SequenceNode):
        children: list[Node] = node.value
        return children
    return ()


def _all_nodes(root: Node) -> Iterator[Node]:
    """Yield every node once, however often aliases repeat it."""
    stack, seen = [root], {id(root)}
    while stack:
        node = stack.pop()
        yield node
        for child in _children(node):
            if id(child) not in seen:
                seen.add(id(child))
                stack.append(child)


def _expands_too_far(root: Node) -> Node | None:
    """Return a node that is infinite or past the limit once aliases are expanded, or None."""
    sizes: dict[int, int] = {}
    open_nodes: set[int] = set()
    stack: list[tuple[Node, bool]] = [(root, False)]
    while stack:
        node, leaving = stack.pop()
        key = id(node)
        if leaving:
            open_nodes.discard(key)
            sizes[key] = 1 + sum(sizes[id(child)] for child in _children(node))
            if sizes[key] > MAX_NODES:
                return node
        elif key in open_nodes:
            return node
        elif key not in sizes:
            open_nodes.add(key)
            stack.append((node, True))
            stack.extend((child, False) for child in _children(node))
    return None


_TAG = re.compile(r"(?:&\S+\s+)?(!\S*)")
_MAY_HOLD_TAG = re.compile(r"(?:^|[\s\[{,])!")


def _tags(root: Node, text: str, name: str) -> Iterator[Finding]:
    """Yield a finding for each tag: the format needs none, and to some readers they are code."""
    for node in _all_nodes(root):
        tag = _TAG.match(text, node.start_mark.index)
        if tag:
            yield _at(
                name,
                node,
                _SYNTAX,
                f"The tag {tag[1]} has no meaning here",
                "Delete it; a text that starts with an exclamation mark must be in quotes",
            )


_ANCHOR = re.compile(r"&([\w-]+)(?![\w-]|\s+!)")
_MAY_HOLD_ANCHOR = re.compile(r"(?:^|[\s\[{,])&[\w-]")


def _anchors(root: Node, text: str, name: str) -> Iterator[Finding]:
    """Yield a finding for each anchor that no alias names: a text that starts so would lose its first word."""
    for node in _all_nodes(root):
        anchor = _ANCHOR.match(text, node.start_mark.index)
        if anchor and f"*{anchor[1]}" not in text:
            yield _at(
                name,
                node,
                _SYNTAX,
                f"The anchor {anchor[0]} is named nowhere",
                "Delete it; a text that starts with & must be in quotes",
            )


_MAY_HOLD_ESCAPE = re.compile(r"\\[0abefvrNLPxuU]")
_NO_TEXT = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ufffe\uffff]")
"""Characters that cannot be seen and that a page, a book or a script may trip over."""


def _escapes(root: Node, name: str) -> Iterator[Finding]:
    r"""Yield a finding for each text in which a backslash became a control character: `"C:\bin"`."""
    for node in _all_nodes(root):
        if isinstance(node, ScalarNode) and node.style == '"' and _NO_TEXT.search(node.value):
            yield _at(name, node, _SYNTAX, ESCAPED, UNESCAPE)


_BLANK = r"(?:\s|#[^\n]*\n)"
_MAY_HOLD_QUESTION = re.compile(rf"""[{{\[,]{_BLANK}*+(?:[\w-]+:{_BLANK}++)?+[^\s'"{{}}\[\],#][^{{}}\[\],?]*+\?""")
"""Matches wherever a text between braces could hold a question mark without quotes, and more."""


def _questions(root: Node, name: str) -> Iterator[Finding]:
    """Yield a finding for each text between braces that holds a question mark and is not quoted.

    Newer releases of the C parser let them pass, older ones and the parser in pure Python do not:
    a library must not be sound on one machine and broken on the next.
    """
    for node in _all_nodes(root):
        if isinstance(node, CollectionNode) and node.flow_style:
            for child in _children(node):
                if isinstance(child, ScalarNode) and not child.style and "?" in child.value[1:]:
                    yield _at(name, child, _SYNTAX, UNQUOTED.format(what="a question mark"), QUOTE)


def _syntax_finding(error: yaml.MarkedYAMLError, text: str, name: str) -> Finding:
    """Return the finding for a parser's error."""
    if "nesting" in (error.problem or ""):
        before = text[: _bracket_too_deep(text)]
        return _too_deep(name, _Spot(before.count("\n"), len(before) - before.rfind("\n") - 1))
    line, column, message, remedy = explain(error, text, lambda: yaml.scan(text, Loader=_LOADER))
    return Finding(Place(name, line + 1, column + 1), _SYNTAX, Severity.ERROR, message, remedy)


def _reader_finding(error: yaml.YAMLError, text: str, name: str) -> Finding:
    """Word an error about a character that YAML does not allow; its position counts bytes."""
    position = getattr(error, "position", 0) or 0
    before = text.encode("utf-8")[:position].decode("utf-8", "ignore")
    return _character(name, before, "A control character stands here, which YAML does not allow")


_LINE_SEPARATOR = re.compile("[\x85\u2028\u2029]")
"""Invisible characters that end a line for a YAML parser and for nobody else."""


def _character(name: str, before: str, message: str) -> Finding:
    """Return the finding for the character that follows `before`."""
    place = Place(name, before.count("\n") + 1, len(before) - before.rfind("\n"))
    return Finding(place, _SYNTAX, Severity.ERROR, message, "Delete it")
