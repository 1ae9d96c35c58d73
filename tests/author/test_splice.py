"""Changes in the text of a YAML file: what must change changes, every other byte stays."""

from __future__ import annotations

import difflib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb_tools.author.splice import Sheet, child
from kb_tools.author.yaml_text import Written, flow, mapping
from kb_tools.findings import LibraryError
from kb_tools.source.yaml_nodes import compose

TEXT = """\
# A head that stays.
title:   Two   spaces stay
steps:
  first:   # a word on it
    check: 'Lit?'
    answers:
      - {answer: 'Yes', to: second}   # and one here
      - {answer: 'No', to: third}
      # deeper, it belongs to the list

  # What stands before a step belongs to that step.
  second:
    how: |
      Text that is kept.

      # no comment but text

  third: {escalate: Ask}
cases: []
"""


def added(old: str, new: str) -> tuple[list[str], list[str]]:
    """Return the lines that are gone and those that are new."""
    lines = list(difflib.ndiff(old.splitlines(keepends=True), new.splitlines(keepends=True)))
    return [line[2:] for line in lines if line[0] == "-"], [line[2:] for line in lines if line[0] == "+"]


@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_lines_are_put_in_with_the_ends_of_the_file(newline: str, mark: str) -> None:
    """An answer in the style of its neighbour and a step behind its step; all else is there byte for byte."""
    text = mark + TEXT.replace("\n", newline)
    sheet = Sheet("a.yml", text)
    sheet.add_item(child(sheet.root, "steps", "first", "answers"), {"answer": "Well, no", "to": "new"})  # type: ignore[arg-type]
    sheet.add_pair(child(sheet.root, "steps"), "new", {"do": "Wait", "then": "third"}, 0)  # type: ignore[arg-type]
    gone, new = added(text, sheet.result())
    assert gone == []
    item = "      - {answer: 'Well, no', to: new}"
    assert new == [line + newline for line in (item, "  new:", "    do: Wait", "    then: third")]
    lines = sheet.result().split(newline)
    assert lines.index(item) == lines.index("      - {answer: 'No', to: third}") + 2, "behind the comment of the list"
    assert lines[lines.index("  new:") + 3] == "", "the empty line still stands before the next step's comment"


def test_an_empty_list_gets_its_first_item() -> None:
    """`cases: []` becomes a list in block style; a key that is missing is made at the end."""
    sheet = Sheet("a.yml", TEXT)
    sheet.add_to_list("cases", {"case": "a", "given": Written("{}"), "ends_at": "third"})
    assert sheet.result() == TEXT.replace("cases: []", "cases:\n  - case: a\n    given: {}\n    ends_at: third")
    bare = Sheet("a.yml", TEXT.replace("cases: []\n", "").rstrip("\n"))
    bare.add_to_list("cases", {"case": "a", "given": {"first": "No"}, "ends_at": "third"})
    assert bare.result().endswith(
        "  third: {escalate: Ask}\ncases:\n  - case: a\n    given:\n      first: 'No'\n    ends_at: third"
    )


def test_pairs_are_taken_out_and_put_in_between_braces() -> None:
    """First, middle and last pair of a group between braces; a value in its place."""
    text = "g: {a: 1, b: 'two', c: 3}   # stays\n"
    for at, rest in enumerate(("{b: 'two', c: 3}", "{a: 1, c: 3}", "{a: 1, b: 'two'}")):
        sheet = Sheet("a.yml", text)
        sheet.remove_pair(child(sheet.root, "g"), at)  # type: ignore[arg-type]
        assert sheet.result() == f"g: {rest}   # stays\n"
    sheet = Sheet("a.yml", text)
    group = child(sheet.root, "g")
    assert group is not None
    sheet.set_scalar(group.value[1][1], "a, b?", inside_flow=True)
    sheet.add_pair(group, "d", ["x"])  # type: ignore[arg-type]
    assert sheet.result() == "g: {a: 1, b: 'a, b?', c: 3, d: [x]}   # stays\n"


def test_a_file_that_cannot_be_read_is_told() -> None:
    """The mistake is named with its place and how to mend it."""
    with pytest.raises(LibraryError, match=r"a\.yml:2:.*Mend that first; nothing was changed"):
        Sheet("a.yml", "a: 1\nb: {c: d\n")


words = st.text(
    st.characters(
        codec="utf-8", exclude_categories=("Cc", "Cs"), exclude_characters="\x85\u2028\u2029\ufeff\ufffe\uffff"
    ),
    min_size=1,
).filter(lambda text: bool(text.strip()))


@given(st.dictionaries(st.from_regex(r"[a-z][a-z0-9-]{0,5}", fullmatch=True), words, min_size=1, max_size=4))
def test_what_is_written_reads_back(values: dict[str, str]) -> None:
    """Any text comes back from block style as it was, and from between braces but for runs of white space."""
    node, findings = compose("\n".join(mapping(values)) + "\n", "a.yml")
    assert not findings
    assert {key.value: value.value for key, value in node.value} == values  # type: ignore[union-attr]
    node, findings = compose(f"a: {flow(values)}\n", "a.yml")
    assert not findings
    read = {key.value: value.value for key, value in node.value[0][1].value}  # type: ignore[union-attr]
    assert read == {key: " ".join(value.split()) for key, value in values.items()}
