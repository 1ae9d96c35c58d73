"""What is read from a node, and what is said of a node that holds something else."""

from __future__ import annotations

import pytest

from kb_tools.findings import Severity
from kb_tools.model.values import Context, Id, ListOf, MapOf, Text
from kb_tools.source.yaml_nodes import compose, cut_lines


def read(kind: Text | Id | ListOf | MapOf, text: str) -> tuple[object, Context]:
    """Read a YAML text as a kind; return the value, and the context with its findings."""
    node, findings = compose(text, "x.yml")
    assert node is not None
    assert not findings
    context = Context("x.yml", cut=cut_lines(text))
    return kind.read(node, context), context


TEXTS = MapOf(Text())
LISTS = MapOf(ListOf(Text()))


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        (TEXTS, "a: Socket «#3 is loose\n"),
        (TEXTS, "b: c\na: two\n  lines\t«#3 #4\n"),
        (LISTS, "a:\n  - b\n  - lead 😀 «#3\n"),
        (LISTS, "a: [b, lead «#3\n  ]\n"),
    ],
)
def test_a_comment_that_cuts_a_text_short_is_a_warning(kind: MapOf, text: str) -> None:
    """A # behind a space and before a letter or digit: the warning stands at the sign."""
    before = text[: text.index("«")]
    _, context = read(kind, text.replace("«", ""))
    [finding] = context.findings
    assert finding.place == ("x.yml", before.count("\n") + 1, len(before) - before.rfind("\n"))
    assert (finding.rule, finding.severity) == ("yaml-syntax", Severity.WARNING)
    assert "in quotes" in finding.remedy


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        (TEXTS, "a: two minutes # hands on\n"),
        (TEXTS, "a: b   ## c\n"),
        (TEXTS, "a: 'Socket #3' #x\n"),
        (TEXTS, "a: Socket#3\n#x\n"),
        (TEXTS, "a: |\n  Socket #3\n"),
        (LISTS, "a: [b, c] #x\n"),
        (MapOf(Id()), "a: b #x\n"),
    ],
)
def test_a_comment_that_is_one_is_left_alone(kind: MapOf, text: str) -> None:
    """With a space behind the sign, after quotes or brackets, on a line of its own, behind an id."""
    _, context = read(kind, text)
    assert not context.findings


@pytest.mark.parametrize(
    ("text", "remedy"),
    [
        ("a: #3 is loose\n", "starts with # must be in quotes"),
        ("a: {socket: three}\n", "a colon and a space must be in quotes"),
        ("a: null\n", "put null in quotes"),
        ("a: ~\n", "put ~ in quotes"),
    ],
)
def test_a_text_that_was_taken_for_something_else_is_to_be_quoted(text: str, remedy: str) -> None:
    """Nothing is left of a text that starts with #; one with a colon in a list became keys."""
    _, context = read(TEXTS, text)
    assert [finding.rule for finding in context.findings] == ["value-type"]
    assert remedy in context.findings[0].remedy


@pytest.mark.parametrize(
    ("written", "meant"),
    [("Volts", "volts"), ("volts at box", "volts-at-box"), ("Volts_at_Box", "volts-at-box"), ("'b '", "b")],
)
def test_the_id_that_is_meant_is_said(written: str, meant: str) -> None:
    """Capital letters, spaces and underscores: the remedy spells the id; what bears it is read under it."""
    _, context = read(Id(), written)
    assert f"`{meant}`" in context.findings[0].remedy
    value, context = read(MapOf(Text()), f"{written}: x\n")
    assert value == {meant: "x"}
    assert [finding.rule for finding in context.findings] == ["value-type"]


def test_a_list_of_lists_is_put_in_words() -> None:
    """The format page says of words.yml what it holds without stammering."""
    assert ListOf(ListOf(Text())).words() == "list of lists: text"
    assert ListOf(Text()).words() == "list: text"


@pytest.mark.parametrize("written", ["3", "völts", "''", "-"])
def test_what_is_like_no_id_is_read_under_none(written: str) -> None:
    """A finding says what an id is; nothing is guessed."""
    value, context = read(MapOf(Text()), f"{written}: x\n")
    assert value == {}
    assert "small letters, digits and hyphens" in context.findings[0].remedy
