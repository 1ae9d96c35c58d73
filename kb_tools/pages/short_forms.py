"""The shortest way to write what a script says: its syntax tree printed anew, with nothing in it that is not needed.

Gone are comments, white space, brackets and braces that change nothing, and semicolons before a closing brace;
neighbouring declarations are joined, and a choice between two values is written as one expression. Names stay;
`short_names` sees to them. The grammar comes from tree-sitter, the ranks of the operators from ECMA-262
(chapter 13 of its grammar, "Expressions").
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import tree_sitter_javascript
from tree_sitter import Language, Node, Parser

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

_LANGUAGE = Language(tree_sitter_javascript.language())
_SEQUENCE, _ASSIGNED, _CHOICE, _OR, _AND, _UNARY, _WHOLE = 0, 1, 2, 3, 4, 14, 20
_OPERATORS = (
    ("||", "??"), ("&&",), ("|",), ("^",), ("&",), ("==", "!=", "===", "!=="),
    ("<", ">", "<=", ">=", "in", "instanceof"), ("<<", ">>", ">>>"), ("+", "-"), ("*", "/", "%"), ("**",),
)  # fmt: skip
_RANKS = {operator: _OR + rank for rank, operators in enumerate(_OPERATORS) for operator in operators}
"""How tightly an operator binds: a part that binds less tightly needs brackets."""
_KINDS = {
    "sequence_expression": _SEQUENCE,
    "assignment_expression": _ASSIGNED,
    "augmented_assignment_expression": _ASSIGNED,
    "arrow_function": _ASSIGNED,
    "yield_expression": _ASSIGNED,
    "ternary_expression": _CHOICE,
    "unary_expression": _UNARY,
    "await_expression": _UNARY,
    "update_expression": _UNARY,
    "true": _UNARY,
    "false": _UNARY,
}
_AS_IT_IS = frozenset({"string", "regex"})
_ENDED = frozenset(
    {
        "expression_statement",
        "variable_declaration",
        "return_statement",
        "throw_statement",
        "break_statement",
        "continue_statement",
        "do_statement",
        "debugger_statement",
    }
)
_OWN_SCOPE = frozenset(
    {"lexical_declaration", "class_declaration", "function_declaration", "generator_function_declaration"}
)
_PLAIN = frozenset({"identifier", "this", "member_expression", "subscript_expression", "call_expression"})
_TAKERS = frozenset({"member_expression", "subscript_expression", "call_expression", "new_expression"})
"""What binds to a `new` behind which no arguments stand."""
_LISTS = frozenset({"array", "object", "arguments", "array_pattern", "object_pattern", "formal_parameters"})
_UNLIKE_STATEMENTS = ("{", "function", "class", "let", "async")
"""What an expression must not begin with where a statement may stand."""


def shorter_forms(script: str) -> str:
    """Return a script that does the same and takes less room.

    Args:
        script: JavaScript in strict mode, without modules, whose constants are never assigned to.

    Raises:
        ValueError: when it cannot be parsed.

    """
    return _statements(parsed(script).named_children)


def parsed(script: str) -> Node:
    """Return the syntax tree of a script.

    Raises:
        ValueError: when it cannot be parsed.

    """
    root = Parser(_LANGUAGE).parse(script.encode()).root_node
    if root.has_error:
        raise ValueError("a script cannot be parsed")
    return root


def _text(node: Node) -> str:
    return (node.text or b"").decode()


def _field(node: Node, name: str) -> Node:
    child = node.child_by_field_name(name)
    if child is None:
        raise ValueError(f"{node.type} without {name}")
    return child


def _joined(parts: Iterable[str]) -> str:
    """Return tokens in a row, with white space only where two would become another one."""
    out = ""
    for part in filter(None, parts):
        last, first = out[-1:], part[0]
        out += " " * bool(last and ((_in_word(last) and _in_word(first)) or (last == first and first in "+-/"))) + part
    return out


def _in_word(letter: str) -> bool:
    return letter.isalnum() or letter in "_$#\\" or not letter.isascii()


def _write(node: Node) -> str:
    rule = _RULES.get(node.type)
    if rule is not None:
        return rule(node)
    if node.type in _AS_IT_IS or not node.children:
        return _text(node)
    if node.type in _ENDED:
        return _joined(_write(child) for child in node.children if child.type != ";") + ";"
    if node.type in _LISTS:
        return _list(node)
    return _joined(map(_write, node.children))


def _rank(node: Node) -> int:
    if node.type == "binary_expression":
        return _RANKS[_field(node, "operator").type]
    return _KINDS.get(node.type, _WHOLE)


def _inside(node: Node) -> Node:
    """Return what stands in brackets."""
    while node.type == "parenthesized_expression":
        node = next(child for child in node.named_children if child.type != "comment")
    return node


def _part(node: Node, least: int = _ASSIGNED) -> str:
    """Return an expression, in brackets only where it binds less tightly than its place asks."""
    inside = _inside(node)
    text = _write(inside)
    return text if _rank(inside) >= least else f"({text})"


def _list(node: Node) -> str:
    """Return what stands between brackets and commas, without a comma at the end that stands for nothing."""
    children = [child for child in node.children if child.type != "comment"]
    *rest, close = children
    if [child.is_named for child in rest[-2:]] == [True, False]:
        rest.pop()
    return _joined(_part(child) if child.is_named else _text(child) for child in [*rest, close])


def _with_parts(*names: str) -> Callable[[Node], str]:
    """Return the rule of a node whose fields of these names stand where any expression but a sequence may."""

    def rule(node: Node) -> str:
        fields = [node.field_name_for_child(place) for place in range(len(node.children))]
        return _joined(
            _part(child) if name in names else _write(child) for child, name in zip(node.children, fields, strict=True)
        )

    return rule


def _binary(node: Node) -> str:
    operator = _field(node, "operator").type
    left, right = _field(node, "left"), _field(node, "right")
    rank = _RANKS[operator]
    if operator == "**":
        return _joined([_part(left, _UNARY + 1), operator, _part(right, rank)])
    return _joined([_beside(operator, left, rank), operator, _beside(operator, right, rank + 1)])


def _beside(operator: str, node: Node, least: int) -> str:
    """Return an operand; `??` stands beside neither `||` nor `&&` without brackets."""
    inside = _inside(node)
    other = _field(inside, "operator").type if inside.type == "binary_expression" else operator
    mixed = operator != other and "??" in {operator, other} and {operator, other} <= {"??", "||", "&&"}
    return _part(inside, _WHOLE if mixed else least)


def _unary(node: Node) -> str:
    return _joined([_text(node.children[0]), _part(node.named_children[-1], _UNARY)])


def _ternary(node: Node) -> str:
    return _chosen(node, _field(node, "consequence"), _field(node, "alternative"))


def _chosen(node: Node, one: Node, other: Node) -> str:
    """Return a choice between two values by a node's condition."""
    return _joined([_part(_field(node, "condition"), _OR), "?", _part(one), ":", _part(other)])


def _arrow(node: Node) -> str:
    body = _field(node, "body")
    returned = _only(body) if body.type == "statement_block" else None
    if returned is not None and returned.type == "return_statement" and returned.named_children:
        body = returned.named_children[0]
    text = _write(body) if body.type == "statement_block" else _part(body)
    if body.type != "statement_block" and text.startswith("{"):
        text = f"({text})"
    given = node.child_by_field_name("parameters")
    if given is None:
        parameters = _write(_field(node, "parameter"))
    else:
        named = [child for child in given.named_children if child.type != "comment"]
        parameters = _write(named[0] if len(named) == 1 and named[0].type == "identifier" else given)
    return _joined(["async" if node.children[0].type == "async" else "", parameters, "=>", text])


def _new(node: Node) -> str:
    given = node.child_by_field_name("arguments")
    bare = given is not None and not given.named_children and node.parent is not None
    if bare and node.parent is not None and node.parent.type not in _TAKERS:
        return _joined(["new", _write(_field(node, "constructor"))])
    return _joined(map(_write, node.children))


def _truth(node: Node, short: str) -> str:
    return _text(node) if node.parent is not None and node.parent.type in _TAKERS else short


def _number(node: Node) -> str:
    text = _text(node)
    if text.isdigit() and text.endswith("000"):
        digits = text.rstrip("0")
        return f"{digits}e{len(text) - len(digits)}" if digits else text
    return text.removeprefix("0") if text.startswith("0.") else text


def _taken(node: Node) -> str:
    """Return what a member is taken of, or what is called: the brackets of a type note in a comment go."""
    inside = _inside(node)
    text = _write(inside)
    return text if inside.type in _PLAIN and "?." not in text else _write(node)


def _taking(node: Node) -> str:
    first, *rest = node.children
    return _joined([_taken(first), *(_part(child, _SEQUENCE) for child in rest)])


def _template(node: Node) -> str:
    return "".join(map(_write, node.children))


def _substitution(node: Node) -> str:
    return f"${{{_joined(_part(child, _SEQUENCE) for child in node.named_children)}}}"


def _condition(node: Node) -> str:
    """Return what stands in the brackets of a statement's head."""
    return f"({_part(node, _SEQUENCE)})"


# --- statements -----------------------------------------------------------------------------


def _only(body: Node) -> Node:
    """Return the one statement of a body that needs no braces, else the body."""
    inside = [child for child in body.named_children if child.type != "comment"]
    if body.type != "statement_block" or len(inside) != 1 or inside[0].type in _OWN_SCOPE:
        return body
    return _only(inside[0])


def _body(node: Node, *, before_else: bool = False) -> str:
    """Return a statement's body without needless braces."""
    only = _only(node)
    return _write(node if before_else and only != node and _open_if(only) else only)


def _open_if(node: Node) -> bool:
    """Whether an `else` behind a statement would be read as its own."""
    if node.type == "if_statement" and node.child_by_field_name("alternative") is None:
        return True
    last = node.child_by_field_name("alternative") or node.child_by_field_name("body")
    if last is not None and last.type == "else_clause":
        last = last.named_children[-1]
    return last is not None and node.type != "do_statement" and _open_if(_only(last))


def _value(statement: Node, kind: str) -> Node | None:
    """Return the expression of a statement of a kind that has one."""
    only = _only(statement)
    named = [child for child in only.named_children if child.type != "comment"]
    return named[0] if only.type == kind and named else None


def _else(node: Node) -> Node | None:
    clause = node.child_by_field_name("alternative")
    return None if clause is None else clause.named_children[-1]


def _if(node: Node) -> str:
    then, other = _field(node, "consequence"), _else(node)
    for kind, word in (("expression_statement", ""), ("return_statement", "return")):
        one = _value(then, kind)
        two = None if other is None else _value(other, kind)
        if one is not None and two is not None:
            text = _joined([word, _chosen(node, one, two)])
            if word or not text.startswith(_UNLIKE_STATEMENTS):
                return text + ";"
    done = _value(then, "expression_statement")
    if other is None and done is not None and _rank(_inside(done)) >= _AND:
        condition = _inside(_field(node, "condition"))
        if condition.type == "unary_expression" and condition.children[0].type == "!":
            text = _joined([_beside("||", condition.named_children[-1], _OR), "||", _part(done, _AND)])
        else:
            text = _joined([_part(condition, _AND), "&&", _part(done, _AND)])
        if not text.startswith(_UNLIKE_STATEMENTS):
            return text + ";"
    head = "if" + _condition(_field(node, "condition"))
    if other is None:
        return head + _body(then)
    return _joined([head + _body(then, before_else=True), "else", _body(other)])


def _loop(node: Node) -> str:
    body = _field(node, "body")
    return _joined([*(_write(child) for child in node.children if child != body), _body(body)])


def _declaration(node: Node) -> str:
    return _declared([node])


def _declared(nodes: Sequence[Node]) -> str:
    """Return neighbouring declarations as one; a constant that nobody assigns to is as good as a variable."""
    declarators = [_write(child) for node in nodes for child in node.named_children if child.type != "comment"]
    return _joined(["let", ",".join(declarators)]) + ";"


def _for_in(node: Node) -> str:
    kind = node.child_by_field_name("kind")
    body = _field(node, "body")
    parts = [
        "let" if child == kind and child.type == "const" else _write(child) for child in node.children if child != body
    ]
    return _joined([*parts, _body(body)])


def _block(node: Node) -> str:
    return f"{{{_statements(node.named_children)}}}"


def _statements(nodes: Iterable[Node]) -> str:
    """Return statements in a row, without a semicolon at the end."""
    rest = [node for node in nodes if node.type not in {"comment", "empty_statement"}]
    texts = list[str]()
    last = rest[-1] if rest else None
    while rest:
        node = rest.pop()
        if node.type == "lexical_declaration":
            run = [node]
            while rest and rest[-1].type == "lexical_declaration":
                run.insert(0, rest.pop())
            texts.append(_declared(run))
            continue
        value = _value(node, "return_statement") if node.type == "return_statement" else None
        if value is None:
            texts.append(_write(node))
            continue
        text = _part(value, _SEQUENCE)
        text = f"({text})" if rest and _rank(_inside(value)) < _ASSIGNED and _returns(rest[-1]) else text
        while rest and (early := _returns(rest[-1])) is not None:
            text = _joined([_part(_field(rest.pop(), "condition"), _OR), "?", _part(early), ":", text])
        texts.append(_joined(["return", text]) + ";")
    whole = _joined(reversed(texts))
    return whole[:-1] if last is not None and whole.endswith(";") and not _ends_empty(last) else whole


def _returns(node: Node) -> Node | None:
    """Return the value that an `if` without `else` returns."""
    if node.type != "if_statement" or _else(node) is not None:
        return None
    return _value(_field(node, "consequence"), "return_statement")


def _ends_empty(node: Node) -> bool:
    """Whether a statement ends with one that does nothing, whose semicolon is all of it."""
    return node.type == "empty_statement" or (
        bool(node.named_children) and node.type not in _ENDED and _ends_empty(node.named_children[-1])
    )


def _case(node: Node) -> str:
    value = node.child_by_field_name("value")
    head = _joined(["default"] if value is None else ["case", _part(value, _SEQUENCE)]) + ":"
    body = [child for child in node.named_children if child != value]
    text = _statements(body)
    return f"{head}{text};" if text else head


def _class(node: Node) -> str:
    members = [child for child in node.named_children if child.type != "comment"]
    return "{" + "".join(_write(one) + ";" * (one.type == "field_definition") for one in members) + "}"


_RULES: dict[str, Callable[[Node], str]] = {
    "comment": lambda _: "",
    "true": lambda node: _truth(node, "!0"),
    "false": lambda node: _truth(node, "!1"),
    "number": _number,
    "template_string": _template,
    "template_substitution": _substitution,
    "binary_expression": _binary,
    "unary_expression": _unary,
    "await_expression": _unary,
    "ternary_expression": _ternary,
    "arrow_function": _arrow,
    "new_expression": _new,
    "variable_declarator": _with_parts("value"),
    "assignment_expression": _with_parts("right"),
    "augmented_assignment_expression": _with_parts("right"),
    "assignment_pattern": _with_parts("right"),
    "object_assignment_pattern": _with_parts("right"),
    "pair": _with_parts("value"),
    "spread_element": lambda node: "..." + _part(node.named_children[-1]),
    "member_expression": _taking,
    "subscript_expression": _taking,
    "call_expression": _taking,
    "return_statement": lambda node: _joined(["return", *(_part(one, _SEQUENCE) for one in node.named_children)]) + ";",
    "throw_statement": lambda node: _joined(["throw", *(_part(one, _SEQUENCE) for one in node.named_children)]) + ";",
    "if_statement": _if,
    "for_statement": _loop,
    "while_statement": _loop,
    "for_in_statement": _for_in,
    "lexical_declaration": _declaration,
    "statement_block": _block,
    "switch_case": _case,
    "switch_default": _case,
    "class_body": _class,
}
