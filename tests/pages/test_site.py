"""A whole site through the plugin: links, policy, outside references, hostile texts, themes."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import unquote, urljoin, urlsplit

import pytest

from kb_tools.findings import BuildError
from kb_tools.model.build import load
from kb_tools.pages.csp import policy
from kb_tools.pages.mkdocs_plugin import build_site
from kb_tools.rules import contract
from kb_tools.rules.example_files import TODAY

if TYPE_CHECKING:
    from collections.abc import Iterator

SMALL = Path(__file__).parent.parent / "data" / "small"
FETCHED = {
    ("script", "src"),
    ("img", "src"),
    ("iframe", "src"),
    ("source", "src"),
    ("video", "src"),
    ("audio", "src"),
    ("embed", "src"),
    ("object", "data"),
    ("form", "action"),
    ("image", "href"),
    ("use", "href"),
}
FETCHED_RELATIONS = {
    "stylesheet",
    "icon",
    "manifest",
    "preload",
    "prefetch",
    "preconnect",
    "dns-prefetch",
    "modulepreload",
}


@dataclass
class Read:
    """What a page holds that matters here."""

    ids: list[str] = field(default_factory=list)
    links: list[str] = field(default_factory=list)
    fetched: list[str] = field(default_factory=list)
    tags: list[str] = field(default_factory=list)
    handlers: list[str] = field(default_factory=list)
    text: list[str] = field(default_factory=list)


class Reader(HTMLParser):
    """Reads a page into `Read`."""

    def __init__(self) -> None:
        """Start with nothing read."""
        super().__init__()
        self.read = Read()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep ids, addresses and event handlers."""
        given = {name: value or "" for name, value in attrs}
        read = self.read
        read.tags.append(tag)
        read.handlers += [name for name in given if name.startswith("on")]
        if "id" in given:
            read.ids.append(given["id"])
        if tag == "a" and "href" in given:
            read.links.append(given["href"])
        is_fetched = tag == "link" and set(given.get("rel", "").split()) & FETCHED_RELATIONS
        read.fetched += [given[name] for of, name in FETCHED if of == tag and name in given]
        if is_fetched:
            read.fetched.append(given["href"])

    def handle_data(self, data: str) -> None:
        """Keep text."""
        self.read.text.append(data)


def read_page(path: Path) -> Read:
    """Read a page."""
    reader = Reader()
    reader.feed(path.read_text("utf-8"))
    reader.close()
    return reader.read


def pages_of(site: Path) -> dict[str, Read]:
    """Return every page of a site by its address."""
    return {path.relative_to(site).as_posix(): read_page(path) for path in sorted(site.rglob("*.html"))}


def build(root: Path, out: Path) -> list[str]:
    """Build a library's site, whatever its findings, and return what MkDocs warned of."""
    subject = contract.subject_of(load(root), TODAY)
    return build_site(root / "mkdocs.yml", out, subject).warnings


@pytest.fixture(scope="module")
def small_site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the small library once."""
    out = tmp_path_factory.mktemp("small") / "site"
    assert not build(SMALL, out)
    return out


@pytest.fixture(params=["small", "demo"])
def site(request: pytest.FixtureRequest) -> Path:
    """Return the site of the small library, then that of the demo library."""
    path: Path = request.getfixturevalue(f"{request.param}_site")
    return path


def outside(addresses: list[str]) -> Iterator[str]:
    """Yield the addresses that lead out of the site's folder."""
    for address in addresses:
        parts = urlsplit(address)
        if (parts.scheme and parts.scheme != "data") or parts.netloc or parts.path.startswith("/"):
            yield address


def test_every_link_and_anchor_resolves(site: Path) -> None:
    """Each link inside the site leads to a file that is there, each fragment to an id that is there."""
    pages = pages_of(site)
    broken = []
    for name, page in pages.items():
        for link in page.links:
            parts = urlsplit(urljoin(name, link))
            if parts.scheme or parts.netloc:
                continue
            target = unquote(parts.path)
            if target not in pages:
                # The theme's logo leads to ".", which a browser takes for the folder's index from a server only.
                if not (site / target).is_file() and target not in ("", "."):
                    broken.append(f"{name}: {link}")
            elif parts.fragment and parts.fragment not in pages[target].ids:
                broken.append(f"{name}: {link}")
    assert not broken


def test_no_id_is_given_twice(site: Path) -> None:
    """Ids are unique on each page."""
    for name, page in pages_of(site).items():
        assert len(set(page.ids)) == len(page.ids), name


def test_nothing_is_fetched_from_outside(site: Path) -> None:
    """No page, style sheet or script of ours refers to anything outside for its own working."""
    for name, page in pages_of(site).items():
        assert not list(outside(page.fetched)), name
        assert page.fetched
        for address in page.fetched:
            if not address.startswith("data:"):
                assert (site / urljoin(name, address)).is_file(), f"{name}: {address}"
    for sheet in site.rglob("*.css"):
        assert not re.search(r"(?:url\(|@import)\s*['\"]?(?:https?:)?//", sheet.read_text("utf-8")), sheet


def test_the_check_for_outside_references_finds_some() -> None:
    """The test above would see a foreign script, style sheet or picture."""
    reader = Reader()
    reader.feed('<script src="//a.example/x.js"></script><link rel="icon" href="https://b.example/"><img src="/c.png">')
    assert len(list(outside(reader.read.fetched))) == 3


def test_every_page_bears_its_policy(site: Path) -> None:
    """The policy of each page is the one its finished text asks for, and the way to the root is right."""
    for path in site.rglob("*.html"):
        text = path.read_text("utf-8")
        (given,) = re.findall(r'<meta http-equiv="Content-Security-Policy" content="([^"]*)">', text)
        assert given == policy(text.replace(given, "")), path
        assert "'unsafe-inline'" not in given
        assert "'unsafe-eval'" not in given
        (root,) = re.findall(r'<meta name="ft-root" content="([^"]*)">', text)
        assert (path.parent / root / "index.html").resolve() == site / "index.html"
        assert text.index("Content-Security-Policy") < text.index("<script")


def test_no_event_handlers(site: Path) -> None:
    """No page has a script in an attribute, which its policy would refuse."""
    assert not [name for name, page in pages_of(site).items() if page.handlers]


def test_standing_note_is_on_every_page(site: Path) -> None:
    """Each page says that the maker's instructions, local codes and licensed practice come first."""
    for name, page in pages_of(site).items():
        assert "The maker's instructions, local codes and licensed practice come first." in "".join(page.text), name


def test_trees_stay_out_of_the_navigation(small_site: Path) -> None:
    """The index pages are in the navigation of a site that names none, trees are not."""
    nav = re.search(
        r'<nav class="md-nav md-nav--primary".*?</nav>', (small_site / "fixes.html").read_text("utf-8"), re.DOTALL
    )
    assert nav
    assert "cautions.html" in nav[0]
    assert "trees/" not in nav[0]


def test_home_lists_symptoms_in_the_users_words(small_site: Path) -> None:
    """Home has the author's text and every tree: title, three of the users' phrases, steps, minutes, by equipment."""
    library = load(SMALL)
    home = (small_site / "index.html").read_text("utf-8")
    assert '<h1 id="' in home
    assert "&lt;h1" not in home
    for tree in library.trees.values():
        assert f'href="trees/{tree.id}.html"' in home
        for words in tree.heard_as[:3]:
            assert f"<q>{words}</q>" in home
        for words in tree.heard_as[3:]:
            assert f"<q>{words}</q>" not in home
        page = (small_site / "trees" / f"{tree.id}.html").read_text("utf-8")
        assert all(f"<q>{words}</q>" in page for words in tree.heard_as)
    assert re.search(r"\d+ steps, about \d+ (min|h)", home)
    for name in {name for tree in library.trees.values() for name in tree.equipment}:
        assert f"<h2>{library.equipment[name].name}</h2>" in home


@pytest.mark.parametrize("theme", ["mkdocs", "readthedocs"])
def test_other_themes_serve_too(theme: str, tmp_path: Path) -> None:
    """With MkDocs' own themes the pages are whole, fetch nothing from outside, and keep their policy."""
    shutil.copytree(SMALL, tmp_path / "library")
    config = tmp_path / "library" / "mkdocs.yml"
    config.write_text(config.read_text("utf-8").replace("theme: {name: material, font: false}", f"theme: {theme}"))
    build(tmp_path / "library", tmp_path / "site")
    pages = pages_of(tmp_path / "site")
    assert "trees/seat-stuck.html" in pages
    for page in pages.values():
        assert not list(outside(page.fetched))


def test_a_site_without_a_home_page_gets_one(tmp_path: Path) -> None:
    """Where content/ has no index.md, home is made from the library's title and its symptoms."""
    shutil.copytree(SMALL, tmp_path / "library")
    (tmp_path / "library" / "content" / "index.md").unlink()
    build(tmp_path / "library", tmp_path / "site")
    home = (tmp_path / "site" / "index.html").read_text("utf-8")
    assert f"<h1>{load(SMALL).settings.title}</h1>" in home  # type: ignore[union-attr]
    assert "trees/seat-stuck.html" in home


def test_the_mark_says_where_symptoms_go(tmp_path: Path) -> None:
    """`<!-- symptoms -->` in content/index.md is where the list stands."""
    shutil.copytree(SMALL, tmp_path / "library")
    (tmp_path / "library" / "content" / "index.md").write_text("# Top\n\n<!-- symptoms -->\n\nBottom line\n")
    build(tmp_path / "library", tmp_path / "site")
    home = (tmp_path / "site" / "index.html").read_text("utf-8")
    assert home.index("<h1") < home.index("trees/seat-stuck.html") < home.index("Bottom line")


def test_drafts_stay_out(tmp_path: Path) -> None:
    """A draft has no page and no data, and no index names it."""
    shutil.copytree(SMALL, tmp_path / "library")
    tree = next((tmp_path / "library").rglob("seat-stuck.yml"))
    tree.write_text(f"status: draft\n{tree.read_text('utf-8')}", "utf-8")
    build(tmp_path / "library", tmp_path / "site")
    assert not (tmp_path / "site" / "trees" / "seat-stuck.html").exists()
    assert not (tmp_path / "site" / "kb" / "trees" / "seat-stuck.js").exists()
    assert (tmp_path / "site" / "trees" / "buttons-dead.html").exists()


def test_the_plugin_works_under_mkdocs_alone(tmp_path: Path) -> None:
    """`mkdocs build` reads and checks the library by itself; errors stop it and are told with their places."""
    shutil.copytree(SMALL, tmp_path / "library")
    command = [sys.executable, "-m", "mkdocs", "build", "--quiet", "--site-dir", str(tmp_path / "site")]
    done = subprocess.run(command, cwd=tmp_path / "library", capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "site" / "trees" / "seat-stuck.html").exists()
    tree = next((tmp_path / "library").rglob("seat-stuck.yml"))
    tree.write_text(tree.read_text("utf-8").replace("start: ", "start: nowhere-", 1), "utf-8")
    done = subprocess.run(command, cwd=tmp_path / "library", capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert re.search(r"seat-stuck\.yml:\d+:\d+  one-start", done.stderr)
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("theme", ["", "theme: material\n"], ids=["plain", "material"])
def test_the_plugin_works_in_somebody_elses_project(theme: str, tmp_path: Path) -> None:
    """Beside pages in docs/, with nothing but the plugin's name: pictures come along, and every one is there."""
    shutil.copytree(SMALL, tmp_path / "library")
    (tmp_path / "library" / "docs").mkdir()
    (tmp_path / "library" / "docs" / "index.md").write_text("# Ours\n", "utf-8")
    config = tmp_path / "library" / "mkdocs.yml"
    config.write_text(f"site_name: Ours\n{theme}plugins: [fault-trees]\n", "utf-8")
    build(tmp_path / "library", tmp_path / "site")
    pages = pages_of(tmp_path / "site")
    shown = {urljoin(name, address) for name, page in pages.items() for address in page.fetched}
    assert "pictures/plug.svg" in shown
    assert [address for address in sorted(shown) if not (tmp_path / "site" / address).is_file()] == []


def test_directory_addresses_are_switched_off(tmp_path: Path) -> None:
    """A site opens from disk, so `use_directory_urls` does not hold even where it is asked for."""
    shutil.copytree(SMALL, tmp_path / "library")
    config = tmp_path / "library" / "mkdocs.yml"
    config.write_text(config.read_text("utf-8").replace("use_directory_urls: false", "use_directory_urls: true"))
    build(tmp_path / "library", tmp_path / "site")
    assert (tmp_path / "site" / "fixes.html").is_file()


@pytest.mark.parametrize(
    ("config", "said"),
    [
        (None, "is missing"),
        ("site_name: x\nplugins: []\ntheme: material\ndocs_dir: content\n", "does not name the plugin fault-trees"),
        ("site_name: x\nplugins: [fault-trees, not-there]\ndocs_dir: content\n", "not-there"),
        ("site_name: x\nplugins: [fault-trees]\ndocs_dir: nowhere\n", "nowhere"),
        ("site_name: [\n", "mkdocs.yml:1:12: A bracket is opened here"),
        ("site_name: a: b\n", "mkdocs.yml:1:13: A second colon"),
        ("site_name: x\nplugins: [{fault-trees: {libary: .}}]\ndocs_dir: content\nstrict: true\n", "libary"),
    ],
)
def test_a_wrong_configuration_is_told_in_words(config: str | None, said: str, tmp_path: Path) -> None:
    """What is wrong with mkdocs.yml comes as one sentence that names it."""
    shutil.copytree(SMALL, tmp_path / "library")
    path = tmp_path / "library" / "mkdocs.yml"
    if config is None:
        path.unlink()
    else:
        path.write_text(config)
    with pytest.raises(BuildError, match=re.escape(said)):
        build(tmp_path / "library", tmp_path / "site")


HOSTILE = "'\"><script>alert(1)</script><img src=x onerror=alert(2)> & {{ 7*7 }} {% x %} </svg></section>"


def test_hostile_texts_never_become_markup(tmp_path: Path) -> None:
    """With markup in every text of every file, no page holds an element or attribute that it would not hold else."""
    shutil.copytree(SMALL, tmp_path / "library")
    for path in (tmp_path / "library" / "trees").rglob("*.yml"):
        path.write_text(_spoil(path.read_text("utf-8")), "utf-8")
    build(tmp_path / "library", tmp_path / "hostile")
    build(SMALL, tmp_path / "sound")
    hostile, sound = pages_of(tmp_path / "hostile"), pages_of(tmp_path / "sound")
    assert set(hostile) == set(sound)
    for name, page in hostile.items():
        assert not page.handlers, name
        for tag in ("script", "img", "iframe", "style"):
            assert page.tags.count(tag) == sound[name].tags.count(tag), f"{tag} on {name}"
    shown = (tmp_path / "hostile" / "trees" / "seat-stuck.html").read_text("utf-8")
    assert "&lt;script&gt;alert(1)" in shown
    assert "{{ 7*7 }}" in shown
    for data in (tmp_path / "hostile" / "kb").rglob("*.js"):
        if data.name != "walker.js":
            assert "<script" not in data.read_text("utf-8")


def _spoil(text: str) -> str:
    """Put markup behind the texts of a YAML file: questions, how-tos, names and the like."""
    keys = (
        "check|measure|do|fix|done|escalate|title|how|say|text|consequence|avoid|name|confirm|put_back|leave|case|ask"
    )
    quoted = HOSTILE.replace("'", "''")

    def add(match: re.Match[str]) -> str:
        value = match[3].strip("'\"").replace("'", "''")
        return f"{match[1]}{match[2]}: '{value} {quoted}'"

    return re.sub(rf"^( *)({keys}): (?![|>{{\[])(.+)$", add, text, flags=re.MULTILINE)


def test_spoiling_reaches_many_texts() -> None:
    """The test above really changes texts of each kind of file."""
    spoilt = sum(_spoil(path.read_text("utf-8")).count("onerror") for path in (SMALL / "trees").rglob("*.yml"))
    assert spoilt >= 40


def test_the_site_carries_the_editors_schema(demo_site: Path) -> None:
    """With `reference: true` there are pages for every rule and a schema for every kind of file."""
    for rule in contract.all_rules():
        assert (demo_site / "rules" / f"{rule}.html").is_file()
    schema = json.loads((demo_site / "reference" / "schema" / "tree.schema.json").read_text("utf-8"))
    assert schema["properties"]["title"]["description"]
