"""Markdown of the library: what it becomes, and that nothing harmful passes."""

from __future__ import annotations

from html import unescape
from html.parser import HTMLParser
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb_tools.pages.rich_text import TAGS, blocks, html, inline, plain

HARMFUL = [
    "<script>alert(1)</script>",
    "# <img src=x onerror=alert(1)>",
    "[x](javascript:alert(1))",
    "[x](JaVaScRiPt:alert(1))",
    "[x](java\nscript:alert(1))",
    "[x](&#106;avascript:alert(1))",
    "[x](&amp;#106;avascript:alert(1))",
    "[x](\x01javascript:alert(1))",
    "[x](vbscript:x) [y](data:text/html,<script>1</script>)",
    "<javascript:alert(1)>",
    '![x](https://outside.example/x.png "a")',
    "![x](//outside.example/x.png)",
    "[x](//outside.example/)",
    "[x][1]\n\n[1]: javascript:alert(1)",
    'text " onmouseover="alert(1)',
    "`<b>`\n\n    <script>1</script>",
]
SCHEMES = ("http:", "https:", "mailto:", "tel:")


class Reader(HTMLParser):
    """Collects the elements of a fragment with their attributes."""

    def __init__(self) -> None:
        """Start with nothing read."""
        super().__init__()
        self.found: list[tuple[str, dict[str, str]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep an element."""
        self.found.append((tag, {name: value or "" for name, value in attrs}))


def elements(fragment: str) -> list[tuple[str, dict[str, str]]]:
    """Return the elements of an HTML fragment."""
    reader = Reader()
    reader.feed(fragment)
    reader.close()
    return reader.found


def is_within_reach(address: str, tag: str) -> bool:
    """Tell whether an address is below the site's root, or a link of a known scheme."""
    start = address.partition("/")[0]
    return ("//" not in address and ":" not in start) or (tag == "a" and address.startswith(SCHEMES))


def assert_harmless(text: str) -> None:
    """Fail if a text becomes anything that runs, or that is fetched from outside."""
    for tag, attributes in elements(html(text, "../")):
        assert tag in TAGS | {"img", "pre", "hr"}, f"{tag} from {text!r}"
        assert set(attributes) <= {"href", "src", "alt", "title", "style", "start"}, attributes
        for name in ("href", "src"):
            assert is_within_reach(attributes.get(name, ""), tag), attributes
    assert_blocks_harmless(blocks(text))


def assert_blocks_harmless(children: list[Any]) -> None:
    """Fail if blocks hold another tag or attribute than the browser expects, or a bad address."""
    for node in children:
        if isinstance(node, str):
            continue
        tag, *attributes, inner = node
        assert tag in TAGS
        for given_ in attributes:
            assert set(given_) == {"href"}
            assert tag == "a"
            assert is_within_reach(given_["href"], "a"), node
        assert_blocks_harmless(inner)


@pytest.mark.parametrize("text", HARMFUL)
def test_harmful_texts_stay_text(text: str) -> None:
    """Raw HTML, scripts, foreign pictures and script addresses never become markup."""
    assert_harmless(text)


@given(st.text(alphabet=st.sampled_from("ab <>&\"'[]()!#*_`:/\\\n\t-1.|~^{}javscript:"), max_size=60))
def test_any_text_is_harmless(text: str) -> None:
    """No mixture of Markdown's signs becomes anything that runs."""
    assert_harmless(text)


@given(st.text(alphabet="abc XYZ 0123 ,.;'()%=+-", min_size=1, max_size=40))
def test_the_short_cut_agrees_with_markdown(text: str) -> None:
    """A line reads alike whether it is rendered by itself or, past the short cut, with a paragraph after it."""
    after = "\n<p><em>x</em></p>"
    long_way = html(f"{text}\n\n*x*")
    # A list and code would take in what follows; they take no short cut, which the two endings show.
    if long_way.endswith(after) and long_way.startswith("<p>"):
        assert unescape(long_way.removesuffix(after)) == unescape(html(text))
    else:
        assert not html(text).startswith("<p>") or not text.strip()


def test_links_and_pictures_are_given_from_the_root() -> None:
    """A relative address of a text is taken from the site's root, a page's ending made that of HTML."""
    text = "[guide](using.md#x) ![plug](pictures/plug.svg) [out](https://a.example/b?c=1&d=2)"
    assert html(text, "../") == (
        '<p><a href="../using.html#x">guide</a> <img alt="plug" src="../pictures/plug.svg"> '
        '<a href="https://a.example/b?c=1&amp;d=2">out</a></p>'
    )
    assert blocks(text)[0] == [
        "p",
        [
            ["a", {"href": "using.html#x"}, ["guide"]],
            " ",
            "plug",
            " ",
            ["a", {"href": "https://a.example/b?c=1&d=2"}, ["out"]],
        ],
    ]


def test_blocks_keep_lists_and_tables() -> None:
    """Lists, emphasis and tables become blocks; line breaks between blocks do not."""
    assert blocks("1. one\n2. **two**\n\n| a |\n|---|\n| 1 |") == [
        ["ol", [["li", ["one"]], ["li", [["strong", ["two"]]]]]],
        ["table", [["thead", [["tr", [["th", ["a"]]]]]], ["tbody", [["tr", [["td", ["1"]]]]]]]],
    ]


def test_inline_drops_only_a_lone_paragraph() -> None:
    """A single paragraph loses its tag, several keep theirs."""
    assert inline("One *word*") == "One <em>word</em>"
    assert inline("One\n\nTwo").startswith("<p>One</p>")


def test_plain_text_of_markdown() -> None:
    """Plain text has no signs of Markdown and no line breaks."""
    assert plain("# Head\n\n- **one** `2 V`\n- [three](x.md)") == "Head one 2 V three"
