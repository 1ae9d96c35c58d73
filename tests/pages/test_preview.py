"""A preview that follows edits ends where a build from scratch ends, and tells open pages what changed."""

from __future__ import annotations

import json
import os
import random
import re
import shutil
import socket
import struct
import subprocess
import threading
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from kb_tools.findings import BuildError, Severity
from kb_tools.model.build import load
from kb_tools.pages.mkdocs_plugin import ThemedSite, build_site
from kb_tools.pages.preview import Preview
from kb_tools.pages.preview_server import News, PreviewServer
from kb_tools.rules import contract
from kb_tools.rules.example_files import TODAY

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from kb_tools.findings import Finding

SMALL = Path(__file__).parent.parent / "data" / "small"
SOUND_TREE = "title: Nothing moves\nreviewed: 2026-11-20\nstart: end\nsteps:\n  end: {escalate: Ask}\n"
EDITS = 14
"""So many edits, one after the other, are made from each seed."""


@pytest.fixture
def library(tmp_path: Path) -> Path:
    """Return a library of some trees, two of them linked."""
    root = tmp_path / "library"
    shutil.copytree(SMALL, root)
    first = (root / "trees/seat/buttons-dead.yml").read_text("utf-8")
    for number in range(3):
        other = re.sub(r"^title: .*", f"title: Buttons of seat {number} dead", first, flags=re.MULTILINE)
        (root / f"trees/seat/seat-{number}.yml").write_text(other, "utf-8")
    return root


class Followed:
    """A preview of a library below test."""

    def __init__(self, root: Path, out: Path) -> None:
        """Build it."""
        self.root, self.news = root, News()
        self.site = ThemedSite(root / "mkdocs.yml", TODAY)
        self.preview = Preview(self.site, out, self.news, today=lambda: TODAY)
        self.preview.settle()

    def told(self, number: int) -> list[str]:
        """Return what open pages were told after the change `number`."""
        return self.news.since(number)[1] if self.news.number > number else []

    @property
    def findings(self) -> list[Finding]:
        """What the preview holds to be wrong."""
        return self.site.live.findings


def contents(site: Path) -> dict[str, bytes]:
    """Return every page and all data of a site."""
    return {
        path.relative_to(site).as_posix(): path.read_bytes()
        for path in sorted(site.rglob("*"))
        if path.is_file() and path.suffix in (".html", ".js", ".css", ".json") and "assets" not in path.parts
    }


def checked(root: Path) -> list[Finding]:
    """Return what `kb check` says of a library."""
    return contract.run(contract.subject_of(load(root), TODAY))


def rewrite(path: Path, change: Callable[[str], str]) -> None:
    """Change a file's text; the time of the change is never that of the one before."""
    before = path.stat().st_mtime_ns
    path.write_text(change(path.read_text("utf-8")), "utf-8", newline="\n")
    os.utime(path, ns=(before + 1_000_000, before + 1_000_000))


class Author:
    """Makes random edits, one after the other."""

    def __init__(self, root: Path, chance: random.Random) -> None:
        """Take a library and a source of chance."""
        self.root, self.chance, self.number = root, chance, 0
        self.broken: dict[Path, str] = {}

    def edit(self) -> str:
        """Make an edit, and say what it was."""
        self.number += 1
        kind = self.chance.choice([name for name in vars(Author) if name.startswith("make_")])
        path = self.chance.choice(self.trees)
        getattr(self, kind)(path)
        return f"{kind} {path.name}"

    @property
    def trees(self) -> list[Path]:
        """The tree files."""
        return sorted((self.root / "trees/seat").glob("*.yml"))

    def reword(self, path: Path, keys: str, times: int = 1) -> None:
        """Put words before the text of some keys."""
        rewrite(path, lambda text: re.sub(rf"({keys}): (?=[A-Z])", rf"\1: Now {self.number} ", text, count=times))

    def make_text(self, path: Path) -> None:
        """Change wording."""
        self.reword(path, "title|check|fix|say", self.chance.randint(1, 3))

    def make_step(self, path: Path) -> None:
        """Add a step."""
        if path not in self.broken:
            rewrite(path, lambda text: with_step(text, f"added-{self.number}", self.chance))

    def make_break(self, path: Path) -> None:
        """Break the syntax, the title, or everything."""
        if path not in self.broken:
            self.broken[path] = path.read_text("utf-8")
            end = self.chance.choice(["\n  : [", "\ntitel: x\n", "\nsteps: {}\n"])
            rewrite(path, lambda text: text + end)

    def make_mend(self, _: Path) -> None:
        """Mend a broken file."""
        if self.broken:
            path, whole = self.broken.popitem()
            if path.exists():
                rewrite(path, lambda _: whole)

    def make_tree(self, path: Path) -> None:
        """Add a tree."""
        shutil.copyfile(path, path.with_name(f"new-{self.number}.yml"))

    def make_less(self, path: Path) -> None:
        """Delete a tree."""
        if len(self.trees) > 2:
            path.unlink()

    def make_shared(self, _: Path) -> None:
        """Change a shared item, or the library's title."""
        name, keys = self.chance.choice(
            [("cautions", "text"), ("proofs", "title"), ("fixes", "fix"), ("library", "title"), ("equipment", "name")]
        )
        self.reword(self.root / f"trees/shared/{name}.yml", keys)

    def make_link(self, path: Path) -> None:
        """Let a link lead elsewhere, perhaps in a circle."""
        other = self.chance.choice(self.trees).stem
        rewrite(path, lambda text: re.sub(r"link: [\w-]+", f"link: {other}", text, count=1))

    def make_draft(self, path: Path) -> None:
        """Make a tree a draft."""
        rewrite(path, lambda text: text if "status:" in text else text.replace("title:", "status: draft\ntitle:", 1))

    def make_page(self, _: Path) -> None:
        """Change the author's first page."""
        rewrite(self.root / "content/index.md", lambda text: f"{text}\nLine {self.number}\n")


def with_step(text: str, name: str, chance: random.Random) -> str:
    """Return a tree with one more check before a step that some way leads to."""
    targets = re.findall(r" to: ([a-z][\w-]*)", text)
    if not targets:
        return text
    target = chance.choice(targets)
    step = (
        f"steps:\n  {name}:\n    check: Is the {name} lit?\n    answers:\n"
        f"      - {{answer: 'Yes', to: {target}}}\n      - {{answer: 'No', to: {target}}}\n"
    )
    return text.replace(f" to: {target}", f" to: {name}", 1).replace("steps:\n", step, 1)


@pytest.mark.timeout(600)
@pytest.mark.parametrize("seed", range(3))
def test_a_settled_preview_equals_a_build_from_scratch(library: Path, tmp_path: Path, seed: int) -> None:
    """After any random edits every page, script and finding is, byte for byte, what a new build makes."""
    followed = Followed(library, tmp_path / "preview")
    made: list[str] = []
    author = Author(library, random.Random(seed))
    while len(made) < EDITS:
        made.append(author.edit())
        followed.preview.settle()
        assert followed.findings == checked(library), made
        if len(made) % 2 and len(made) != EDITS:
            continue
        site = ThemedSite(library / "mkdocs.yml", TODAY)
        site.live.follow()
        site.build(tmp_path / "scratch")
        wanted, found = contents(tmp_path / "scratch"), contents(followed.preview.out)
        assert sorted(found) == sorted(wanted), made
        assert [name for name in wanted if wanted[name] != found[name]] == [], made


def test_a_sound_library_looks_in_the_preview_as_it_is_built(library: Path, tmp_path: Path) -> None:
    """Without drafts and errors the preview holds the very bytes of the pages and data that `kb build` writes."""
    followed = Followed(library, tmp_path / "preview")
    rewrite(library / "trees/seat/seat-1.yml", lambda text: text.replace("title: ", "title: Truly ", 1))
    followed.preview.settle()
    assert not [one for one in followed.findings if one.severity is Severity.ERROR]
    build_site(library / "mkdocs.yml", tmp_path / "built", contract.subject_of(load(library), TODAY))
    wanted, found = contents(tmp_path / "built"), contents(followed.preview.out)
    assert found == wanted
    assert b"Truly" in found["trees/seat-1.html"]
    assert b"Truly" in found["index.html"]


def test_only_what_an_edit_touched_is_told(library: Path, tmp_path: Path) -> None:
    """A new wording of one step changes its tree's page and data, the finder's words, and no other tree."""
    followed = Followed(library, tmp_path / "preview")
    number = followed.news.number
    rewrite(
        library / "trees/seat/seat-1.yml", lambda text: re.sub(r"check: (?=[A-Z])", "check: Truly, ", text, count=1)
    )
    followed.preview.settle()
    assert set(followed.told(number)) == {"trees/seat-1.html", "kb/trees/seat-1.js", "kb/index.js"}


def test_an_edit_that_says_the_same_tells_nothing(library: Path, tmp_path: Path) -> None:
    """A comment more changes no page."""
    followed = Followed(library, tmp_path / "preview")
    number = followed.news.number
    rewrite(library / "trees/seat/seat-1.yml", lambda text: f"{text}# no more than a comment\n")
    followed.preview.settle()
    assert followed.told(number) == []


def test_findings_name_tree_and_step(library: Path, tmp_path: Path) -> None:
    """A finding reaches open pages with the step at which it stands; one in a broken file, with the tree."""
    followed = Followed(library, tmp_path / "preview")
    before = json.loads(followed.news.findings)
    path = library / "trees/seat/seat-1.yml"
    whole = path.read_text("utf-8")
    rewrite(
        path, lambda text: with_step(text, "added", random.Random(1)).replace("'No', to: ", "'No', to: nowhere-", 1)
    )
    followed.preview.look()
    at_once = json.loads(followed.news.findings)
    assert ("target-exists", "seat-1", "added") in {(one["rule"], one["tree"], one["step"]) for one in at_once}
    rewrite(path, lambda _: whole + "\n  : [")
    followed.preview.settle()
    told = json.loads(followed.news.findings)
    assert ("yaml-syntax", "seat-1", "") in {(one["rule"], one["tree"], one["step"]) for one in told}
    rewrite(path, lambda _: whole)
    followed.preview.settle()
    assert json.loads(followed.news.findings) == before


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("trees/shared/hazards.yml", "live-loom:", "live-loom: ["),
        ("trees/shared/cautions.yml", "signal: WARNING", "signal: BEWARE"),
        ("trees/tables/seat-stuck-causes.yml", "shows:", "shown:"),
        ("trees/maps/tilt.yml", "flows:", "flow:"),
        ("trees/seat/buttons-dead.yml", "    not_cured: desk", "    then: desk"),
        ("trees/seat/buttons-dead.yml", "start: press", "start: new-pad"),
    ],
)
def test_a_library_that_is_broken_from_the_first_is_shown(
    name: str, old: str, new: str, library: Path, tmp_path: Path
) -> None:
    """Whatever cannot be told of a broken library is left out of its pages; the findings are there."""
    text = (library / name).read_text("utf-8")
    assert old in text
    rewrite(library / name, lambda _: text.replace(old, new, 1).replace("    not_cured: desk\n", "", 1))
    followed = Followed(library, tmp_path / "preview")
    assert not followed.preview.error
    assert name in {one["place"].partition(":")[0] for one in json.loads(followed.news.findings)}
    assert "trees/buttons-dead.html" in contents(followed.preview.out)
    rewrite(library / name, lambda _: text)
    followed.preview.settle()
    assert not [one for one in json.loads(followed.news.findings) if one["severity"] == "error"]


def test_a_draft_is_in_the_preview_and_not_in_the_site(library: Path, tmp_path: Path) -> None:
    """`status: draft` keeps a tree out of the site, its index and its data; the preview shows it and says so."""
    path = library / "trees/seat/seat-1.yml"
    rewrite(path, lambda text: text.replace("title:", "status: draft\ntitle:", 1))
    followed = Followed(library, tmp_path / "preview")
    assert "Draft" in (followed.preview.out / "trees/seat-1.html").read_text("utf-8")
    build_site(library / "mkdocs.yml", tmp_path / "built", contract.subject_of(load(library), TODAY))
    assert not (tmp_path / "built/trees/seat-1.html").exists()
    assert not (tmp_path / "built/kb/trees/seat-1.js").exists()
    assert '"seat-1"' not in (tmp_path / "built/kb/index.js").read_text("utf-8")


def test_a_page_that_cannot_be_built_leaves_the_last_site(library: Path, tmp_path: Path) -> None:
    """A broken mkdocs.yml is told to open pages, and what was served before stays."""
    followed = Followed(library, tmp_path / "preview")
    before = followed.preview.out
    rewrite(library / "mkdocs.yml", lambda text: f"{text}\nplugins: [\n")
    followed.preview.settle()
    assert followed.preview.out == before
    assert (before / "index.html").is_file()
    assert json.loads(followed.news.findings)[0]["severity"] == "error"
    rewrite(library / "mkdocs.yml", lambda text: text.replace("\nplugins: [\n", ""))
    followed.preview.settle()
    assert not followed.preview.error


def test_the_server_puts_its_script_into_pages_alone(library: Path, tmp_path: Path) -> None:
    """Pages go out with the preview's script; other files as they are; nothing outside the folder at all."""
    followed = Followed(library, tmp_path / "preview")
    server = PreviewServer("127.0.0.1:0", followed.news)
    server.begin()
    try:
        page = fetched(f"{server.url}trees/seat-1.html")
        assert b"/_preview/preview.js" in page
        assert b"/_preview/preview.js" not in (followed.preview.out / "trees/seat-1.html").read_bytes()
        assert fetched(f"{server.url}kb/index.js") == (followed.preview.out / "kb/index.js").read_bytes()
        assert b"faultTrees" not in fetched(f"{server.url}_preview/preview.css")
        for outside in ("..%2f..%2flibrary/mkdocs.yml", "_preview/..%2fcsp.py", "trees/none.html"):
            with pytest.raises(urllib.error.HTTPError):
                fetched(server.url + outside)
        number = followed.news.number
        waiting: list[bytes] = []
        thread = threading.Thread(
            target=lambda: waiting.append(fetched(f"{server.url}_preview/changes?since={number}"))
        )
        thread.start()
        followed.news.tell(["trees/seat-1.html"])
        thread.join(10)
        assert json.loads(waiting[0]) == {"number": number + 1, "changed": ["trees/seat-1.html"]}
        with pytest.raises(BuildError):
            PreviewServer(f"127.0.0.1:{server.server_address[1]}", followed.news)
    finally:
        server.end()


@pytest.fixture
def served(library: Path, tmp_path: Path) -> Iterator[tuple[Followed, PreviewServer]]:
    """Serve a preview of a library in which one tree could never be read."""
    (library / "trees/seat/seat-0.yml").write_text("title: [\n", "utf-8")
    followed = Followed(library, tmp_path / "preview")
    server = PreviewServer("127.0.0.1:0", followed.news)
    server.begin()
    yield followed, server
    server.end()


def test_a_tree_that_could_never_be_read_has_a_page_that_waits(served: tuple[Followed, PreviewServer]) -> None:
    """Its address answers 404 with the preview's script, which shows findings and brings the page when it is there."""
    followed, server = served
    with pytest.raises(urllib.error.HTTPError) as caught:
        fetched(f"{server.url}trees/seat-0.html")
    assert caught.value.code == 404
    assert b"preview.js" in caught.value.read()
    number = followed.news.number
    tree = followed.root / "trees/seat/seat-0.yml"
    tree.write_text(SOUND_TREE, "utf-8")
    followed.preview.settle()
    assert {"trees/seat-0.html", "*"} & set(followed.told(number))
    assert b"Nothing moves" in fetched(f"{server.url}trees/seat-0.html")


def test_a_browser_that_goes_away_is_no_news(
    served: tuple[Followed, PreviewServer], capfd: pytest.CaptureFixture[str]
) -> None:
    """Whoever closes a page while it waits for changes sees no traceback in the terminal."""
    followed, server = served
    reset = struct.pack("ii", 1, 0)
    for _ in range(3):
        with socket.create_connection(("127.0.0.1", server.server_address[1])) as browser:
            browser.sendall(f"GET /_preview/changes?after={followed.news.number} HTTP/1.1\r\n\r\n".encode())
            time.sleep(0.2)
            browser.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, reset)
    followed.news.tell(["index.html"])
    time.sleep(0.5)
    assert "Traceback" not in capfd.readouterr().err


def test_a_preview_that_is_stopped_before_it_serves_ends(library: Path, kb: str) -> None:
    """Ctrl-C in the first build, and a first build that fails, end the command at once."""
    news = News()
    server = PreviewServer("127.0.0.1:0", news)
    ending = threading.Thread(target=server.end, daemon=True)
    ending.start()
    ending.join(10)
    assert not ending.is_alive()
    (library / "mkdocs.yml").write_text("site_name: [\n", "utf-8")
    done = subprocess.run(
        [kb, "preview", "--library", str(library), "--address", "127.0.0.1:0"],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 1
    assert "Traceback" not in done.stderr


def fetched(address: str) -> bytes:
    """Return what a server on this machine answers."""
    with urllib.request.urlopen(address, timeout=20) as answer:  # noqa: S310 - a server of our own
        content: bytes = answer.read()
        return content
