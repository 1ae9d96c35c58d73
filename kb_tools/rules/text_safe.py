r"""No text holds raw HTML, a script, or a picture from elsewhere.

Texts are Markdown, or plain. What a browser could take for more than text has no place in them:

- raw HTML: a tag, a comment, also when it hides in entities (`&lt;b&gt;`) or in attributes in
  braces (`{: onclick=... }`);
- a link whose address runs something instead of leading somewhere (`javascript:`, `data:` and the
  like), however it is written. An address is relative, starts with `https://`, `http://`,
  `mailto:` or `tel:`, or names a row of figures: `figure:table/row`;
- a picture from another address: the site works without a network, so pictures lie in the library
  below `content/` and are named by `picture`.

A sign for less than is no HTML: `voltage < 18 V` is fine, and so is `a > b`. Directly before a
letter, put a space after it where the rule asks for it.

To mend it, write it in Markdown or in plain words, mend the link's address, or put the picture
into the library.
"""

from __future__ import annotations

import html
import re
from typing import TYPE_CHECKING

from kb_tools.findings import Finding, Severity
from kb_tools.model.contents import texts_of
from kb_tools.model.figures import SCHEME
from kb_tools.rules._addresses import ANGLED, LONGEST, links, pictures

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.model.entities import Library
    from kb_tools.model.values import Word
    from kb_tools.rules.contract import Subject

ID = "text-safe"
SEVERITY = Severity.ERROR
SUMMARY = "No text holds raw HTML, a script, or a picture from elsewhere."

_SUSPECT = re.compile(r"[<&{\]]")
"""Without one of these characters, only a bare script address can be wrong with a text."""
_SCRIPT = re.compile(r"\b(?:java|vb|live)script:\S", re.IGNORECASE)
_TAG = re.compile(r"<(?:/?[a-z]|!(?:--|[a-z\[])|\?)[^\s<>]{0,20}", re.IGNORECASE)
_PROPER = re.compile(r"<(?:https?://|mailto:|tel:)[^\s<>]+>", re.IGNORECASE)
_MAIL = re.compile(r"<[^\s<>@/]+@[^\s<>@/]+>")
_BRACED = re.compile(r"\{[^{}]*\b(?:on\w+|style|src|srcset|href|formaction)\s*=", re.IGNORECASE)
_END = re.compile(r"[)>/?#]|\s")
_IGNORED = re.compile(
    r"[\x00-\x20\x7f-\xa0\xad\u034f\u061c\u180e\u200b-\u200f\u2028-\u202f\u205f-\u206f"
    r"\u3000\ufeff]"
)
"""What a browser or a renderer may pass over inside an address: controls, spaces, marks unseen."""
_SCHEME = re.compile(r"([a-z][a-z0-9+.-]*):", re.IGNORECASE)
_LEADING = frozenset({"http", "https", "mailto", "tel", SCHEME})

_SHOWN = 40
_MANY = 10
"""Links and pictures of one text that are reported: more only repeat the message."""

_Problem = tuple[str, str]
"""What is wrong, and how to mend it."""


def check(subject: Subject) -> Iterator[Finding]:
    """Yield a finding for each unsafe thing in any text of any file."""
    for words in _documents(subject.library):
        together = "\n".join(words)
        if not _SUSPECT.search(together) and "script:" not in together.lower():
            continue
        for word in words:
            if _SUSPECT.search(word) or "script:" in word.lower():
                for message, remedy in problems(word):
                    yield Finding(word.place, ID, SEVERITY, message, remedy)
    settings = subject.library.settings
    if settings and settings.site_url and not settings.site_url.startswith(("https://", "http://")):
        yield Finding(
            settings.site_url.place,
            ID,
            SEVERITY,
            "The site's address is no web address",
            "Start it with https://",
        )


def _documents(library: Library) -> Iterator[list[Word]]:
    """Yield the texts of each tree, table, map and table of figures, then those of the shared files."""
    for shelf in (library.trees, library.tables, library.maps, library.figures):
        for document in shelf.values():
            yield texts_of(document)
    yield texts_of(
        (
            library.hazards,
            library.cautions,
            library.checks,
            library.fixes,
            library.proofs,
            library.equipment,
            library.tools,
            library.spares,
            library.words,
            library.desk,
            library.settings,
        )
    )


def problems(text: str) -> Iterator[_Problem]:
    """Yield what is unsafe in one text, each as (what is wrong, how to mend it)."""
    plain = _decoded(text)
    tag = _first_tag(text)
    if tag is None and plain != text:
        tag = _first_tag(plain)
    if tag is not None:
        yield (
            f"Raw HTML stands in this text: {tag!r}",
            "Write it in Markdown; where `<` means less than, put a space after it",
        )
    if braced := _BRACED.search(plain):
        yield (
            f"Attributes stand in this text: {braced[0]!r}",
            "Delete the braces and what is in them",
        )
    astray = [link for link in dict.fromkeys(links(text)) if not _leads_somewhere(link)]
    for address in astray[:_MANY]:
        yield (
            f"This link does not lead to a page: {_short(address)!r}",
            "Start its address with https://, or make it relative",
        )
    if not astray and _SCRIPT.search(plain):
        yield "A script's address stands in this text", "Delete it; a text cannot run anything"
    foreign = [picture for picture in dict.fromkeys(pictures(text)) if _is_foreign(picture)]
    for address in foreign[:_MANY]:
        yield (
            f"This picture comes from elsewhere: {_short(address)!r}",
            "Put the picture below content/ and name it by `picture`",
        )


def _decoded(text: str) -> str:
    """Return `text` with its entities resolved, also those that hide in others."""
    for _ in range(3):
        if "&" not in text:
            break
        text = html.unescape(text)
    return text


def _first_tag(text: str) -> str | None:
    """Return the start of the first tag or comment in `text`, or None.

    A letter after `<` starts one, but for an address in angle brackets, and for a comparison
    (`U<Umin`) that nothing closes.
    """
    last_close = max(text.rfind(">"), text.rfind("="))
    for match in _TAG.finditer(text):
        start = match.start()
        if _PROPER.match(text, start) or _MAIL.match(text, start):
            continue
        angled = ANGLED.match(text, start)
        if angled and not _leads_somewhere(angled[1]):
            continue  # found as a link
        compared = text[start - 1 : start].isalnum() and match[0][1:2].isalpha()
        if compared and last_close < start:
            continue
        return match[0]
    return None


def _bare(address: str) -> str:
    """Return an address as a browser takes it: decoded, without what it passes over."""
    return _IGNORED.sub("", _decoded(address)).lstrip("<")


def _leads_somewhere(address: str) -> bool:
    bare = _bare(address.replace("\\", ""))
    scheme = _SCHEME.match(bare)
    if scheme is None:
        # So long a start without any end could hide a scheme behind what a browser passes over.
        return len(address) < LONGEST or _END.search(address) is not None
    return scheme[1].lower() in _LEADING


def _is_foreign(address: str) -> bool:
    unescaped = _bare(address.replace("\\", ""))
    return _SCHEME.match(unescaped) is not None or unescaped.startswith("/") or _bare(address).startswith("\\")


def _short(address: str) -> str:
    tidy = " ".join(_END.split(address, maxsplit=1)[0].split())
    return tidy if len(tidy) <= _SHOWN else f"{tidy[:_SHOWN]}..."
