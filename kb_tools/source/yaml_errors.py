"""What a YAML parser objects to, in words for an author: where, what, and how to mend it.

A parser stops where it can go no further, which is often not where the slip is: an unclosed quote
runs on to the next one. Each function here knows one kind of slip and returns its wording, or None
when the slip is another; the first that answers is believed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import yaml

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

QUOTE = (
    "Put the text in quotes: between braces or brackets a text that holds a question mark or a"
    " colon must be quoted, for instance 'Is it lit?'"
)
"""The remedy for the commonest slip of all."""
UNQUOTED = "Between braces or brackets this text holds {what} and is not in quotes"
_SPECIAL = "Put the text in quotes: {char} has a meaning of its own in YAML when a text starts with it"
ESCAPED = "A backslash in double quotes changes the meaning of the letter after it"
UNESCAPE = "Write two backslashes, or put the text in single quotes"
CUT = re.compile(r"\S\s+(#\w)")
"""A hash sign that starts a comment where it may be meant as a part of the text: `Socket #3`."""


class Wording(NamedTuple):
    """Where a slip is, counted from 0, what it is, and how to mend it."""

    line: int
    column: int
    message: str
    remedy: str


@dataclass(slots=True)
class _Trouble:
    """A parser's error with the text that it is about."""

    problem: str
    context: str
    line: int
    column: int
    start: yaml.Mark | None
    """Where what the parser was reading had begun."""
    lines: list[str]
    scan: Callable[[], Iterable[yaml.Token]]

    @property
    def here(self) -> str:
        """The line on which the parser stopped."""
        return self.lines[self.line] if self.line < len(self.lines) else ""

    @property
    def char(self) -> str:
        """The character at which the parser stopped."""
        return self.here[self.column : self.column + 1]

    def word(self, message: str, remedy: str) -> Wording:
        """Word the slip where the parser stopped."""
        return Wording(self.line, self.column, message, remedy)

    def word_at_start(self, message: str, remedy: str) -> Wording:
        """Word the slip where what the parser was reading had begun."""
        mark = self.start
        return Wording(mark.line, mark.column, message, remedy) if mark else self.word(message, remedy)


def explain(error: yaml.MarkedYAMLError, text: str, scan: Callable[[], Iterable[yaml.Token]]) -> Wording:
    """Word a parser's `error` about `text` for its author.

    Args:
        error: What the parser raised.
        text: The YAML text.
        scan: Returns the tokens of the text, to look at those before the error.

    """
    mark = error.problem_mark or error.context_mark
    trouble = _Trouble(
        error.problem or "",
        error.context or "",
        mark.line if mark else 0,
        mark.column if mark else 0,
        error.context_mark,
        text.split("\n"),
        scan,
    )
    for slip in _SLIPS:
        wording = slip(trouble)
        if wording:
            return wording
    problem = trouble.problem or "this is no YAML"
    return trouble.word(f"{problem[:1].upper()}{problem[1:]}", "Mend the YAML here")


def _tab(trouble: _Trouble) -> Wording | None:
    indent = re.match(r"[ \t]*", trouble.here)
    if indent is None or "\t" not in indent[0] or trouble.column > indent.end():
        return None
    return Wording(
        trouble.line,
        trouble.here.index("\t"),
        "A tab stands here",
        "Indent with spaces; YAML allows no tabs there",
    )


def _escape(trouble: _Trouble) -> Wording | None:
    if "quoted scalar" not in trouble.context or "end of stream" in trouble.problem:
        return None
    if "escape" not in trouble.problem and "hex" not in trouble.problem:
        return None
    return trouble.word(ESCAPED, UNESCAPE)


def _open_quote(trouble: _Trouble) -> Wording | None:
    if "quoted scalar" not in trouble.context:
        return None
    return trouble.word_at_start(
        "A quote is opened here and never closed", "Close it, or double it if it is an apostrophe"
    )


def _after_quotes(trouble: _Trouble) -> Wording | None:
    """Recognise text that goes on after its closing quote, on this line or on a later one."""
    if "did not find expected" not in trouble.problem:
        return None
    token = _quoted_text_before(trouble)
    if token is None:
        return None
    first, last = token.start_mark, token.end_mark
    if first.line != last.line:
        return Wording(
            first.line,
            first.column,
            f"A quote is opened here and closed only in line {last.line + 1}",
            "Close it where the text ends, or double it if it is an apostrophe",
        )
    if re.match(r"[\w-]+\s*:", trouble.here[trouble.column :]):
        return trouble.word("A comma is missing before this", "Put a comma between the two")
    return Wording(
        first.line,
        first.column,
        "The quotes end before the text does",
        "Put the quotes around all of the text; inside single quotes an apostrophe is doubled",
    )


def _quoted_text_before(trouble: _Trouble) -> yaml.ScalarToken | None:
    """Return the text in quotes that ends right before the place where the parser stopped."""
    found = None
    try:
        for token in trouble.scan():
            mark = token.start_mark
            if (mark.line, mark.column) >= (trouble.line, trouble.column):
                break
            if isinstance(token, yaml.ScalarToken):
                found = token
    except yaml.YAMLError:
        pass  # the scanner stops where the parser did
    if found is None or found.style not in ("'", '"') or found.end_mark.line != trouble.line:
        return None
    between = trouble.here[found.end_mark.column : trouble.column]
    return None if between.strip() else found


_TEXT_TO_QUOTE = (
    r"""(?P<key>[\w-]+:\s+)?"""
    r"""(?P<text>(?:[^\s'"{}\[\],?:][^{}\[\],]*?)?(?P<mark>[?:])(?=\s|[,}\]]|$))"""
)
_NEEDS_QUOTES = re.compile(r"(?:[{,]\s*|\[\s*)" + _TEXT_TO_QUOTE)
_NEEDS_QUOTES_GOING_ON = re.compile(r"(?:^\s*|[{,]\s*|\[\s*)" + _TEXT_TO_QUOTE)
"""The same on a line that a brace or bracket goes on in."""


def _unquoted(trouble: _Trouble) -> Wording | None:
    """Find, between braces or brackets, the text that needs quotes."""
    in_flow = "flow" in trouble.context or "found unexpected ':'" in trouble.problem
    if not in_flow or trouble.start is None:
        return None
    last = min(trouble.line + 1, len(trouble.lines))
    for number in range(trouble.start.line, last):
        form = _NEEDS_QUOTES if number == trouble.start.line else _NEEDS_QUOTES_GOING_ON
        for match in form.finditer(trouble.lines[number]):
            colon = match["mark"] == ":"
            if colon and not match["key"] and re.fullmatch(r"[\w-]+:", match["text"]):
                continue
            what = "a colon" if colon else "a question mark"
            last_word = re.search(r"\s([\w-]+):$", match["text"])
            remedy = f"{QUOTE}; if `{last_word[1]}` is a key, a comma is missing before it" if last_word else QUOTE
            return Wording(number, match.start("text"), UNQUOTED.format(what=what), remedy)
    return None


def _unclosed(trouble: _Trouble) -> Wording | None:
    """Recognise braces and brackets that do not match."""
    if "flow node" in trouble.context and (opened := _last_open(trouble)):
        kind = "brace" if isinstance(opened, yaml.FlowMappingStartToken) else "bracket"
        return _never_closed(opened.start_mark, kind, trouble)
    if "flow" in trouble.context and trouble.start:
        kind = "brace" if "mapping" in trouble.context else "bracket"
        if trouble.char == ",":
            return trouble.word("No entry stands before this comma", "Delete the comma, or write the entry")
        if trouble.start.line == trouble.line and trouble.char not in ("", "#"):
            quoting = ", or put the text that holds it in quotes" if trouble.char in "[{" else ""
            return trouble.word(
                f"A comma or the closing {kind} is missing before this",
                f"Put a comma between two entries, or close the {kind}{quoting}",
            )
        return _never_closed(trouble.start, kind, trouble)
    if trouble.char and trouble.char in "]}" and "did not find expected" in trouble.problem:
        return trouble.word(
            "A brace or bracket is closed here that was not opened",
            "Delete it, or put the text in quotes",
        )
    return None


def _never_closed(mark: yaml.Mark, kind: str, trouble: _Trouble) -> Wording:
    if cut := CUT.search(trouble.lines[mark.line], mark.column):
        return Wording(
            mark.line,
            cut.start(1),
            f"A comment starts here, before the {kind} is closed",
            "Put the text in quotes: a # behind a space starts a comment",
        )
    message, remedy = f"A {kind} is opened here and never closed", f"Close the {kind}; entries are parted by commas"
    return Wording(mark.line, mark.column, message, remedy)


def _last_open(trouble: _Trouble) -> yaml.Token | None:
    """Return the brace or bracket that is open where the text ends, if it ends inside one."""
    if any(line.strip() for line in trouble.lines[trouble.line :]):
        return None
    opened: list[yaml.Token] = []
    try:
        for token in trouble.scan():
            if isinstance(token, (yaml.FlowMappingStartToken, yaml.FlowSequenceStartToken)):
                opened.append(token)
            elif isinstance(token, (yaml.FlowMappingEndToken, yaml.FlowSequenceEndToken)):
                del opened[-1:]
    except yaml.YAMLError:
        pass  # what stands before the error is looked at
    return opened[-1] if opened else None


def _special_start(trouble: _Trouble) -> Wording | None:
    """Recognise texts that start with a character that means something else."""
    if any(kind in trouble.context for kind in ("an alias", "an anchor", "a tag", "a directive")):
        char = _char_at(trouble.start, trouble)
        return trouble.word_at_start(f"A text starts with {char}", _SPECIAL.format(char=char))
    if "block scalar" in trouble.context:
        char = _char_at(trouble.start, trouble)
        return trouble.word_at_start(
            f"A text stands behind {char} on the same line",
            f"Start the text on the next line, or put it in quotes with the {char}",
        )
    if any(problem in trouble.problem for problem in _CANNOT_START):
        return trouble.word(f"A text starts with {trouble.char}", _SPECIAL.format(char=trouble.char))
    if "sequence entries are not allowed" in trouble.problem:
        return trouble.word(
            "A list starts in the line of its key, or a text starts with a hyphen",
            "Start the list on the next line, or put the text in quotes",
        )
    return None


_CANNOT_START = (
    "undefined alias",
    "cannot start any token",
    "expected node content",
    "mapping keys are not allowed",
)


def _bracketed_start(trouble: _Trouble) -> Wording | None:
    """Recognise a text outside of braces that starts with a brace or bracket and goes on behind it."""
    if "did not find expected" not in trouble.problem:
        return None
    opened: list[yaml.Token] = []
    closed: tuple[yaml.Token, yaml.Token] | None = None
    try:
        for token in trouble.scan():
            if (token.start_mark.line, token.start_mark.column) >= (trouble.line, trouble.column):
                break
            if isinstance(token, (yaml.FlowMappingStartToken, yaml.FlowSequenceStartToken)):
                opened.append(token)
            elif opened and isinstance(token, (yaml.FlowMappingEndToken, yaml.FlowSequenceEndToken)):
                closed = opened.pop(), token
    except yaml.YAMLError:
        pass  # what stands before the error is looked at
    if closed is None or opened:
        return None
    first, last = closed[0].start_mark, closed[1].end_mark
    if last.line != trouble.line or trouble.here[last.column : trouble.column].strip():
        return None
    char = _char_at(first, trouble)
    return Wording(first.line, first.column, f"A text starts with {char}", _SPECIAL.format(char=char))


def _char_at(mark: yaml.Mark | None, trouble: _Trouble) -> str:
    return trouble.lines[mark.line][mark.column : mark.column + 1] if mark else trouble.char


def _colon(trouble: _Trouble) -> Wording | None:
    """Recognise a colon too many and a colon too few."""
    if "could not find expected ':'" in trouble.problem:
        return trouble.word_at_start(
            "This line has no colon with a space after its key",
            "Write the key, a colon, a space and the value",
        )
    if "mapping values are not allowed" not in trouble.problem:
        return None
    if re.search(r":\s", trouble.here[: trouble.column]):
        return trouble.word(
            "A second colon stands in this line",
            "Put the text in quotes: a text that holds a colon followed by a space must be quoted",
        )
    above = next((n for n in range(trouble.line - 1, -1, -1) if trouble.lines[n].strip()), None)
    if above is not None and not re.search(r":(\s|$)", trouble.lines[above]):
        indent = len(trouble.lines[above]) - len(trouble.lines[above].lstrip())
        return Wording(
            above,
            indent,
            "This line has no colon with a space after its key",
            "Write the key, a colon, a space and the value",
        )
    return trouble.word(
        "This line holds a key, but is indented as if it went on with the text above",
        "Indent it like its neighbours, or put the text above in quotes",
    )


def _documents(trouble: _Trouble) -> Wording | None:
    if "incompatible" in trouble.problem:
        return trouble.word("This asks for another release of YAML", "Delete the line")
    if "single document" in trouble.context or "document start" in trouble.problem:
        return trouble.word("A second document starts here", "Keep one document a file: no --- or ...")
    return None


def _anchor_twice(trouble: _Trouble) -> Wording | None:
    if "duplicate anchor" not in trouble.context:
        return None
    return trouble.word("This anchor has the name of an earlier one", "Give it another name")


def _misfit(trouble: _Trouble) -> Wording | None:
    if "did not find expected" not in trouble.problem:
        return None
    return trouble.word("This line does not fit the lines above it", "Indent it like its neighbours")


_SLIPS: tuple[Callable[[_Trouble], Wording | None], ...] = (
    _tab,
    _escape,
    _open_quote,
    _unquoted,
    _after_quotes,
    _unclosed,
    _bracketed_start,
    _special_start,
    _colon,
    _documents,
    _anchor_twice,
    _misfit,
)
"""From the surest to the most general."""
