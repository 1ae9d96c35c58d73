"""All that the plugin adds to a site: pages, styles, scripts, data; made when asked for."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date
from functools import cached_property, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from kb_tools.findings import LibraryError
from kb_tools.model.moved import Moves
from kb_tools.model.schema import ROLES, schema_of
from kb_tools.numbers.learned import lessons
from kb_tools.numbers.odds import library_numbers
from kb_tools.numbers.visit import Visits
from kb_tools.pages.browser_data import INDEX, LIBRARY, browser_files
from kb_tools.pages.drawer import Drawer
from kb_tools.pages.edition_page import EDITION_PAGE, EditionNews, edition_page
from kb_tools.pages.figures_page import figures_page, with_figures
from kb_tools.pages.format_page import format_page
from kb_tools.pages.index_pages import Indexes, indexes
from kb_tools.pages.learned_page import learned_page
from kb_tools.pages.map_page import map_page
from kb_tools.pages.render import render
from kb_tools.pages.rich_text import FIGURES
from kb_tools.pages.rule_page import rule_pages
from kb_tools.pages.scripts import day_script, finder_script, record_schema, styles, walker_script, words_script
from kb_tools.pages.table_page import table_page
from kb_tools.pages.tree_page import TreePage, chart_of, tree_page
from kb_tools.pages.visits_page import VISITS, visits_page, visits_script
from kb_tools.pages.words import Words, words_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from kb_tools.findings import Finding
    from kb_tools.model.entities import Library, Tree
    from kb_tools.numbers.odds import TreeNumbers
    from kb_tools.rules.contract import Subject

SITE_STYLES = Path(__file__).parent / "site.css"
FINDER = "kb/finder.js"
DAY = "kb/day.js"
_LATER_SCRIPTS = {"index.md": [FINDER], "visits.md": [FINDER, DAY]}
"""What single pages use besides, after the scripts of every page."""
SYMPTOMS_MARK = "<!-- symptoms -->"
"""Where content/index.md wants the symptoms; left out: at its end."""


@dataclass(frozen=True, slots=True)
class SitePage:
    """A page of ours."""

    source: str
    """The Markdown file that it stands for, relative to content/."""
    title: str
    html: Callable[[], Markup]
    contents: tuple[tuple[str, str], ...] = ()
    """Headings for the theme's table of contents: title and id."""
    in_navigation: bool = True
    leads_to: str = ""
    """Where a page that only keeps an old address leads."""


class SitePages:
    """What the plugin adds to a site."""

    def __init__(self, subject: Subject, *, with_drafts: bool, with_reference: bool, dot_program: str) -> None:
        """Prepare the pages of a library; see `FaultTreesPlugin` for the options."""
        self._subject = subject
        self._with_reference = with_reference
        self._dot = dot_program
        self._is_preview = with_drafts
        self.news: EditionNews | None = None
        """What is new in this edition, where that was looked at."""
        self.shown_on: dict[str, list[tuple[str, str]]] = {}
        """For each table of figures the content pages that show it, once they are known: title and address."""
        library = subject.library
        self.trees: list[Tree] = [
            tree for tree in library.trees.values() if tree.start in tree.steps and (with_drafts or not tree.is_draft)
        ]

    @property
    def library(self) -> Library:
        """The library."""
        return self._subject.library

    @property
    def date(self) -> date:
        """The edition's date; where library.yml gives none, the day of the latest review."""
        settings = self._subject.library.settings
        if settings and settings.date:
            return settings.date.date
        return max((tree.reviewed.date for tree in self.trees if tree.reviewed), default=date(2000, 1, 1))

    @cached_property
    def numbers(self) -> dict[str, TreeNumbers]:
        """Odds and minutes of every tree; none where the trees run in a loop, which only a preview sees."""
        subject = self._subject
        return library_numbers(subject.graph, subject.library) if subject.graph.order else {}

    @cached_property
    def _visits(self) -> Visits:
        return Visits(self._subject.graph, self.numbers)

    @cached_property
    def _indexes(self) -> Indexes:
        expected = {name: numbers.ahead.minutes for name, numbers in self.numbers.items()}
        return indexes(self._subject.library, self.trees, expected)

    def pages(self) -> Iterator[SitePage]:
        """Yield every page: home, the indexes, the trees."""
        yield SitePage("index.md", self.title, lambda: Markup("<h1>{}</h1>").format(self.title) + self._home())
        words = self.words
        for source, title in (
            ("fixes", words.say("page.fixes")),
            ("cautions", words.say("page.cautions")),
            ("proofs", words.say("page.proofs")),
            ("tools-and-spares", words.say("page.tools_and_spares")),
        ):
            yield SitePage(f"{source}.md", title, partial(self._index, source, title))
        if self.numbers:
            yield SitePage("visits.md", words.say("page.visits"), self._day)
        yield SitePage(EDITION_PAGE, words.say("page.edition"), self._edition)
        counts = self._subject.library.counts
        if counts and counts.records and self.numbers:
            yield SitePage("learned.md", words.say("page.learned"), self._learned)
        for map_id, shown in self._subject.library.maps.items():
            yield SitePage(f"maps/{map_id}.md", shown.title, partial(self._map, map_id))
        for table_id in self._tables:
            title = str(self._subject.library.tables[table_id].title)
            yield SitePage(f"tables/{table_id}.md", title, partial(self._table, table_id))
        contents = ((words.say("tree.chart"), "ft_chart"), (words.say("tree.steps"), "ft_steps"))
        for tree in self.trees:
            page = partial(self._tree, tree.id)
            yield SitePage(f"trees/{tree.id}.md", tree.title, page, contents, in_navigation=False)
        for table_id, table in self._subject.library.figures.items():
            page = partial(self._figures, table_id)
            yield SitePage(f"{FIGURES}/{table_id}.md", table.title, page, in_navigation=False)
        yield from self._old_addresses()
        if self._with_reference:
            yield from self._reference_pages()

    @property
    def title(self) -> str:
        """The library's title."""
        return self.library.title

    @property
    def words(self) -> Words:
        """The words of the library's language."""
        return words_of(self.library)

    def render(self, template: str, **data: Any) -> Markup:  # noqa: ANN401 - each template has data of its own
        """Return what a template makes of data in the words of the library's language."""
        return render(template, self.words, **data)

    def symptoms(self) -> Markup:
        """Return the finder and the list of symptoms."""
        return self.render("home", page=self._indexes)

    def _index(self, name: str, title: str) -> Markup:
        return self._titled(title, name, self._indexes)

    def _day(self) -> Markup:
        page = visits_page(self._subject.library, self.trees, self._visits)
        return self._titled(self.words.say("page.visits"), "visits", page)

    def _learned(self) -> Markup:
        page = learned_page(self.library, lessons(self.library, self._subject.graph))
        return self._titled(self.words.say("page.learned"), "learned", page)

    def _edition(self) -> Markup:
        page = edition_page(self.library, self.trees, self.news)
        return self._titled(self.words.say("page.edition"), "edition", page)

    def _map(self, map_id: str) -> Markup:
        library = self._subject.library
        with_page = partial(map_page, library, map_id, self.trees, self._dot)
        return self._if_it_can_be_told(library.maps[map_id].title, "map", with_page)

    def _if_it_can_be_told(self, title: str, template: str, make: Callable[[], object]) -> Markup:
        """Return a page that needs a sound library; where it is not, a preview says why there is none."""
        try:
            page = make()
        except LibraryError as error:
            if not self._is_preview:
                raise
            return Markup("<h1>{}</h1><p>{}</p>").format(title, error)
        return self._titled(title, template, page)

    def _figures(self, table_id: str) -> Markup:
        table = self._subject.library.figures[table_id]
        page = figures_page(table, self.shown_on.get(table_id, ()), self.words)
        return Markup("<h1>{}</h1>").format(table.title) + page

    def with_figures(self, html: str, root: str) -> str:
        """Return a content page with the tables of figures and the cautions that it asks for."""
        return with_figures(html, self._subject.library, root)

    @cached_property
    def _tables(self) -> list[str]:
        """The tables that have pages: those with causes and checks whose tree, if they name one, has a page too."""
        shown = {tree.id for tree in self.trees}
        tables = self._subject.library.tables if self.numbers else {}
        return [
            name for name, table in tables.items() if table.causes and table.checks and table.tree in (None, *shown)
        ]

    def _table(self, table_id: str) -> Markup:
        subject = self._subject
        with_page = partial(table_page, subject.library, subject.graph, self.numbers, table_id)
        return self._if_it_can_be_told(subject.library.tables[table_id].title, "table", with_page)

    def _home(self) -> Markup:
        """Return the finder, the list of symptoms, and what lies behind the trees."""
        library, say = self.library, self.words.say
        tables = ((library.tables[name].title, name) for name in self._tables)
        behind = [(say("home.table", title=title), f"tables/{name}.html") for title, name in tables]
        behind += [(say("home.map", title=shown.title), f"maps/{name}.html") for name, shown in library.maps.items()]
        return self.symptoms() + (self.render("behind", page=behind) if self.numbers else Markup())

    def _tree(self, tree_id: str) -> Markup:
        return self.render("tree", page=self.tree_page(tree_id), former=self._moves.old_steps(tree_id))

    @cached_property
    def _moves(self) -> Moves:
        return Moves(self._subject.library)

    def _old_addresses(self) -> Iterator[SitePage]:
        """Yield a page for each address where a tree is not any more, which leads on to where it is."""
        published = {tree.id: tree for tree in self.trees}
        for old, now in self._moves.old_trees().items():
            if now in published:
                href, title = f"{now}.html", published[now].title
                page = partial(self._titled, title, "moved", {"href": href, "title": title})
                yield SitePage(f"trees/{old}.md", title, page, in_navigation=False, leads_to=href)

    def tree_page(self, tree_id: str) -> TreePage:
        """Return what the page of a tree shows."""
        subject, drawn = self._subject, self._drawer.drawn(tree_id)
        return tree_page(subject.library, subject.graph, tree_id, drawn, self._visits, self._dot)

    @cached_property
    def _drawer(self) -> Drawer:
        subject = self._subject
        return Drawer(
            {
                tree.id: chart_of(subject.library, subject.graph, tree.id, self.numbers.get(tree.id))
                for tree in self.trees
            },
            self._dot,
        )

    def close(self) -> None:
        """Stop what still works ahead, when no page is wanted any more."""
        if "_drawer" in vars(self):
            self._drawer.stop()

    def with_symptoms(self, html: str) -> str:
        """Return the author's home page with the list of symptoms in it."""
        before, mark, after = html.partition(SYMPTOMS_MARK)
        return f"{before}{self._home()}{after}" if mark else f"{html}{self._home()}"

    def framed(self, html: str, *, root: str, is_home: bool, is_tree: bool) -> str:
        """Return a page's content with what stands on every page around it."""
        if not is_home:
            way = Markup('<p class="ft-home"><a href="{}index.html#find">{}</a></p>')
            way = way.format(root, self.words.say("page.find"))
        else:
            # The finder stands here, and is to be used at once.
            way = Markup('<script src="{}"></script>').format(INDEX) if self.numbers else Markup()
        note = "" if is_tree else self.render("standing")
        return f'<div class="ft-page">{way}{html}{note}<div class="ft-edition" data-ft-edition></div></div>'

    def findings_html(self, findings: Sequence[Finding]) -> Markup:
        """Return the findings as the head of a preview page."""
        return self.render("findings", findings=findings)

    def styles(self) -> list[str]:
        """Return the addresses of the style sheets that every page uses."""
        return ["kb/site.css", "kb/walker.css"]

    def scripts(self) -> list[str]:
        """Return the addresses of the scripts that every page uses, in the order to load them."""
        return [self._words_address, "kb/walker.js", *([LIBRARY] if self.numbers else [])]

    @property
    def _words_address(self) -> str:
        return f"kb/words.{self.words.language}.js"

    def later_scripts(self, source: str) -> list[str]:
        """Return the addresses of the scripts that a page uses besides, in the order to load them."""
        return _LATER_SCRIPTS.get(source, [])

    def assets(self) -> Iterator[tuple[str, Path]]:
        """Yield the files of ours that are copied: address and where they lie."""
        yield "kb/site.css", SITE_STYLES

    def data(self) -> Iterator[tuple[str, str]]:
        """Yield the data for the browser: address and content."""
        yield "kb/walker.css", styles()
        yield self._words_address, words_script(self.words)
        yield "kb/walker.js", walker_script()
        yield FINDER, finder_script()
        yield DAY, day_script()
        if self._with_reference:
            for role in ROLES:
                yield f"reference/schema/{role}.schema.json", f"{json.dumps(schema_of(role), indent=1)}\n"
            yield "reference/schema/record.schema.json", record_schema()
        yield from self.tree_data()

    def tree_data(self) -> Iterator[tuple[str, str]]:
        """Yield the data of the trees for the browser: address and content; none where they run in a loop."""
        subject = self._subject
        if self.numbers:
            _ = self._drawer  # begins to draw beside this, some time before the first page
            yield from browser_files(subject.library, subject.graph, subject.isolation, self.trees, self.numbers)
            yield VISITS, visits_script(subject.library, self.trees, self._visits)

    def _reference_pages(self) -> Iterator[SitePage]:
        """Yield the pages of the file format and of the rules."""
        title = self.words.say("page.format")
        yield SitePage("reference/format.md", title, lambda: self._titled(title, "format", format_page()))
        rules, of_rules = rule_pages(self.words), self.words.say("page.rules")
        yield SitePage("rules/index.md", of_rules, partial(self._titled, of_rules, "rules", rules))
        for rule in rules:
            page = partial(self._titled, rule.id, "rule", rule)
            yield SitePage(f"rules/{rule.id}.md", rule.id, page, in_navigation=False)

    def _titled(self, title: str, template: str, page: object) -> Markup:
        """Return a page of a title and what a template makes of the data."""
        return Markup("<h1>{}</h1>").format(title) + self.render(template, page=page)
