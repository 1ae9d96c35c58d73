"""Follow an author's edits: the edited tree's page first, then what depends on it, then all findings.

After each edit the work is done in small parts, soonest what the author looks at; a newer edit is
taken up between two parts. When nothing is left to do, the preview has settled.
"""

from __future__ import annotations

import gc
import os
import tempfile
import time
import webbrowser
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from kb_tools.findings import BuildError, LibraryError
from kb_tools.model.alike import alike
from kb_tools.model.schema import FOLDER, write_schemas
from kb_tools.pages.browser_data import tree_script
from kb_tools.pages.preview_server import News, PreviewServer
from kb_tools.pages.visits_page import VISITS
from kb_tools.source.writing import write_whole

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from kb_tools.findings import Finding
    from kb_tools.model.entities import Library, Tree
    from kb_tools.pages.live_pages import LivePages

LOOK_EVERY = 0.1
"""Seconds between two looks at the files."""
MOST_HINTS, MOST_OTHERS = 500, 3
"""So many hints of steps worded alike are handed to open pages, each with so many of the others."""
_Stamps = dict[str, tuple[int, int]]


class Site(Protocol):
    """A site whose pages can be written one by one."""

    live: LivePages
    watched: list[Path]

    @property
    def is_whole_only(self) -> bool:
        """Whether the site must be built as a whole."""

    def build(self, out: Path) -> None:
        """Build all of it."""

    def write(self, sources: Iterable[str]) -> list[str]:
        """Write single pages, and return the addresses of those that changed."""


def _today() -> date:
    return datetime.now(tz=UTC).astimezone().date()


class _NewerEditError(Exception):
    """Something changed meanwhile; what is under way would be out of date."""


class Preview:
    """A site on disk that follows its library."""

    def __init__(self, site: Site, folder: Path, news: News, today: Callable[[], date] = _today) -> None:
        """Take a site to be built into numbered folders below `folder`; `today` is what reviews are judged by."""
        self._site, self._folder, self._news, self._today = site, folder, news, today
        self._stamps: _Stamps = {}
        self._trees: list[str] = []
        """Trees whose pages are to be looked at, the edited ones first."""
        self._rest_is_due = self._judging_is_due = False
        self._builds = 0
        self._frame: Any = None
        self._hints: list[dict[str, Any]] = []
        """What could be shared; looked for when all else is done."""
        self.out = folder
        """The folder of the site as it stands."""
        self.error = ""
        """Why the last whole build failed."""

    def look(self) -> bool:
        """Take up what changed on disk; tell whether anything did."""
        stamps = stamps_of(self._site.watched)
        if stamps == self._stamps:
            return False
        trees = f"{self._site.watched[0]}{os.sep}"
        others = {name for name, _ in stamps.items() ^ self._stamps.items() if not name.startswith(trees)}
        self._stamps = stamps
        changed, touched = self._site.live.follow()
        self._trees += [name for name in touched if name not in self._trees]
        self._rest_is_due = self._judging_is_due = True
        if others or changed.everything or self._site.is_whole_only or self._frame_now() != self._frame:
            self._build()
        else:
            self._tell_findings()
        return True

    def work(self) -> Iterator[None]:
        """Do what is due, in parts."""
        live = self._site.live
        while self._trees:
            self._write_trees([self._trees.pop(0)])
            yield
        if self._rest_is_due:
            trees = {f"trees/{tree.id}.md" for tree in live.trees}
            for name, content in live.index():
                self._put(name, content)
            yield
            changed = self._site.write([page.source for page in live.pages() if page.source not in trees])
            self._news.tell(changed)
            yield
            self._put(VISITS, live.visits_data())
            self._sweep()
            schemas = live.library.root / FOLDER
            if schemas.is_dir():
                write_schemas(schemas, live.library)
            self._rest_is_due = False
            yield
        if self._judging_is_due:
            try:
                live.judge(self._today(), self._go_on)
            except _NewerEditError:
                return
            self._judging_is_due = False
            self._hints = hints_json(live.library)
            self._tell_findings()

    def settle(self) -> None:
        """Take up what changed, and do all that is due."""
        while True:
            self.look()
            for _ in self.work():
                pass
            if not self._trees and not self._rest_is_due and not self._judging_is_due:
                return

    def _go_on(self, done: int, total: int) -> None:  # noqa: ARG002 - the signature is that of a progress
        if stamps_of(self._site.watched) != self._stamps:
            raise _NewerEditError

    def _frame_now(self) -> object:
        """Return what stands around every page: a change of it needs a whole build."""
        live = self._site.live
        settings = live.library.settings
        pages = [(page.source, page.title) for page in live.pages() if page.in_navigation]
        return pages, settings and (settings.title, settings.site_url, str(live.date), settings.language)

    def _build(self) -> None:
        """Build the whole site beside the present one, which stays where the build fails."""
        out = self._folder / str(self._builds + 1)
        try:
            self._site.build(out)
        except LibraryError as error:
            self.error = str(error)
            self._tell_findings()
            return
        self.error = ""
        self._builds += 1
        self._news.folder = out
        self.out, self._frame, self._trees, self._rest_is_due = out, self._frame_now(), [], False
        self._tell_findings(["*"])

    def _write_trees(self, names: list[str]) -> None:
        """Write page and data of trees, where they changed."""
        live = self._site.live
        here = {tree.id for tree in live.trees}
        changed = self._site.write([f"trees/{name}.md" for name in names])
        for name in names:
            data = live.compiled(name) if name in here else None
            if data and self._write_data(f"kb/trees/{name}.js", tree_script(data)):
                changed.append(f"kb/trees/{name}.js")
        self._news.tell(changed)

    def _put(self, address: str, text: str) -> None:
        if self._write_data(address, text):
            self._news.tell([address])

    def _write_data(self, address: str, text: str) -> bool:
        path = self.out / address
        if path.is_file() and path.read_bytes() == text.encode("utf-8"):
            return False
        write_whole(path, text)
        return True

    def _sweep(self) -> None:
        """Remove the pages and data of trees that are no more."""
        live = self._site.live
        sources = {page.source for page in live.pages()}
        pages = [f"trees/{path.stem}.md" for path in (self.out / "trees").glob("*.html")]
        gone = self._site.write([source for source in pages if source not in sources])
        for path in (self.out / "kb" / "trees").glob("*.js"):
            if path.stem not in live.numbers:
                path.unlink()
                gone.append(f"kb/trees/{path.name}")
        self._news.tell(gone)

    def _tell_findings(self, changed: Iterable[str] = ()) -> None:
        live = self._site.live
        told = findings_json(live.findings, live.library) + self._hints
        if self.error:
            unplaced = dict.fromkeys(("rule", "place", "tree", "step"), "")
            told.insert(0, {**unplaced, "severity": "error", "text": self.error, "path": []})
        self._news.tell(changed, told)


def findings_json(findings: Iterable[Finding], library: Library) -> list[dict[str, Any]]:
    """Return findings with the tree and step where each belongs, as an open page gets them."""
    by_file = {tree.file: tree for tree in library.trees.values()}
    told = []
    for finding in findings:
        tree = by_file.get(finding.place.file)
        # A file that cannot be read still has the page that was made of it before.
        unread = Path(finding.place.file).stem if finding.place.file in library.broken else ""
        told.append(
            {
                "severity": str(finding.severity),
                "rule": finding.rule,
                "place": str(finding.place),
                "text": finding.told,
                "path": list(finding.path),
                "tree": tree.id if tree else unread,
                "step": _step_at(tree, finding.place.line) if tree else "",
            }
        )
    return told


def hints_json(library: Library) -> list[dict[str, Any]]:
    """Return, for steps that are worded almost like others, the others, as an open page gets them."""
    told: list[dict[str, Any]] = []
    for group in alike(library):
        for one in group.members:
            if not one.tree:
                continue
            if len(told) == MOST_HINTS:
                return told
            others = [f"{other.tree or 'shared'}/{other.step}" for other in group.members if other is not one]
            more = f" and {len(others) - MOST_OTHERS} more" if len(others) > MOST_OTHERS else ""
            text = f"Worded almost like {', '.join(others[:MOST_OTHERS])}{more}. Share them?"
            place = {"rule": "", "place": str(one.place), "path": [], "tree": one.tree, "step": one.step}
            told.append({**place, "severity": "hint", "text": text})
    return told


def _step_at(tree: Tree, line: int) -> str:
    """Return the step that stands at a line of a tree's file, or an empty text."""
    starts = [(step.place.line, str(name)) for name, step in tree.steps.items()]
    starts += [(case.place.line, "") for case in tree.cases]
    return max(((at, name) for at, name in starts if at <= line), default=(0, ""))[1]


def stamps_of(places: Iterable[Path]) -> _Stamps:
    """Return every file below some folders with what tells it from what it was before."""
    found: _Stamps = {}
    for place in places:
        if place.is_dir():
            _stamp(str(place), found)
        elif place.is_file():
            known = place.stat()
            found[str(place)] = (known.st_mtime_ns, known.st_size)
    return found


def _stamp(folder: str, found: _Stamps) -> None:
    try:
        with os.scandir(folder) as entries:
            for entry in entries:
                if entry.name.startswith("."):
                    continue
                if entry.is_dir(follow_symlinks=False):
                    _stamp(entry.path, found)
                else:
                    known = entry.stat()
                    found[entry.path] = (known.st_mtime_ns, known.st_size)
    except OSError:
        # Gone between two looks: the next one sees how it is.
        return


def follow(make_site: Callable[[date], Site], address: str, *, open_browser: bool = False) -> None:
    """Serve a site and follow its files until interrupted.

    Args:
        make_site: Makes the site, given the day that reviews are judged by.
        address: Host and port, as in `127.0.0.1:8000`.
        open_browser: Whether to open the site.

    Raises:
        BuildError: when the address is taken, or the first build fails.

    """
    news = News()
    server = PreviewServer(address, news)
    with tempfile.TemporaryDirectory(prefix="kb-preview-") as folder:
        preview = Preview(make_site(_today()), Path(folder), news)
        try:
            # What is read stays: looking through it for garbage again and again only costs time.
            gc.disable()
            preview.look()
            gc.freeze()
            gc.enable()
            if preview.error:
                raise BuildError(preview.error)
            server.begin()
            if open_browser:
                webbrowser.open(server.url)
            _loop(preview)
        except KeyboardInterrupt:
            return
        finally:
            server.end()


def _loop(preview: Preview) -> None:
    due = preview.work()
    while True:
        if preview.look():
            due = preview.work()
        if next(due, due) is due:
            time.sleep(LOOK_EVERY)
