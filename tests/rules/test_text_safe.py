"""Which texts are safe, against two Markdown renderers that know nothing of the rule."""

from __future__ import annotations

import re
import time
from html.parser import HTMLParser
from typing import TYPE_CHECKING

import markdown
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from markdown_it import MarkdownIt

from kb_tools.rules.text_safe import problems
from making import findings_of

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from markdown_it.token import Token

HARMLESS_TAGS = frozenset(
    "p br hr em strong code pre ul ol li a img blockquote h1 h2 h3 h4 h5 h6 table thead tbody tr th td".split()
)
"""What plain Markdown itself turns into."""
HARMLESS_ATTRIBUTES = frozenset({"href", "src", "alt", "title", "start", "align"})
PASSED_OVER = re.compile(r"[\x00-\x20]")
"""What the URL standard of the WHATWG strips or removes before it looks for a scheme."""


def is_unsafe(text: str) -> bool:
    """Tell whether the rule finds anything in a text."""
    return any(True for _ in problems(text))


@pytest.mark.parametrize(
    "text",
    [
        "voltage < 18 V",
        "a > b",
        "a < b > c",
        "18<U<30",
        "T<Tmax",
        "<18 V: low",
        "5 V -> 3 V, then <- back",
        "R & D, fish & chips",
        "voltage &lt; 18 V",
        "[the standard](https://www.iso.org/standard/1.html)",
        "[step](#volts-at-box), [page](other.html?x=1:2), [mail](mailto:a@example.org)",
        "<https://www.example.org/a?b=c>",
        "<someone@example.org>",
        "![the plug](pictures/plug.svg)",
        "![the plug][p] and [a page](https://www.example.org)\n\n[p]: pictures/plug.svg",
        "`code`, *stress*, **more**, 1. one",
        "The data: 12, 13. Java: an island. Script: none.",
        "Press {Enter}, then [x] and (y): 10:30",
        "A set {on} switch = 1",
        # CommonMark 0.31.2, section 6.6, examples of what is no HTML (from memory)
        "<33> <__>",
        "< a>",
    ],
)
def test_plain_words_and_markdown_are_safe(text: str) -> None:
    """Comparisons, entities, addresses in angle brackets and pictures of the library pass."""
    assert list(problems(text)) == []


@pytest.mark.parametrize(
    "text",
    [
        # CommonMark 0.31.2, section 6.6, examples of raw HTML (from memory)
        "<a><bab><c2c>",
        "<a/><b2/>",
        '<a  /><b2\ndata="foo" >',
        'Foo <responsive-image src="foo.jpg" />',
        "</a></foo >",
        "foo <!-- this is a comment -->",
        "foo <?php echo $a; ?>",
        "foo <!ELEMENT br EMPTY>",
        "foo <![CDATA[>&<]]>",
        # OWASP, XSS Filter Evasion Cheat Sheet (from memory)
        "<SCRIPT SRC=https://example.org/x.js></SCRIPT>",
        "<IMG SRC=\"javascript:alert('XSS');\">",
        "<IMG SRC=JaVaScRiPt:alert('XSS')>",
        '<img src=x onerror="&#0000106&#0000097&#0000118">',
        '<<SCRIPT>alert("XSS");//\\<</SCRIPT>',
        "<SCRIPT SRC=http://example.org/x.js?< B >",
        "<IMG SRC=\"('XSS')\"",
        "<svg/onload=alert('XSS')>",
        "<iframe src=http://example.org/x.html <",
        "&lt;script&gt;alert(1)&lt;/script&gt;",
        "&#60;script&#62;",
        "&#x3C;img src=x onerror=alert(1)&#x3e;",
        "&amp;lt;script&amp;gt;",
        "U<Umin and <b>bold</b>",
    ],
)
def test_raw_html_is_found(text: str) -> None:
    """Tags, comments and declarations are found, closed or not, plain or in entities."""
    assert any(message.startswith("Raw HTML") for message, _ in problems(text))


@pytest.mark.parametrize(
    "text",
    [
        "[x](javascript:alert(1))",
        "[x](JaVaScRiPt:alert(1))",
        "[x]( javascript:alert(1))",
        "[x](<javascript:alert(1)>)",
        "[x](< java\tscript:alert(1)>)",
        "[x](java\nscript:alert(1))",
        "[x](&#106;avascript:alert(1))",
        "[x](javascript&colon;alert(1))",
        "[x](java&Tab;script&#x3A;alert(1))",
        "[x](&#1;javascript:alert(1))",
        "[x](javascript\\:alert(1))",
        "[x](vbscript:x)",
        "[x](data:text/html;base64,PHNjcmlwdD4=)",
        "[x](file:///etc/passwd)",
        "[x][y]\n\n[y]: javascript:alert(1)",
        "[y]\n\n[y]:\n  <java&#10;script:alert(1)>",
        "<javascript:alert(1)>",
        "<java&#115;cript:alert(1)>",
        "[![x](y.svg)](javascript:alert(1))",
        "[a [b] c](data:x)",
        "see javascript:alert(1)",
        '{: onclick="alert(1)" }',
        "*x*{: style='x' }",
    ],
)
def test_addresses_that_run_something_are_found(text: str) -> None:
    """Inline, in angle brackets, by reference or bare; case, spaces and entities do not hide it."""
    assert is_unsafe(text)


@pytest.mark.parametrize(
    "text",
    [
        "![x](https://example.org/x.png)",
        "![x](//example.org/x.png)",
        "![x](\\\\\\\\example.org\\\\x.png)",
        "![x](http\\://example.org/x.png)",
        "![x](/etc/x.png)",
        "![x](data:image/png;base64,AAAA)",
        "![a [b] c](https://example.org/x.png)",
        "![a \\] b](https://example.org/x.png)",
        "[![x](https://example.org/x.png)](page.html)",
        "![x][y]\n\n[Y]: https://example.org/x.png",
        "![y][]\n\n[y]: //example.org/x.png",
        "![y]\n\n[y]: <https://example.org/x.png>",
    ],
)
def test_pictures_from_elsewhere_are_found(text: str) -> None:
    """Inline and by reference, with a scheme, from another host or from the root."""
    assert any(message.startswith("This picture") for message, _ in problems(text))


PIECES = (
    "< > </ <b <B> <!-- --> <? ?> & &lt; &#60; &#x3c; &gt; &amp; &colon; &Tab; &#106; &NewLine; "
    "[ ] ( ) ![ ]( ][ [a] [a]: ]: < <http: <javascript: javascript: java script: data: vbscript: "
    "http:// https://e.org //e.org mailto: a@b x y img src=x onerror= = ' \" ` \\ / : ; { } {: on "
    "* _ # - 1. | ~~~"
).split()
NASTY = st.lists(st.one_of(st.sampled_from(PIECES), st.sampled_from([" ", "\n", "\n\n", "\t"])), max_size=14)


def scheme_of(address: str) -> str:
    """Return the scheme of an address as a browser reads it, or an empty text."""
    match = re.match(r"([a-z][a-z0-9+.-]*):", PASSED_OVER.sub("", address), re.IGNORECASE)
    return match[1].lower() if match else ""


def all_tokens(tokens: Iterable[Token]) -> Iterable[Token]:
    """Yield tokens and those inside them."""
    for token in tokens:
        yield token
        yield from all_tokens(token.children or ())


@settings(max_examples=600, deadline=None)
@given(NASTY)
def test_what_commonmark_takes_for_html_is_found(pieces: list[str]) -> None:
    """Whatever a CommonMark parser takes for HTML, a script's link or a foreign picture is found."""
    text = "".join(pieces)
    parser = MarkdownIt("commonmark")
    parser.validateLink = lambda _: True  # type: ignore[method-assign,assignment]
    for token in all_tokens(parser.parse(text)):
        if token.type in ("html_inline", "html_block"):
            assert is_unsafe(text), token.content
        elif token.type == "link_open":
            scheme = scheme_of(str(token.attrs["href"]))
            assert scheme in ("", "http", "https", "mailto") or is_unsafe(text)
        elif token.type == "image":
            address = str(token.attrs["src"])
            foreign = scheme_of(address) or address.replace("\\", "/").startswith("//")
            assert not foreign or is_unsafe(text)


class _Tags(HTMLParser):
    """Collects the tags, their attributes and the comments of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, list[tuple[str, str | None]]]] = []
        self.others: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep a tag."""
        self.tags.append((tag, attrs))

    def handle_comment(self, data: str) -> None:
        """Keep a comment."""
        self.others.append(data)

    def handle_decl(self, decl: str) -> None:
        """Keep a declaration."""
        self.others.append(decl)

    def handle_pi(self, data: str) -> None:
        """Keep a processing instruction."""
        self.others.append(data)

    def unknown_decl(self, data: str) -> None:
        """Keep what else starts like a declaration."""
        self.others.append(data)


@settings(max_examples=600, deadline=None)
@given(NASTY)
def test_a_safe_text_renders_to_harmless_html(pieces: list[str]) -> None:
    """A text without a finding, rendered by Python-Markdown, holds only what Markdown makes."""
    text = "".join(pieces)
    if is_unsafe(text):
        return
    page = _Tags()
    page.feed(markdown.markdown(text, extensions=["attr_list", "tables"]))
    page.close()
    assert not page.others
    for tag, attributes in page.tags:
        assert tag in HARMLESS_TAGS
        for name, value in attributes:
            assert name in HARMLESS_ATTRIBUTES | {"id", "class"}
            if name in ("href", "src"):
                assert scheme_of(value or "") in ("", "http", "https", "mailto")
            if name == "src":
                assert not scheme_of(value or "")
                assert not (value or "").startswith("//")


TREE = """title: {title}
heard_as: ['{heard}']
reviewed: 2026-11-20
start: ask
steps:
  ask:
    check: '{check}'
    answers:
      - {{answer: '{answer}', to: desk}}
      - {{answer: 'No', to: desk, say: '{say}'}}
  desk:
    escalate: Ask the maker
    bring: ['{bring}']
"""
PLAIN = dict.fromkeys(("title", "heard", "check", "answer", "say", "bring"), "words")


@pytest.mark.parametrize("field", PLAIN)
def test_texts_of_every_key_are_looked_at(field: str, tmp_path: Path) -> None:
    """Titles, what is heard, questions, answers and lists are held to the same."""
    text = TREE.format(**PLAIN | {field: "<b>words</b>"})
    found = findings_of(tmp_path, {"trees/area/made.yml": text})
    assert [one.rule for one in found] == ["text-safe"]


@pytest.mark.parametrize(
    ("file", "text"),
    [
        ("library", "title: <i>Library</i>\n"),
        ("library", "title: Library\nsite_url: 'javascript:alert(1)'\n"),
        ("library", "title: Library\nsite_url: 'data:text/html,x'\n"),
        ("words", "- [dark, <b>unlit</b>]\n"),
        ("desk", "- {ask: 'Anybody <b>hurt</b>?', bad: 'Yes', say: Call for help}\n"),
    ],
)
def test_texts_of_shared_files_are_looked_at(file: str, text: str, tmp_path: Path) -> None:
    """The library's title and address, synonyms and the desk's questions too."""
    found = findings_of(tmp_path, {f"trees/shared/{file}.yml": text})
    assert {one.rule for one in found} == {"text-safe"}
    assert {one.place.file for one in found} == {f"trees/shared/{file}.yml"}


@pytest.mark.parametrize(
    "text",
    ["](", "![", "[", "<?", "<a:", "a<b ", "{on ", "&#", "&amp;", "[a]: x\n", "![a]", "<a@"],
    ids=repr,
)
def test_a_text_made_to_be_slow_is_not(text: str) -> None:
    """The work grows with the text's length: ten times the text, not a hundred times the time."""

    def seconds(words: str) -> float:
        taken = []
        for _ in range(3):
            start = time.process_time()
            list(problems(words))
            taken.append(time.process_time() - start)
        return min(taken)

    short, long = text * (20_000 // len(text)), text * (200_000 // len(text))
    assert seconds(long) < 50 * max(seconds(short), 0.001)
