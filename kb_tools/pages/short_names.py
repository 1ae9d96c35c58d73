"""Short names for the local variables of a script, so that it takes less room on its way.

Only names that the script itself declares inside a function or block change, and private ones of classes;
other properties, globals and labels stay. What is ours is the rule of scopes: a name may be given again
wherever the variable that bears it is out of use.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import count, product
from typing import TYPE_CHECKING

import tree_sitter_javascript
from tree_sitter import Language, Node, Parser

if TYPE_CHECKING:
    from collections.abc import Iterator

_LANGUAGE = Language(tree_sitter_javascript.language())
_FUNCTIONS = frozenset(
    {
        "arrow_function",
        "function_declaration",
        "function_expression",
        "generator_function",
        "generator_function_declaration",
        "method_definition",
    }
)
_SCOPES = _FUNCTIONS | {
    "statement_block",
    "for_statement",
    "for_in_statement",
    "catch_clause",
    "switch_body",
    "class_body",
}
_DECLARED_OUTSIDE = frozenset({"function_declaration", "generator_function_declaration", "class_declaration"})
_SHORTHAND = frozenset({"shorthand_property_identifier", "shorthand_property_identifier_pattern"})
_NAMES = _SHORTHAND | {"identifier"}
_LETTERS = "etsnroiaclduhpmfgkwybvxCDETSNAIORLUFHPMBWGKYVjqzJQXZ"
"""What a name may be made of: letters that words and keywords use most come first, which compresses best."""
_KEYWORDS = frozenset({"do", "if", "in", "of", "as", "is"})


@dataclass(eq=False)
class _Variable:
    """A local variable."""

    name: str
    short: str = ""


@dataclass(eq=False)
class _Scope:
    """Where variables live."""

    outer: _Scope | None
    is_function: bool
    variables: dict[str, _Variable] = field(default_factory=dict)
    used: set[_Variable] = field(default_factory=set)
    """What stands in this scope or inside it."""
    foreign: set[str] = field(default_factory=set)
    """Names of nobody's variables that stand in it: globals."""

    def lineage(self) -> Iterator[_Scope]:
        """Yield this scope and those around it."""
        scope: _Scope | None = self
        while scope is not None:
            yield scope
            scope = scope.outer

    def find(self, name: str) -> _Variable | None:
        """Return the variable that a name stands for here."""
        return next((scope.variables[name] for scope in self.lineage() if name in scope.variables), None)


def shortened(script: str) -> str:
    """Return a script with short names for its local variables.

    Args:
        script: JavaScript without modules, `eval` and `with`. Its outermost names stay, others may use them.

    Raises:
        ValueError: when it cannot be parsed.

    """
    source = script.encode()
    root = Parser(_LANGUAGE).parse(source).root_node
    if root.has_error:
        raise ValueError("a script cannot be parsed")
    outermost = _Scope(None, is_function=True)
    scopes, places = [outermost], list[tuple[Node, _Scope]]()
    _read(root, outermost, scopes, places)
    found = [(node, scope.find(_text(node))) for node, scope in places]
    for (node, scope), (_, variable) in zip(places, found, strict=True):
        for around in scope.lineage():
            if variable is None:
                around.foreign.add(_text(node))
            else:
                around.used.add(variable)
    for variable in outermost.variables.values():
        variable.short = variable.name
    habits = dict[str, str]()
    for scope in scopes[1:]:
        _name(scope, habits)
    changed = list[tuple[Node, str]](_private(root))
    for node, variable in found:
        if variable is not None and variable.short != variable.name:
            short = f"{variable.name}:{variable.short}" if node.type in _SHORTHAND else variable.short
            changed.append((node, short))
    out, end = list[str](), 0
    for node, short in sorted(changed, key=lambda one: one[0].start_byte):
        out += [source[end : node.start_byte].decode(), short]
        end = node.end_byte
    return "".join([*out, source[end:].decode()])


def _private(root: Node) -> Iterator[tuple[Node, str]]:
    """Yield the places of private names, which are alike in all classes of a script, and their short names."""
    short = dict[str, str]()
    names = _short_names()
    unread = [root]
    while unread:
        node = unread.pop()
        if node.type == "private_property_identifier":
            name = _text(node)
            if name not in short:
                short[name] = f"#{next(names)}"
            yield node, short[name]
        unread += reversed(node.children)


def _text(node: Node) -> str:
    return (node.text or b"").decode()


def _read(node: Node, scope: _Scope, scopes: list[_Scope], places: list[tuple[Node, _Scope]]) -> None:
    """Declare what a node declares, and note every name that stands in it."""
    name = node.child_by_field_name("name")
    if node.type in _DECLARED_OUTSIDE and name is not None:
        _declare(name, scope)
    inside = scope
    if node.type in _SCOPES:
        inside = _Scope(scope, is_function=node.type in _FUNCTIONS)
        scopes.append(inside)
        for pattern in _own(node):
            _declare(pattern, inside)
    elif node.type in {"lexical_declaration", "variable_declaration"}:
        # `var` lives in the whole function.
        home = scope if node.type == "lexical_declaration" else next(s for s in scope.lineage() if s.is_function)
        for one in node.named_children:
            declared = one.child_by_field_name("name")
            if declared is not None:
                _declare(declared, home)
    if node.type in _NAMES:
        places.append((node, scope))
    for child in node.named_children:
        _read(child, scope if child == name and node.type in _DECLARED_OUTSIDE else inside, scopes, places)


def _own(node: Node) -> Iterator[Node]:
    """Yield the patterns that a scope itself declares: parameters, a loop's variable, its own name."""
    if node.type in {"function_expression", "generator_function"}:
        fields = ["name", "parameters"]
    else:
        fields = ["parameters", "parameter"]
        if node.type == "for_in_statement" and node.child_by_field_name("kind") is not None:
            fields.append("left")
    for one in fields:
        pattern = node.child_by_field_name(one)
        if pattern is not None:
            yield pattern


def _declare(pattern: Node, scope: _Scope) -> None:
    """Declare every name of a pattern; default values and keys declare nothing."""
    if pattern.type in {"identifier", "shorthand_property_identifier_pattern"}:
        scope.variables.setdefault(_text(pattern), _Variable(_text(pattern)))
        return
    if pattern.type in {"assignment_pattern", "object_assignment_pattern"}:
        parts: list[Node | None] = [pattern.child_by_field_name("left")]
    elif pattern.type == "pair_pattern":
        parts = [pattern.child_by_field_name("value")]
    else:
        parts = list(pattern.named_children)
    for part in filter(None, parts):
        _declare(part, scope)


def _name(scope: _Scope, habits: dict[str, str]) -> None:
    """Give a scope's variables the shortest names that nothing in it uses; those around it have theirs.

    Variables of one name get the same short name wherever that is free, and the others theirs in the order in which
    they are declared: then like pieces of code read alike, which compresses best.

    Args:
        scope: The scope.
        habits: The short name that a name got first; new ones are added.

    """
    own = set(scope.variables.values())
    taken = scope.foreign | {variable.short for variable in scope.used if variable not in own}
    others = list[_Variable]()
    for variable in scope.variables.values():
        habit = habits.get(variable.name)
        if habit is None or habit in taken:
            others.append(variable)
        else:
            variable.short = habit
            taken.add(habit)
    for variable in others:
        variable.short = next(name for name in _short_names() if name not in taken)
        taken.add(variable.short)
        habits.setdefault(variable.name, variable.short)


def _short_names() -> Iterator[str]:
    for length in count(1):
        for letters in product(_LETTERS, repeat=length):
            if (name := "".join(letters)) not in _KEYWORDS:
                yield name
