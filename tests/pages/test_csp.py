"""The content-security policy of a page."""

from __future__ import annotations

from kb_tools.pages.csp import inline_scripts, policy, with_policy


def test_hash_of_an_inline_script() -> None:
    """The hash is that of the example in Content Security Policy Level 3, 'Usage' of hash sources."""
    # CSP Level 2, W3C Recommendation, 15 December 2016, section 4.2.5: alert('Hello, world.');
    page = "<head></head><script>alert('Hello, world.');</script>"
    assert "script-src 'self' 'sha256-qznLcsROx4GACP2dm0UCKCzCG+HiZ1guq6ZZDob/Tng=';" in policy(page)


def test_only_what_runs_is_hashed() -> None:
    """Scripts with an address and blocks of data need no hash; each inline script is hashed once."""
    page = (
        '<script src="a.js"></script><script type="application/json">{"a": 1}</script>'
        "<script>one()</script><SCRIPT>one()</SCRIPT >\n<script type=module>two()</script>"
    )
    assert inline_scripts(page) == ["one()", "one()", "two()"]
    assert policy(page).count("sha256-") == 2


def test_nothing_from_outside() -> None:
    """Without inline parts the policy allows the page's own origin, and data for pictures and fonts."""
    directives = dict(part.strip().split(" ", 1) for part in policy("<p>x</p>").split(";"))
    assert directives == {
        "default-src": "'none'",
        "script-src": "'self'",
        "style-src": "'self'",
        "img-src": "'self' data:",
        "font-src": "'self' data:",
        "connect-src": "'self'",
        "manifest-src": "'self'",
        "worker-src": "'self'",
        "base-uri": "'none'",
        "form-action": "'none'",
    }


def test_styles_are_allowed_one_by_one() -> None:
    """A style element and a style attribute come in by their hashes, the attribute's text decoded."""
    # openssl dgst -sha256 -binary | base64, of `p{}` and of `a:url("b")`.
    made = policy("<style>p{}</style><td style='a:url(&quot;b&quot;)'>x</td>")
    assert "style-src 'self' 'unsafe-hashes' 'sha256-gG2yISYereRMiG2lMXrbiUgi0Ubw9p7QCeWcroOvy9Y='" in made
    assert "'sha256-ML+n8NtRcyHf1UxEwepIUSeRLvKNIgeplz8FKsZgN/U='" in made


def test_the_policy_follows_the_encoding() -> None:
    """The two metas stand right behind the encoding, which browsers look for first."""
    page = (
        '<html><head><meta charset="utf-8"><link rel="next" href="b.html"><title>x</title></head><body></body></html>'
    )
    made = with_policy(page, "../")
    assert made.startswith('<html><head><meta charset="utf-8"><meta http-equiv="Content-Security-Policy" content="')
    assert '<meta name="ft-root" content="../">' in made
    assert 'rel="next"' not in made


def test_known_content_is_not_searched() -> None:
    """What is known to hold no script is left out of the search, whatever it looks like."""
    content = "<p>&lt;script&gt; is a word here</p>"
    page = f"<head></head><script>a()</script>{content}"
    assert with_policy(page, "", content) == with_policy(page, "")
