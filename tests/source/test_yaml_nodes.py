"""YAML texts: what they say, where their nodes stand, and what an author is told of a slip."""

from __future__ import annotations

import pytest
import yaml
from hypothesis import example, given, settings
from hypothesis import strategies as st
from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from kb_tools.source.yaml_nodes import MAX_DEPTH, MAX_NODES, compose


def plain(node: Node) -> object:
    """Return a node as plain Python; every scalar as its text."""
    if isinstance(node, MappingNode):
        # A key may be a mapping or a list itself.
        return {
            key.value if isinstance(key.value, str) else repr(plain(key)): plain(value) for key, value in node.value
        }
    if isinstance(node, SequenceNode):
        return [plain(child) for child in node.value]
    return node.value


def node_of(text: str) -> Node:
    """Return the node of a text with which nothing is wrong."""
    node, findings = compose(text, "x.yml")
    assert node is not None
    assert not findings
    return node


@pytest.mark.parametrize("word", ["Yes", "no", "on", "010", "1:30", "1e3", "0x1F", "2026-10-14", ".inf", "="])
def test_a_word_is_the_text_that_the_author_wrote(word: str) -> None:
    """Nothing is taken for a truth, a number or a date, in block or in flow style."""
    assert plain(node_of(f"answer: {word}\n")) == {"answer": word}
    assert plain(node_of(f"- {{answer: {word}, to: x}}\n")) == [{"answer": word, "to": "x"}]


def test_nodes_know_their_line_and_column_in_characters() -> None:
    """Places count characters, also behind letters of two and four bytes, and CR LF as one end."""
    root = node_of("é: x\r\n'😀😀': {é: here}\r\n")
    assert isinstance(root, MappingNode)
    inner = root.value[1][1].value[0][1]
    assert (inner.start_mark.line, inner.start_mark.column) == (1, 10)


SLIPS = {
    # name: (text, where the finding stands, a part of the message, a part of the remedy); « marks
    # the place and is taken out
    "tab": ("a:\n«\tb: c\n", "tab", "spaces"),
    "tab in a list": ("a:\n  - b\n«\t- c\n", "tab", "spaces"),
    "quote never closed": ("a: «'b\nc: d\n", "never closed", "Close it"),
    "double quote never closed": ('a: «"b\nc: d\n', "never closed", "Close it"),
    "quote closed by a later one": ("a: «'b\nc: 'd'\n", "closed only in line 2", "Close it"),
    "quote closed by a later one in braces": ("- {a: «'b, c: d}\n- {a: 'e'}\n", "only in line 2", "Close it"),
    "apostrophe in quotes": ("a: «'it's dark'\n", "before the text does", "doubled"),
    "apostrophe in quotes in braces": ("- {a: «'it's dark', b: c}\n", "before the text does", "doubled"),
    "quotes in double quotes": ('a: «"say "no" now"\n', "before the text does", "around all"),
    "text after quotes": ("a: «'Yes' or no\n", "before the text does", "around all"),
    "backslash": ('a: "c:«\\path"\n', "backslash", "single quotes"),
    "question in braces": ("- {a: «Is it lit?, b: c}\n", "a question mark", "'Is it lit?'"),
    "question at the end of braces": ("- {b: c, a: «Is it lit?}\n", "a question mark", "in quotes"),
    "question in brackets": ("- [«Is it lit?, b]\n", "a question mark", "in quotes"),
    "question with an apostrophe in braces": ("- {a: «Isn't it lit?, b: c}\n", "a question mark", "in quotes"),
    "question over two lines": ("- {a: «Is it\n    lit?, b: c}\n", "a question mark", "in quotes"),
    "key with a question mark": ("- {«a?: b}\n", "a question mark", "in quotes"),
    "colon in braces": ("- {a: «b: c, d: e}\n", "a colon", "in quotes"),
    "colon in braces, second line": ("- {a: b,\n   c: «d: e}\n", "a colon", "in quotes"),
    "colon at the end in braces": ("- {a: «b:, c: d}\n", "a colon", "in quotes"),
    "escape of a control character": ('a: «"C:\\bin"\n', "backslash", "single quotes"),
    "escape of NUL": ('- {a: «"b\\0"}\n', "backslash", "single quotes"),
    "anchor of nothing": ("a: «&b c\n", "&b is named nowhere", "in quotes"),
    "text that starts with a bracket": ("a: b\nc: «[d] e\n", "starts with [", "in quotes"),
    "text that starts with a brace": ("a: «{b} c\nd: e\n", "starts with {", "in quotes"),
    "bracket in a text in braces": ("- {a: b «[c], d: e}\n", "is missing", "in quotes"),
    "comma too many": ("a: [b,«,c]\n", "No entry", "Delete the comma"),
    "comma first": ("a: [«, b]\n", "No entry", "Delete the comma"),
    "comma missing before a key": ("- {a: «b c: d}\n", "a colon", "if `c` is a key, a comma is missing"),
    "hash in braces": ("- {a: b «#3, c: d}\n- {a: e}\n", "comment starts here", "in quotes"),
    "hash in brackets": ("a: [b, c «#3]\nd: e\n", "comment starts here", "in quotes"),
    "hash in brackets at the end": ("a: [b, c «#3]\n", "comment starts here", "in quotes"),
    "release of YAML": ("«%YAML 3.0\n---\na: b\n", "release", "Delete"),
    "missing comma": ("- {a: 'b' «c: d}\n", "comma is missing", "comma"),
    "brace never closed": ("- «{a: b, c: d\n- {e: f}\n", "brace is opened", "Close the brace"),
    "bracket opened last": ("b: [x]\na: «[\n", "bracket is opened", "Close the bracket"),
    "brace opened last": ("a: [{b: c}, «{d: \n\n", "brace is opened", "Close the brace"),
    "bracket never closed": ("a: «[b, c\nd: e\n", "bracket is opened", "Close the bracket"),
    "bracket closed by a brace": ("- {a: [b, c«}\n", "closing bracket is missing", "close the bracket"),
    "brace too many": ("- {a: b}«}\n", "was not opened", "Delete it"),
    "second colon": ("a: b«: c\n", "second colon", "in quotes"),
    "no colon": ("«a\nb: c\n", "no colon", "a colon, a space"),
    "no space after the colon": ("«a:b\nc: d\n", "no colon", "a colon, a space"),
    "no space after a later colon": ("a: b\n«c:d\ne: f\n", "no colon", "a colon, a space"),
    "indented too far": ("a: b\n  c«: d\n", "indented", "neighbours"),
    "indented too little": ("a:\n    b: c\n   «d: e\n", "does not fit", "neighbours"),
    "list and keys": ("a:\n  - b\n  «c: d\n", "does not fit", "neighbours"),
    "list in the line of its key": ("a: «- b\n", "hyphen", "next line"),
    "percent": ("a: «%b\n", "starts with %", "quotes"),
    "at": ("a: «@b\n", "starts with @", "quotes"),
    "backtick": ("a: «`b`\n", "starts with `", "quotes"),
    "percent at the start of the line": ("«%a: b\n", "starts with %", "quotes"),
    "star": ("a: «*b* c\n", "starts with *", "quotes"),
    "alias of nothing": ("a: «*b\n", "starts with *", "quotes"),
    "ampersand": ("a: «& b\n", "starts with &", "quotes"),
    "question mark first": ("a: «? b\n", "starts with ?", "quotes"),
    "exclamation mark": ("a: «!Stop! now\n", "starts with !", "quotes"),
    "tag": ("a: «!b c\n", "!b has no meaning", "Delete it"),
    "tag of a text": ("a: «!!str c\n", "!!str has no meaning", "Delete it"),
    "tag of a group": ("a: «!!map {b: c}\n", "!!map has no meaning", "Delete it"),
    "lone exclamation mark": ("a: «! b\n", "! has no meaning", "in quotes"),
    "tag behind an anchor": ("a: «&b !c d\n", "!c has no meaning", "in quotes"),
    "tag that runs code elsewhere": ("a: «!!python/object/apply:os.system [x]\n", "no meaning", "Delete it"),
    "bar with text": ("a: «| b\n", "behind |", "next line"),
    "greater than": ("a: «> 5 V\n", "behind >", "in quotes"),
    "second document": ("a: b\n«---\nc: d\n", "second document", "one document"),
    "end of document": ("a: b\n...\n«c: d\n", "second document", "one document"),
    "anchor twice": ("a: &x b\nc: «&x d\ne: *x\n", "anchor", "another name"),
    "control character": ("a: b«\x07c\n", "control character", "Delete"),
    "line separator": ("a: b«\u2028c\n", "invisible", "Delete"),
    "next line": ("a: b«\x85c\n", "invisible", "Delete"),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_is_told_where_it_is_and_how_to_mend_it(slip: str) -> None:
    """One finding, at the slip itself and not where the parser gave up, with the likely remedy."""
    marked, message, remedy = SLIPS[slip]
    before = marked[: marked.index("«")]
    _, findings = compose(marked.replace("«", ""), "x.yml")
    assert [finding.rule for finding in findings] == ["yaml-syntax"]
    [finding] = findings
    assert finding.place == ("x.yml", before.count("\n") + 1, len(before) - before.rfind("\n"))
    assert message in finding.message
    assert remedy in finding.remedy


@pytest.mark.parametrize(
    "text",
    [
        "a: Is it lit?\n",
        "a: Is it green, or brown?\n",
        "a:\n  - Is it lit?\n",
        "- {a: 'Is it lit?', b: \"or: not?\"}\n",
        "- {a: x:y, b: 10:30, c: http://x.example/y}\n",
        "a: |\n  - {b: is it lit?}\n  [really?]\n",
        "a: Stop! Now!\n",
        "a: '!x'\nb: \"*y\"\n",
        "a: Q&A, R&D *here*\n",
        "a: b # why? {no: really?}\n",
        "a: b#c\n",
        "a:\tb\n",
        "a: &x [b]\nc: *x\n",
        'a: "b\\tc\\n\\u00e9\\\\bin"\n',
    ],
)
def test_what_needs_no_quotes_is_left_alone(text: str) -> None:
    """Questions, colons, stars and the like are fine wherever YAML takes them as text."""
    node_of(text)


UNQUOTED = st.text(alphabet="ab ?:,{}[]'\"#&*|>-%@`\n", max_size=12)


@settings(max_examples=2000, deadline=None)
@given(UNQUOTED)
@example("{{}}")
def test_a_text_in_braces_is_refused_just_when_pyyaml_refuses_it(text: str) -> None:
    """Whatever libyaml is installed, what PyYAML's parser in Python refuses is a finding, and no more.

    Tabs and tags are left out: the parsers do not agree on where they are allowed.
    """
    whole = f"- {{k: {text}, to: x}}\n"
    try:
        expected = yaml.compose(whole, Loader=yaml.BaseLoader)
    except yaml.YAMLError:
        expected = None
    node, findings = compose(whole, "x.yml")
    if expected is None:
        assert findings
    elif not findings:
        assert node is not None
        assert plain(node) == plain(expected)


@settings(max_examples=2000, deadline=None)
@given(st.text(max_size=60) | st.text(alphabet="ab ?:,{}[]'\"#&*!|>-%\n\t\\", max_size=60))
def test_no_text_makes_it_fail(text: str) -> None:
    """Whatever the text, there is a node or a finding, and every finding lies within the text."""
    node, findings = compose(text, "x.yml")
    assert node is not None or findings
    lines = text.split("\n")
    for finding in findings:
        assert 1 <= finding.place.line <= len(lines) + 1
        assert finding.place.column >= 1
        assert finding.message
        assert finding.remedy


@pytest.mark.parametrize("opening", ["[", "{a: ", "- ", "? "], ids=str)
def test_nesting_is_kept_within_the_limit(opening: str) -> None:
    """One level more than the limit is refused at the level itself, 100,000 levels as fast as one."""
    closing = {"[": "]", "{": "}"}.get(opening[0], "")
    for depth in (MAX_DEPTH + 1, 10_000, 100_000):
        node, findings = compose(opening * depth + closing * depth, "x.yml")
        assert node is None
        assert [finding.rule for finding in findings] == ["limit-kept"]
        assert findings[0].place.line == 1
    node_of(opening * (MAX_DEPTH // 2) + "a" + closing * (MAX_DEPTH // 2))


def test_aliases_may_repeat_but_not_without_bound() -> None:
    """An alias is fine; a bomb of them, or one that holds itself, is refused where it goes too far."""
    node_of("a: &x [1, 2]\nb: [*x, *x]\n")
    bomb = "a: &a0 [x, x, x, x, x, x, x, x, x, x]\n"
    bomb += "".join(f"b{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 10)}]\n" for n in range(1, 30))
    node, findings = compose(bomb, "x.yml")
    assert node is None
    assert [(finding.rule, finding.place.line) for finding in findings] == [("limit-kept", 6)]
    assert 10**5 < MAX_NODES < 10**6
    node, findings = compose("a: &x {b: *x}\n", "x.yml")
    assert node is None
    assert findings[0].rule == "limit-kept"


def test_comments_alone_are_no_document() -> None:
    """A file that holds only comments is said to hold nothing."""
    node, findings = compose("# to do\n", "x.yml")
    assert node is None
    assert findings[0].rule == "file-readable"


def test_a_scalar_keeps_its_style() -> None:
    """A quoted text is known to be quoted: '' is a text, nothing is not."""
    root = node_of("a: ''\nb:\n")
    assert isinstance(root, MappingNode)
    [(_, quoted), (_, nothing)] = root.value
    assert isinstance(quoted, ScalarNode)
    assert quoted.style == "'"
    assert not nothing.style
