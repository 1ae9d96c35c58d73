"""The one module that knows MkDocs: the plugin `fault-trees`, and building a site with it.

The plugin works in anybody's mkdocs.yml with nothing but `plugins: [fault-trees]`. It reads and
checks the library, adds its pages as virtual files that skip Markdown, keeps trees out of the
navigation, and gives every page its content-security policy.
"""

from __future__ import annotations

import hashlib
import html
import logging
import os
import tempfile
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import yaml
from jinja2 import BytecodeCache, TemplateError
from mkdocs.commands.build import build, get_context
from mkdocs.config import base
from mkdocs.config import config_options as options
from mkdocs.config.base import load_config
from mkdocs.exceptions import Abort, MkDocsException, PluginError
from mkdocs.plugins import BasePlugin, event_priority
from mkdocs.structure.files import File, Files, InclusionLevel
from mkdocs.structure.nav import Navigation
from mkdocs.structure.pages import Page
from mkdocs.structure.toc import AnchorLink, TableOfContents

from kb_tools.findings import BuildError, Severity
from kb_tools.model.build import load
from kb_tools.pages.browser_data import PAGES, pages_script
from kb_tools.pages.csp import with_policy
from kb_tools.pages.figures_page import pages_that_show
from kb_tools.pages.live_pages import LivePages
from kb_tools.pages.preview import follow
from kb_tools.pages.rich_text import FIGURES
from kb_tools.pages.site_pages import SitePage, SitePages
from kb_tools.pages.wording import counted
from kb_tools.rules import contract
from kb_tools.source.files import CONTENT, PICTURES, SUFFIXES
from kb_tools.source.writing import write_whole
from kb_tools.source.yaml_nodes import compose

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from jinja2 import Environment
    from jinja2.bccache import Bucket
    from mkdocs.config.defaults import MkDocsConfig
    from mkdocs.livereload import LiveReloadServer

    from kb_tools.findings import Finding
    from kb_tools.pages.edition_page import EditionNews
    from kb_tools.rules.contract import Subject

HERE = Path(__file__).parent
HOME = "index.md"
THEME_SEARCH = ("assets/javascripts/lunr/", "assets/javascripts/workers/")
"""What the theme's own search loads; this site has a finder of its own."""
NAME = "fault-trees"
CLOCK = "SOURCE_DATE_EPOCH"
"""What MkDocs takes for the present moment, in seconds; see reproducible-builds.org."""
_log = logging.getLogger("mkdocs.plugins.fault-trees")


class _CompiledTemplates(BytecodeCache):
    """A theme's templates, compiled once in a process: of building a small site anew, more than half.

    Jinja tells by itself whether what it finds here was made of the template as it is now.
    """

    def __init__(self) -> None:
        """Begin with none."""
        self._known: dict[str, bytes] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        """Fill a bucket with what is known of its template."""
        if bucket.key in self._known:
            bucket.bytecode_from_string(self._known[bucket.key])

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Keep what a bucket holds."""
        self._known[bucket.key] = bucket.bytecode_to_string()


_compiled = _CompiledTemplates()


class Options(base.Config):  # type: ignore[no-untyped-call]
    """What may stand under the plugin in mkdocs.yml."""

    library = options.Type(str, default="")
    """The folder that holds trees/, relative to mkdocs.yml; left out: the folder of mkdocs.yml."""
    reference = options.Type(bool, default=False)
    """Whether to add the pages of the rules and of the file format."""
    dot = options.Type(str, default="")
    """Path of a system `dot` to draw with; left out: the embedded engine."""


class _ReadyPage(Page):
    """A page whose HTML is made by us: MkDocs asks it to render, and it does, without Markdown."""

    def __init__(self, source: SitePage, file: File, config: MkDocsConfig) -> None:
        self.source = source
        super().__init__(_title_for_theme(source.title), file, config)

    def render(self, config: MkDocsConfig, files: Files) -> None:  # noqa: ARG002 - the signature is MkDocs'
        """Fill content, table of contents and anchors."""
        self.fill(str(self.source.html()))

    def fill(self, html: str) -> None:
        """Take the content, and make table of contents and anchors."""
        self.content = html
        self.toc = TableOfContents([AnchorLink(title, anchor, 2) for title, anchor in self.source.contents])
        self.present_anchor_ids = set()


class FaultTreesPlugin(BasePlugin[Options]):  # type: ignore[no-untyped-call]
    """The plugin `fault-trees`."""

    def __init__(self) -> None:
        """Start with nothing read."""
        self._clock: str | None = None
        self._nav = Navigation([], [])
        self._others: list[tuple[str, str, list[str]]] = []
        """Address, title and headings of the pages that are no trees."""
        self.reset()

    def reset(self) -> None:
        """Know nothing of an earlier build."""
        self.preview = False
        self.subject: Subject | None = None
        """A library that the caller has read and checked already; left out: it is read here."""
        self.news: EditionNews | None = None
        """What is new in this edition, where that was looked at."""
        self.findings: list[Finding] = []
        self.pages: SitePages | None = None
        self.live: LivePages | None = None
        """The pages of a library that is followed; left out: they are made once."""
        self.theme: tuple[Files, Navigation, Environment] | None = None
        """What a page is put into the theme with, once MkDocs has made it."""
        self.bodies: dict[str, str] = {}
        """Page of ours -> a digest of what it shows."""
        self.home = ""
        """The author's own part of the first page."""
        self.root = Path()

    def on_startup(self, *, command: str, dirty: bool) -> None:  # noqa: ARG002 - the signature is MkDocs'
        """Remember whether the site is served to its author."""
        self.preview = command == "serve"

    @event_priority(50)
    def on_config(self, config: MkDocsConfig) -> MkDocsConfig:
        """Read the library and set what an offline site needs."""
        self.root = Path(config.config_file_path).parent / self.config.library
        _make_offline(config)
        self.pages = self.live or self._read_pages()
        self.pages.news = self.news
        settings = self.pages.library.settings
        if settings and settings.site_url and not config.site_url:
            config.site_url = str(settings.site_url)
        if not config.site_url or self.live:
            config.theme.static_templates.discard("sitemap.xml")
        for path in self.pages.styles():
            config.extra_css.append(path)
        for path in self.pages.scripts():
            script = options.ExtraScriptValue(path)
            script.defer = True
            config.extra_javascript.append(script)
        return config

    def _read_pages(self) -> SitePages:
        subject = self.subject or _read(self.root)
        if not self.subject:
            self.findings = contract.run(subject)
        self._judge()
        return SitePages(
            subject, with_drafts=self.preview, with_reference=self.config.reference, dot_program=self.config.dot
        )

    def _judge(self) -> None:
        """Stop a build whose library has errors; a preview shows them in its pages instead."""
        errors = [finding for finding in self.findings if finding.severity is Severity.ERROR]
        for finding in self.findings:
            level = logging.ERROR if finding in errors else logging.INFO
            _log.log(level, "%s  %s  %s", finding.place, finding.rule, finding.told)
        if errors and not self.preview:
            raise PluginError(f"The library has {counted(len(errors), 'error')}; mend what is listed above")

    def on_pre_build(self, *, config: MkDocsConfig) -> None:  # noqa: ARG002
        """Let the edition's date stand for the clock, so that equal sources give equal bytes."""
        self._set_clock()

    @contextmanager
    def clock(self) -> Iterator[None]:
        """Let the edition's date stand for the clock meanwhile."""
        self._set_clock()
        try:
            yield
        finally:
            self._reset_clock()

    def _set_clock(self) -> None:
        self._clock = os.environ.get(CLOCK)
        if self._clock is None:
            midnight = datetime.combine(self._pages().date, datetime.min.time(), UTC)
            os.environ[CLOCK] = str(int(midnight.timestamp()))

    def on_post_build(self, *, config: MkDocsConfig) -> None:
        """Tell the finder of the pages that are no trees; give the clock back."""
        write_whole(Path(config.site_dir) / PAGES, pages_script(sorted(self._others)))
        self._end()

    def on_build_error(self, *, error: Exception) -> None:  # noqa: ARG002
        """Give the clock back."""
        self._end()

    def _end(self) -> None:
        if self.pages is not None:
            self.pages.close()
        self._reset_clock()

    def _reset_clock(self) -> None:
        if self._clock is None:
            os.environ.pop(CLOCK, None)

    def on_files(self, files: Files, *, config: MkDocsConfig) -> Files:
        """Add the generated pages and the site's own scripts, styles and data."""
        self._others = []
        pages = self._pages()
        pages.shown_on = pages_that_show((file.src_uri, file.content_string) for file in files.documentation_pages())
        for page in pages.pages():
            existing = files.get_file_from_path(page.source)
            if existing is not None:
                if page.source != HOME:
                    raise PluginError(f"content/{page.source} stands where the page of the fault trees goes; rename it")
                continue
            level = InclusionLevel.UNDEFINED if page.in_navigation else InclusionLevel.NOT_IN_NAV
            file = File.generated(config, page.source, content="", inclusion=level)
            _ReadyPage(page, file, config)
            files.append(file)
        for name, content in pages.data():
            files.append(File.generated(config, name, content=content))
        for name, path in (*pages.assets(), *_pictures(self.root / CONTENT, Path(config.docs_dir))):
            if files.get_file_from_path(name) is None:
                files.append(File.generated(config, name, abs_src_path=str(path)))
        _drop_unused(files, config)
        return files

    def on_nav(self, nav: Navigation, *, config: MkDocsConfig, files: Files) -> Navigation:  # noqa: ARG002
        """Keep what single pages are made with later on."""
        self._nav = nav
        return nav

    def on_env(self, env: Environment, *, config: MkDocsConfig, files: Files) -> Environment:  # noqa: ARG002
        """Keep what single pages are made with later on."""
        env.bytecode_cache = env.bytecode_cache or _compiled
        self.theme = (files, self._nav, env)
        return env

    def on_page_content(self, html: str, *, page: Page, config: MkDocsConfig, files: Files) -> str:  # noqa: ARG002
        """Frame every page: the way to the finder, the standing note, in a preview the findings."""
        source = page.file.src_uri
        if source != HOME and not source.startswith("trees/"):
            headings = [title for title in _headings(page.toc) if title != page.title]
            self._others.append((page.url, str(page.title), headings))
        if isinstance(page, _ReadyPage):
            self.bodies[page.file.src_uri] = _digest(page.source, html)
            return self.framed(html, page)
        html = self._pages().with_figures(html, _root_of(page))
        if page.file.src_uri == HOME:
            self.home, html = html, self._pages().with_symptoms(html)
            self.bodies[HOME] = _digest(next(iter(self._pages().pages())), html)
        return self.framed(html, page)

    def framed(self, html: str, page: Page) -> str:
        """Return the content of a page with what stands around it."""
        source = page.file.src_uri
        framed = self._pages().framed(
            html, root=_root_of(page), is_home=source == HOME, is_tree=source.startswith("trees/")
        )
        if self.preview and self.findings:
            framed = f"{self._pages().findings_html(self.findings)}{framed}"
        return framed

    def on_post_page(self, output: str, *, page: Page, config: MkDocsConfig) -> str:  # noqa: ARG002
        """Put the page's own scripts and the policy into it; a preview's own script may run too."""
        later = self._pages().later_scripts(page.file.src_uri)
        tags = "".join(f'<script src="{_root_of(page)}{name}" defer></script>' for name in later)
        output = output.replace("</body>", f"{tags}</body>", 1) if tags else output
        if isinstance(page, _ReadyPage):
            output = _with_title(output, page.source.title)
        ours = page.content or "" if isinstance(page, _ReadyPage) else ""
        # MkDocs keeps every page to the end; its content is written now and needed no more.
        page.content = ""
        if isinstance(page, _ReadyPage) and page.source.leads_to:
            # The script of the walk leads on with the walk or step in the address; this serves without scripts.
            refresh = f'<meta http-equiv="refresh" content="0; url={page.source.leads_to}">'
            output = output.replace("</head>", f"<noscript>{refresh}</noscript></head>", 1)
        return with_policy(output, _root_of(page), ours, any_inline=self.preview)

    def on_serve(
        self,
        server: LiveReloadServer,
        *,
        config: MkDocsConfig,  # noqa: ARG002
        builder: Callable[..., Any],  # noqa: ARG002
    ) -> LiveReloadServer:
        """Rebuild when a tree changes."""
        for folder in (self.root / "trees", self.root / CONTENT):
            if folder.is_dir():
                server.watch(str(folder))
        return server

    def _pages(self) -> SitePages:
        if self.pages is None:
            raise PluginError("The plugin fault-trees was asked for pages before its library was read")
        return self.pages


def _pictures(content: Path, pages: Path) -> Iterator[tuple[str, Path]]:
    """Yield the library's pictures where MkDocs takes its pages from another folder: address and where they lie."""
    whole = content.resolve()
    if content.is_dir() and whole != pages.resolve():
        for path in sorted(content.rglob("*")):
            if path.name.casefold().endswith(PICTURES) and path.is_file() and path.resolve().is_relative_to(whole):
                yield path.relative_to(content).as_posix(), path


def _read(root: Path) -> Subject:
    if not (root / "trees").is_dir():
        raise PluginError(f"{root} holds no folder trees/; name the library's folder under the plugin as `library`")
    today: date = datetime.now(tz=UTC).astimezone().date()
    return contract.subject_of(load(root), today)


def _title_for_theme(title: str) -> str:
    """Return a title that stays text wherever a theme puts it.

    MkDocs takes titles for HTML and its themes do not escape them; one theme also turns entities
    back into characters, so that an escaped `<` would become a tag in the page's head.
    """
    return title.translate(_QUOTED).replace("&", "&amp;")


def _with_title(page: str, title: str) -> str:
    """Return a page whose `<title>` shows our title as it was written, whatever the theme made of it."""
    start = page.find("<title>")
    end = page.find("</title>", start)
    shown = page[start:end]
    for made in (_title_for_theme(title), title.translate(_QUOTED)):
        if start >= 0 and made in shown:
            return page[:start] + shown.replace(made, html.escape(title, quote=False), 1) + page[end:]
    return page


_QUOTED = str.maketrans(
    {
        "<": "\N{SINGLE LEFT-POINTING ANGLE QUOTATION MARK}",
        ">": "\N{SINGLE RIGHT-POINTING ANGLE QUOTATION MARK}",
        '"': "\N{RIGHT DOUBLE QUOTATION MARK}",
    }
)


def _root_of(page: Page) -> str:
    """Return what leads from a page to the site's root."""
    return "../" * page.file.dest_uri.count("/")


def _palette(name: str, scheme: str, other: str) -> dict[str, object]:
    """Return one of the theme's two looks: the device chooses, and a switch in the header changes it."""
    toggle = {"icon": f"material/brightness-{'7' if name == 'light' else '4'}", "name": f"Change to {other}"}
    return {"media": f"(prefers-color-scheme: {name})", "scheme": scheme, "primary": "black", "toggle": toggle}


def _drop_unused(files: Files, config: MkDocsConfig) -> None:
    """Leave out what the theme ships for its own search and for its authors, most of its weight; tables too."""
    has_search = any(name.rpartition("/")[2] == "search" for name in config.plugins)
    for file in list(files):
        name = file.src_uri
        of_tables = name.startswith(f"{FIGURES}/") and name.endswith(SUFFIXES)
        if name.endswith((".js.map", ".css.map")) or (name.startswith(THEME_SEARCH) and not has_search) or of_tables:
            files.remove(file)


def _make_offline(config: MkDocsConfig) -> None:
    """Set what lets a site open from disk, and ask for nothing from outside."""
    config.use_directory_urls = False
    theme = config.theme
    if theme.name == "material":
        theme["font"] = False
        config.extra.setdefault("generator", False)
        if not theme.get("palette"):
            theme["palette"] = [_palette("light", "default", "dark"), _palette("dark", "slate", "light")]
    elif "highlightjs" in theme:
        theme["highlightjs"] = False  # it comes from outside
    # It refers to its styles from the server's root, so that it is broken from disk and below a path.
    theme.static_templates.discard("404.html")


@dataclass(frozen=True, slots=True)
class BuiltSite:
    """What MkDocs made."""

    theme: str
    warnings: list[str]
    """What MkDocs warned of: links of content pages that lead nowhere, and the like."""


class _Listener(logging.Handler):
    """Keeps what MkDocs and its plugins log, so that a caller can tell it."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.warnings: list[str] = []
        self.errors: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        """Keep a record's text."""
        kept = self.errors if record.levelno >= logging.ERROR else self.warnings
        kept.append(record.getMessage())


def build_site(config_file: Path, out: Path, subject: Subject, news: EditionNews | None = None) -> BuiltSite:
    """Build the site of a checked library with MkDocs.

    Args:
        config_file: The mkdocs.yml.
        out: The folder that receives the site; it is emptied first.
        subject: The library, read and found without errors.
        news: What is new in this edition, where that was looked at.

    Raises:
        BuildError: when the configuration is wrong or a page cannot be built.

    """
    if not config_file.is_file():
        raise BuildError(f"{config_file} is missing; a site needs it (`kb start` writes one)")
    with _told(config_file) as listener:
        config, plugin = _configured(config_file, out)
        plugin.subject, plugin.news = subject, news
        try:
            build(config)
        finally:
            config.plugins.on_shutdown()
    return BuiltSite(str(config.theme.name), listener.warnings)


class ThemedSite:
    """A site that is built once, and of which single pages are then written anew."""

    def __init__(self, config_file: Path, today: date) -> None:
        """Read configuration and library.

        Raises:
            BuildError: when the configuration is wrong.

        """
        self._config_file = config_file
        with _told(config_file):
            self._config, self._plugin = _configured(config_file, Path(tempfile.gettempdir()) / "kb-preview-unused")
        root = config_file.parent / self._plugin.config.library
        self.live = LivePages(
            root, today, with_reference=self._plugin.config.reference, dot_program=self._plugin.config.dot
        )
        own = self._config.theme.custom_dir
        self.watched = [root / "trees", Path(self._config.docs_dir), config_file, *([Path(own)] if own else [])]
        """What the site is made from, below the theme's own files."""
        self._digests: dict[str, str] = {}
        self._theme: tuple[Files, Navigation, Environment] | None = None
        self._home = ""

    def build(self, out: Path) -> None:
        """Build the whole site into `out`, which is emptied first.

        Raises:
            BuildError: when a page cannot be built.

        """
        with _told(self._config_file):
            self._config, self._plugin = _configured(self._config_file, out)
            self._plugin.live = self.live
            build(self._config)
        self._digests, self._theme, self._home = self._plugin.bodies, self._plugin.theme, self._plugin.home

    @property
    def is_whole_only(self) -> bool:
        """Whether another plugin takes part, which may want to see every page of every build."""
        return len(self._config.plugins) > 1

    def write(self, sources: Iterable[str]) -> list[str]:
        """Write the pages among `sources` that look different now; remove those that are no more.

        Args:
            sources: Pages by the Markdown files that they stand for, as in `trees/no-lamp.md`.

        Returns:
            The addresses of what was written or removed.

        """
        if self._theme is None:
            raise BuildError("A page of a preview was asked for before its site was built")
        files, nav, env = self._theme
        self._plugin.pages = self.live
        now = {page.source: page for page in self.live.pages()}
        told = []
        for source in sources:
            file, page = files.get_file_from_path(source), now.get(source)
            if page is None:
                if file is not None and isinstance(file.page, _ReadyPage):
                    files.remove(file)
                    Path(file.abs_dest_path).unlink(missing_ok=True)
                    self._digests.pop(source, None)
                    told.append(file.dest_uri)
                continue
            themed = self._page(page, file, files)
            if themed is None:
                continue
            with self._plugin.clock():
                context = get_context(nav, files, self._config, themed)
                context = self._config.plugins.on_page_context(context, page=themed, config=self._config, nav=nav)
                themed.active = True
                output = env.get_template(themed.meta.get("template", "main.html")).render(context)
                themed.active = False
                output = self._config.plugins.on_post_page(output, page=themed, config=self._config)
            write_whole(Path(themed.file.abs_dest_path), output.encode("utf-8", "xmlcharrefreplace"))
            told.append(themed.file.dest_uri)
        return told

    def _page(self, page: SitePage, file: File | None, files: Files) -> Page | None:
        """Return a page with its content, ready for the theme, or None where it looks as it did."""
        if file is not None and not isinstance(file.page, _ReadyPage):
            html = self.live.with_symptoms(self._home)
        else:
            html = str(page.html())
        digest = _digest(page, html)
        if self._digests.get(page.source) == digest:
            return None
        if file is None:
            file = File.generated(self._config, page.source, content="", inclusion=InclusionLevel.NOT_IN_NAV)
            files.append(file)
        themed = file.page
        if themed is None or (isinstance(themed, _ReadyPage) and not page.in_navigation):
            themed = _ReadyPage(page, file, self._config)
        if isinstance(themed, _ReadyPage):
            themed.source = page
            themed.fill(html)
        themed.content = self._plugin.framed(html, themed)
        self._digests[page.source] = digest
        return themed


def serve_site(config_file: Path, address: str, *, open_browser: bool = False) -> None:
    """Serve the site on this machine and follow each change of its files, until interrupted.

    Findings of the library are shown in its pages; drafts are built too.

    Args:
        config_file: The mkdocs.yml.
        address: Host and port, as in `127.0.0.1:8000`.
        open_browser: Whether to open the site.

    Raises:
        BuildError: when the configuration is wrong or the address is taken.

    """
    if not config_file.is_file():
        raise BuildError(f"{config_file} is missing; a site needs it (`kb start` writes one)")
    follow(lambda today: ThemedSite(config_file, today), address, open_browser=open_browser)


@contextmanager
def _told(config_file: Path) -> Iterator[_Listener]:
    """Keep what MkDocs warns of, and turn what it stops for into what a caller may catch."""
    listener = _Listener()
    log = logging.getLogger("mkdocs")
    log.addHandler(listener)
    try:
        yield listener
    except Abort as error:
        # In strict mode MkDocs stops for what it only warned of.
        raise BuildError("; ".join(listener.errors or [str(error), *listener.warnings])) from error
    except (MkDocsException, UnicodeError, TemplateError, OSError) as error:
        if isinstance(error.__context__, yaml.YAMLError):
            _, found = compose(config_file.read_text("utf-8"), config_file.name)
            if found:
                raise BuildError(f"{found[0].place}: {found[0].message}. {found[0].remedy}") from error
        raise BuildError("; ".join(listener.errors) or f"{config_file.name}: {error}") from error
    finally:
        log.removeHandler(listener)


def _configured(config_file: Path, out: Path) -> tuple[MkDocsConfig, FaultTreesPlugin]:
    """Return the configuration for a build into `out`, and our plugin in it."""
    config = load_config(str(config_file), site_dir=str(out))
    plugin = config.plugins.get(NAME)
    if not isinstance(plugin, FaultTreesPlugin):
        raise BuildError(f"{config_file} does not name the plugin {NAME}; add it under `plugins`")
    # MkDocs hands out the same plugin again for each configuration that is read.
    plugin.reset()
    config.plugins.on_startup(command="build", dirty=False)
    return config, plugin


def _headings(entries: Iterable[AnchorLink]) -> Iterator[str]:
    """Yield the headings of a page, the inner ones too."""
    for entry in entries:
        yield entry.title
        yield from _headings(entry.children)


def _digest(page: SitePage, html: str) -> str:
    """Return what tells a page from what it was before."""
    return hashlib.sha256(f"{page.title}\n{html}".encode()).hexdigest()
