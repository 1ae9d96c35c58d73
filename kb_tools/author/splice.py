"""Change a YAML file where it must change, and leave every other byte as it is.

A parser says where things stand; the change itself is made in the text. New lines are written as
`kb` writes YAML, in the style of their neighbours: an item beside items between braces stands
between braces too.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from yaml.nodes import CollectionNode, MappingNode, Node, ScalarNode, SequenceNode

from kb_tools.author.yaml_text import flow, mapping, scalar
from kb_tools.findings import LibraryError
from kb_tools.source.files import decode
from kb_tools.source.yaml_nodes import compose, is_nothing

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from kb_tools.findings import Place

_NEWLINE = re.compile(r"\r\n|\r|\n")
_MARK = "\N{ZERO WIDTH NO-BREAK SPACE}"


class Sheet:
    """A YAML file under change."""

    def __init__(self, name: str, text: str) -> None:
        """Read a text.

        Args:
            name: The file, as messages name it.
            text: Its text, with whatever ends of lines and byte-order mark it has.

        Raises:
            LibraryError: when it cannot be read; what is wrong is in the message.

        """
        self.name, self._text = name, text
        self._edits: list[tuple[int, int, str]] = []
        ends = list(_NEWLINE.finditer(text))
        self._starts = [len(_MARK) if text.startswith(_MARK) else 0, *(end.end() for end in ends)]
        self._stops = [*(end.start() for end in ends), len(text)]
        self._newline = ends[0][0] if ends else "\n"
        plain, findings = decode(text.encode("utf-8"), name)
        root, more = compose(plain, name) if plain is not None else (None, [])
        if not isinstance(root, MappingNode | SequenceNode):
            first = next(iter([*findings, *more]), None)
            told = f"{first.place}: {first.message}. {first.remedy}" if first else f"{name} holds no keys"
            raise LibraryError(f"{told}. Mend that first; nothing was changed")
        self.root: MappingNode | SequenceNode = root

    def result(self) -> str:
        """Return the text with all changes."""
        parts: list[str] = []
        at = 0
        for start, stop, new in sorted(self._edits, key=lambda edit: (edit[0], edit[1])):
            parts += [self._text[at:start], new.replace("\n", self._newline)]
            at = stop
        return "".join([*parts, self._text[at:]])

    # --- places ---------------------------------------------------------------------------------

    def _offset(self, line: int, column: int) -> int:
        return self._starts[line] + column

    def _line(self, number: int) -> str:
        return self._text[self._starts[number] : self._stops[number]]

    def last_line(self, node: Node) -> int:
        """Return the last line, from 0, that a node stands on, comments that belong to it left out."""
        if isinstance(node, CollectionNode) and not node.flow_style and node.value:
            last = node.value[-1]
            return self.last_line(_value(last) if isinstance(last, tuple) else last)
        end = node.end_mark
        line: int = end.line
        if isinstance(node, ScalarNode) and node.style in ("|", ">"):
            line -= end.column == 0
            header = self._line(node.start_mark.line)[node.start_mark.column :]
            while line > node.start_mark.line and not self._line(line).strip() and "+" not in header.split("#")[0]:
                line -= 1
        return line

    def _after(self, node: Node, indent: int) -> int:
        """Return the last line of a node with the comments that follow it deeper than `indent`."""
        line = self.last_line(node)
        while line + 1 < len(self._starts):
            follows = self._line(line + 1)
            if not follows.lstrip().startswith("#") or len(follows) - len(follows.lstrip()) <= indent:
                break
            line += 1
        return line

    def lines_of(self, key: Node, value: Node) -> list[str]:
        """Return the lines of a pair in a block mapping, from its key on, as they are written."""
        first, *rest = [self._line(number) for number in range(key.start_mark.line, self.last_line(value) + 1)]
        return [first[key.start_mark.column :], *rest]

    # --- changes --------------------------------------------------------------------------------

    def _edit(self, start: int, stop: int, new: str) -> None:
        self._edits.append((start, stop, new))

    def _insert_lines(self, after: int, lines: list[str]) -> None:
        """Put lines after the line `after`."""
        text = "\n".join(lines)
        if after + 1 < len(self._starts):
            self._edit(self._starts[after + 1], self._starts[after + 1], f"{text}\n")
        else:
            self._edit(self._stops[after], self._stops[after], f"\n{text}")

    def rename(self, place: Place, old: str, new: str) -> None:
        """Write another id where `old` stands, quoted or not.

        Args:
            place: Where it starts, counted from 1.
            old: What stands there.
            new: What is to stand there.

        """
        start = self._offset(place.line - 1, place.column - 1)
        start += self._text[start : start + 1] in ("'", '"')
        if not self._text.startswith(old, start):
            raise LibraryError(f"{place}: `{old}` is written in a way that cannot be changed here; change it by hand")
        self._edit(start, start + len(old), new)

    def set_scalar(self, node: Node, value: object, *, inside_flow: bool) -> None:
        """Write another value in the place of a scalar that stands on one line."""
        start, end = node.start_mark, node.end_mark
        new = flow(value) if inside_flow else scalar(value)
        self._edit(self._offset(start.line, start.column), self._offset(end.line, end.column), new)

    def set_flow(self, node: CollectionNode, text: str) -> None:
        """Write another text in the place of a list or group between brackets."""
        start, end = node.start_mark, node.end_mark
        self._edit(self._offset(start.line, start.column), self._offset(end.line, end.column), text)

    def replace_pair(self, key: Node, value: Node, lines: list[str]) -> None:
        """Write other lines in the place of a pair of a block mapping, from its key on."""
        last = self.last_line(value)
        self._edit(self._offset(key.start_mark.line, key.start_mark.column), self._stops[last], "\n".join(lines))

    def remove_pair(self, group: MappingNode, at: int) -> None:
        """Take a pair out of a mapping."""
        key, value = group.value[at]
        if group.flow_style:
            if at:
                before = group.value[at - 1][1].end_mark
                start = self._offset(before.line, before.column)
                stop = self._offset(value.end_mark.line, value.end_mark.column)
            else:
                start = self._offset(key.start_mark.line, key.start_mark.column)
                last = group.value[at + 1][0].start_mark if len(group.value) > 1 else value.end_mark
                stop = self._offset(last.line, last.column)
            self._edit(start, stop, "")
            return
        if key.start_mark.line == group.start_mark.line and self._line(key.start_mark.line)[
            : key.start_mark.column
        ].strip(" "):
            raise LibraryError(f"{self.name}:{key.start_mark.line + 1}: take the key `{key.value}` out by hand")
        stop = self.last_line(value) + 1
        end = self._starts[stop] if stop < len(self._starts) else len(self._text)
        self._edit(self._starts[key.start_mark.line], end, "")

    def add_pair(
        self,
        group: MappingNode,
        key: str,
        value: Any,  # noqa: ANN401 - whatever YAML can hold
        after: int = -1,
        *,
        apart: bool = False,
    ) -> None:
        """Put a pair into a mapping.

        Args:
            group: The mapping.
            key: The key.
            value: Text, number, list or mapping.
            after: The pair that it follows, from 0; left out: the last.
            apart: Whether an empty line stands between neighbours where one stands already.

        """
        if group.flow_style or not group.value:
            self._add_to_flow(group, f"{flow(key)}: {flow(value)}", after)
            return
        indent = group.value[0][0].start_mark.column
        lines = list(mapping({key: value}, " " * indent))
        self.add_lines(group, lines, after, apart=apart)

    def add_lines(self, group: MappingNode, lines: list[str], after: int = -1, *, apart: bool = False) -> None:
        """Put lines, written with their indentation, after a pair of a block mapping."""
        indent = group.value[0][0].start_mark.column
        line = self._after(_value(group.value[after]), indent)
        if apart and self._is_apart(group):
            lines = ["", *lines]
        self._insert_lines(line, lines)

    def _is_apart(self, group: MappingNode) -> bool:
        """Tell whether empty lines stand before most pairs of a block mapping."""
        firsts = [key.start_mark.line for key, _ in group.value[1:]]
        return bool(firsts) and 2 * sum(self._has_gap(line) for line in firsts) > len(firsts)

    def _has_gap(self, line: int) -> bool:
        while line > 0 and self._line(line - 1).lstrip().startswith("#"):
            line -= 1
        return line > 0 and not self._line(line - 1).strip()

    def add_item(self, items: SequenceNode, values: Mapping[str, Any], before: int | None = None) -> None:
        """Put a group of keys into a list, in the style of the item before it.

        Args:
            items: The list.
            values: The keys of the new item.
            before: The item that it comes before, from 0; left out: it comes last.

        """
        at = len(items.value) if before is None else before
        if items.flow_style:
            self._add_to_flow(items, flow(values), at - 1)
            return
        neighbour = items.value[max(0, at - 1)]
        column = items.start_mark.column
        gap = max(1, neighbour.start_mark.column - column - 1)
        lead = f"{' ' * column}-{' ' * gap}"
        if isinstance(neighbour, CollectionNode) and neighbour.flow_style:
            lines = [f"{lead}{flow(values)}"]
        else:
            first, *rest = mapping(values)
            lines = [f"{lead}{first}", *(f"{' ' * len(lead)}{line}" for line in rest)]
        if at:
            # A comment beside the last item ends the list; one beside another stands before the next.
            is_last = at == len(items.value)
            self._insert_lines(self._after(items.value[at - 1], column - is_last), lines)
        else:
            self._insert_lines(items.value[0].start_mark.line - 1, lines)

    def add_word(self, items: SequenceNode, value: str, before: int | None = None) -> None:
        """Put a text into a list."""
        at = len(items.value) if before is None else before
        if items.flow_style:
            self._add_to_flow(items, flow(value), at - 1)
        else:
            column = items.start_mark.column
            self._insert_lines(self._after(items.value[at - 1], column), [f"{' ' * column}- {scalar(value)}"])

    def _add_to_flow(self, node: CollectionNode, text: str, after: int) -> None:
        """Put a text into a list or group between brackets, after an item of it; -1 for the first place."""
        if not node.value:
            start = self._offset(node.start_mark.line, node.start_mark.column) + 1
            self._edit(start, start, text)
            return
        if after < 0 and isinstance(node, SequenceNode):
            mark = node.value[0].start_mark
            start = self._offset(mark.line, mark.column)
            self._edit(start, start, f"{text}, ")
            return
        item = node.value[after]
        head, tail = item if isinstance(item, tuple) else (item, item)
        end = self._offset(tail.end_mark.line, tail.end_mark.column)
        own_line = not self._line(head.start_mark.line)[: head.start_mark.column].strip()
        gap = f"\n{' ' * head.start_mark.column}" if own_line else " "
        self._edit(end, end, f",{gap}{text}")

    def add_to_list(self, key: str, values: Mapping[str, Any]) -> None:
        """Put a group of keys at the end of the list under a key of the file, which is made when it is missing."""
        root = self.root
        if not isinstance(root, MappingNode):
            raise LibraryError(f"{self.name} holds a list where keys belong; nothing was changed")
        at = find(root, key)
        item = [dict(values)]
        if at is None:
            self.add_pair(root, key, item)
            return
        key_node, items = root.value[at]
        if isinstance(items, SequenceNode) and items.value:
            self.add_item(items, values)
        elif is_nothing(items) or isinstance(items, SequenceNode):
            self.replace_pair(key_node, items, list(mapping({key: item})))
        else:
            raise LibraryError(f"{self.name}:{key_node.start_mark.line + 1}: `{key}` is no list; mend that first")


def _value(pair: tuple[Node, Node]) -> Node:
    """Return the value of a pair, or its key where nothing stands after it."""
    return pair[0] if is_nothing(pair[1]) else pair[1]


def find(group: Node, key: str) -> int | None:
    """Return at which place, from 0, a key stands in a mapping; None where it does not."""
    pairs = group.value if isinstance(group, MappingNode) else []
    return next((at for at, (node, _) in enumerate(pairs) if isinstance(node, ScalarNode) and node.value == key), None)


def child(group: Node, *keys: str) -> Node | None:
    """Return what stands under a key of a mapping, and under a key of that, and so on; None where one is missing."""
    node: Node | None = group
    for key in keys:
        at = find(node, key) if node is not None else None
        node = node.value[at][1] if node is not None and at is not None else None
    return node


def items_of(node: Node | None) -> Iterator[Node]:
    """Yield the items of a list; of anything else nothing."""
    if isinstance(node, SequenceNode):
        yield from node.value
