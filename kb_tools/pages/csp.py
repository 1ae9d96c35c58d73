"""The content-security policy of a finished page: nothing from outside, no script but ours.

What the theme or Markdown puts inline into a page, scripts and styles, is allowed piece by piece,
by the hash of what stands there. See Content Security Policy Level 3, W3C Working Draft: hashes
of scripts and styles, and `'unsafe-hashes'`, which lets a hash speak for a style attribute.
"""

from __future__ import annotations

import base64
import hashlib
import re
from functools import cache
from html import unescape

_SCRIPT = re.compile(r"<script\b([^>]*)>(.*?)</script\s*>", re.DOTALL | re.IGNORECASE)
_TYPE = re.compile(r"""\btype\s*=\s*["']?([^"'\s>]*)""", re.IGNORECASE)
_RUNS = frozenset({"", "text/javascript", "application/javascript", "module"})
"""Types of script that a browser runs; other ones hold data, which needs no leave."""
_STYLE = re.compile(r"<style\b[^>]*>(.*?)</style\s*>", re.DOTALL | re.IGNORECASE)
_STYLE_ATTRIBUTE = re.compile(r"""<[a-z][^<>]*?\sstyle\s*=\s*(?:"([^"]*)"|'([^']*)')""", re.IGNORECASE)
_POLICY = (
    "default-src 'none'; script-src {scripts}; style-src {styles}; img-src 'self' data:; "
    "font-src 'self' data:; connect-src 'self'; manifest-src 'self'; worker-src 'self'; "
    "base-uri 'none'; form-action 'none'"
)
_ENCODING = re.compile(r"""<meta\s+charset\s*=\s*["']?[\w-]+["']?\s*/?>""", re.IGNORECASE)
_HEAD = re.compile(r"<head\b[^>]*>", re.IGNORECASE)
_NEIGHBOUR = re.compile(r"""<link rel="(?:prev|next)"[^>]*>\s*""")


def inline_scripts(page: str) -> list[str]:
    """Return the scripts that stand in the page itself and run, in their order."""
    found = []
    for attributes, body in _SCRIPT.findall(page):
        kind = _TYPE.search(attributes)
        if "src=" not in attributes.lower() and (kind[1].lower() if kind else "") in _RUNS:
            found.append(body)
    return found


@cache
def _hash(text: str) -> str:
    digest = hashlib.sha256(text.replace("\r\n", "\n").encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"


def policy(page: str, *, any_inline: bool = False) -> str:
    """Return the policy for a finished page; `any_inline` lets any inline script run, for a preview."""
    scripts = ["'unsafe-inline'"] if any_inline else dict.fromkeys(_hash(script) for script in inline_scripts(page))
    styles = dict.fromkeys(_hash(style) for style in _STYLE.findall(page))
    attributes = {
        _hash(unescape(double or single)): None
        for double, single in (_STYLE_ATTRIBUTE.findall(page) if "style" in page else ())
    }
    unsafe = ["'unsafe-hashes'"] if attributes else []
    return _POLICY.format(
        scripts=" ".join(["'self'", *scripts]), styles=" ".join(["'self'", *unsafe, *styles, *attributes])
    )


def pocket_policy(scripts: list[str], style: str) -> str:
    """Return the policy of a file that holds its scripts and style itself and asks for nothing."""
    allowed = " ".join(_hash(script) for script in scripts)
    return (
        f"default-src 'none'; script-src {allowed}; style-src {_hash(style)}; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )


def with_policy(page: str, root: str, content: str = "", *, any_inline: bool = False) -> str:
    """Return the page with its policy, and with the way to the site's root, at the top of its head.

    Args:
        page: A whole HTML page.
        root: What leads from it to the site's root: an empty text, or `../` once or more.
        content: The part of the page that is known to hold no script and no style of its own; it is
            not searched for any.
        any_inline: Whether any inline script may run, as the server of a preview needs it.

    """
    frame = page.replace(content, "", 1) if content else page
    metas = (
        f'<meta http-equiv="Content-Security-Policy" content="{policy(frame, any_inline=any_inline)}">'
        f'<meta name="ft-root" content="{root}">'
    )
    # The encoding comes first: a browser looks for it in the first kilobyte.
    after = _ENCODING.search(page) or _HEAD.search(page)
    at = after.end() if after else 0
    end = page.find("</head>", at)
    # Browsers may fetch the neighbours ahead, which the policy forbids with a line in the console.
    return page[:at] + metas + _NEIGHBOUR.sub("", page[at:end]) + page[end:]
