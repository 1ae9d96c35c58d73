"""The pages of a library that is followed: after an edit only what it touched is made anew.

Trees that are linked with each other are one group with a graph, an analysis and numbers of its
own, which are thrown away when one of its trees changes. Home, the indexes and the finder's data
look at every tree, and are made anew after each edit, but later than the edited tree's own page.
"""

from __future__ import annotations

from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from kb_tools.findings import LibraryError
from kb_tools.model.entities import Library
from kb_tools.model.graph import build_graph
from kb_tools.model.hazards import analyse
from kb_tools.model.linked import Groups
from kb_tools.model.reread import Rereader
from kb_tools.numbers.odds import library_numbers
from kb_tools.numbers.visit import Visits
from kb_tools.pages.browser_data import (
    INDEX,
    LIBRARY,
    index_of,
    index_script,
    library_script,
    tree_script,
)
from kb_tools.pages.diagram import laid_out
from kb_tools.pages.site_pages import SitePages
from kb_tools.pages.tree_data import compile_tree
from kb_tools.pages.tree_page import TreePage, chart_of, tree_page
from kb_tools.pages.visits_page import VISITS, visits_script
from kb_tools.rules import contract

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping
    from datetime import date

    from markupsafe import Markup

    from kb_tools.findings import Finding
    from kb_tools.model.compiled import CompiledTree
    from kb_tools.model.graph import StepGraph
    from kb_tools.model.hazards import Isolation
    from kb_tools.model.reread import Changed
    from kb_tools.numbers.odds import TreeNumbers
    from kb_tools.numbers.visit import Visit

MOST_AT_ONCE = 50
"""Groups of more trees are not judged by themselves ahead of the whole library."""
_LOOK_AT_ALL = frozenset({"shared-item-used", "part-looked-at"})
"""Rules that say something of a library's part that they would not say of the whole."""
_NO_GRAPH = build_graph(Library(Path()))


class _Group:
    """Trees that hang together."""

    def __init__(self, library: Library, names: tuple[str, ...]) -> None:
        """Take the trees `names` out of `library`."""
        self.names = names
        self.library = _part(library, names)

    @cached_property
    def graph(self) -> StepGraph:
        """The graph of the group."""
        return build_graph(self.library)

    @cached_property
    def isolation(self) -> Isolation:
        """What is isolated where."""
        return analyse(self.graph, self.library)

    @cached_property
    def numbers(self) -> dict[str, TreeNumbers]:
        """Odds and minutes; none where the trees run in a loop."""
        try:
            return library_numbers(self.graph, self.library) if self.graph.order else {}
        except LibraryError:
            return {}

    @cached_property
    def visits(self) -> Visits:
        """What visits to its trees need."""
        return Visits(self.graph, self.numbers)


class _LiveVisits(Visits):
    """What visits to all trees need, each worked out in its group."""

    def __init__(self, group_of: Mapping[str, _Group], numbers: Mapping[str, TreeNumbers]) -> None:
        super().__init__(_NO_GRAPH, numbers)
        self._group_of = group_of

    def to(self, symptom: str) -> Visit:
        """Return the visit to a symptom, named by its tree's id."""
        return self._group_of[symptom].visits.to(symptom)


class LivePages(SitePages):
    """What the plugin adds to the site of a library that is followed; drafts are among it."""

    def __init__(self, root: Path, today: date, *, with_reference: bool, dot_program: str) -> None:
        """Read the library below `root`; see `FaultTreesPlugin` for the options."""
        self._reader = Rereader(root)
        self._groups = Groups()
        self._group_of: dict[str, _Group] = {}
        self._compiled: dict[str, CompiledTree] = {}
        self._today = today
        self.findings: list[Finding] = []
        """What is wrong with the library; of an edit just made, only as far as its group shows it."""
        super().__init__(
            contract.subject_of(Library(root), today),
            with_drafts=True,
            with_reference=with_reference,
            dot_program=dot_program,
        )

    def follow(self) -> tuple[Changed, list[str]]:
        """Read what changed.

        Returns:
            What changed, and the trees whose pages may look different now, the edited ones first.

        """
        changed = self._reader.read()
        if not changed:
            return changed, []
        self._subject.library = library = self._reader.library
        edited = changed.trees
        if changed.everything or (library.moved and edited):
            self._groups, self._group_of = Groups(), {}
            edited = {*self._compiled, *library.trees}
        touched: list[str] = []
        for names in self._groups.update(edited, library.trees):
            group = _Group(library, names)
            self._group_of.update(dict.fromkeys(names, group))
            touched += names
        for name in [name for name in self._group_of if name not in library.trees]:
            del self._group_of[name]
        for name in (*touched, *edited):
            self._compiled.pop(name, None)
        self.trees = [tree for tree in library.trees.values() if tree.start in tree.steps]
        for name in _KEPT & vars(self).keys():
            del vars(self)[name]
        if not changed.everything:
            self._judge_ahead(changed)
        return changed, sorted(touched, key=lambda name: name not in changed.trees)

    def _judge_ahead(self, changed: Changed) -> None:
        """Put in the findings of the edited trees' groups at once; `judge` says the rest."""
        library, groups = self.library, {id(group): group for group in map(self._group_of.get, changed.trees) if group}
        files, found = set(changed.files), {one for one in library.findings if one.place.file in changed.files}
        for group in groups.values():
            if len(group.names) > MOST_AT_ONCE or group.graph.order is None:
                continue
            files |= {library.trees[name].file for name in group.names}
            subject = contract.Subject(group.library, group.graph, group.isolation, self._today)
            for name, rule in contract.all_rules().items():
                if name not in _LOOK_AT_ALL:
                    found.update(one for one in rule.check(subject) if one.place.file in files)
        kept = {one for one in self.findings if one.place.file not in files}
        self.findings = sorted(kept | found, key=lambda one: one.sort_key)

    def judge(self, today: date, go_on: Callable[[int, int], None]) -> None:
        """Judge the whole library, as `kb check` does.

        Args:
            today: The day that reviews are judged by.
            go_on: Called after each rule; what it raises ends the judging and leaves the findings as they were.

        """
        self._today = today
        self.findings = contract.run(contract.subject_of(self.library, today), go_on)

    @cached_property
    def numbers(self) -> dict[str, TreeNumbers]:
        """Odds and minutes of every tree that runs in no loop."""
        found: dict[str, TreeNumbers] = {}
        for tree in self.trees:
            found.update({tree.id: own} if (own := self._group_of[tree.id].numbers.get(tree.id)) else {})
        return found

    @cached_property
    def _visits(self) -> Visits:
        return _LiveVisits(self._group_of, self.numbers)

    def _table(self, table_id: str) -> Markup:
        tree = self.library.tables[table_id].tree
        self._subject.graph = self._group_of[tree].graph if tree in self._group_of else _NO_GRAPH
        return super()._table(table_id)

    def _learned(self) -> Markup:
        self._subject.graph = build_graph(self.library)
        return super()._learned()

    def scripts(self) -> list[str]:
        """Return the addresses of the scripts that every page uses; the library is among them, come what may."""
        return list(dict.fromkeys([*super().scripts(), LIBRARY]))

    def tree_page(self, tree_id: str) -> TreePage:
        """Return what the page of a tree shows."""
        group = self._group_of[tree_id]
        chart = chart_of(self.library, group.graph, tree_id, group.numbers.get(tree_id))
        visits = group.visits if group.numbers else None
        return tree_page(self.library, group.graph, tree_id, laid_out(chart, self._dot), visits, self._dot)

    def compiled(self, tree_id: str) -> CompiledTree | None:
        """Return a tree as the browser gets it, or None where it runs in a loop."""
        if tree_id not in self._compiled:
            group = self._group_of[tree_id]
            own = group.numbers.get(tree_id)
            if own is None:
                return None
            tree = self.library.trees[tree_id]
            self._compiled[tree_id] = compile_tree(self.library, group.graph, group.isolation, tree, own)
        return self._compiled[tree_id]

    def index(self) -> Iterator[tuple[str, str]]:
        """Yield the scripts that tell what the library is and which trees it has: address and content."""
        pairs = [(tree, data) for tree in self.trees if (data := self.compiled(tree.id))]
        index = index_of(self.library, [tree for tree, _ in pairs], [data for _, data in pairs])
        yield LIBRARY, library_script(index)
        yield INDEX, index_script(index)

    def tree_data(self) -> Iterator[tuple[str, str]]:
        """Yield the data of the trees for the browser: address and content."""
        yield from self.index()
        for tree in self.trees:
            if data := self.compiled(tree.id):
                yield f"kb/trees/{tree.id}.js", tree_script(data)
        yield VISITS, self.visits_data()

    def visits_data(self) -> str:
        """Return the script that hands the browser what each symptom needs."""
        return visits_script(self.library, [tree for tree in self.trees if tree.id in self.numbers], self._visits)


def _part(library: Library, names: tuple[str, ...]) -> Library:
    """Return a library of some of the trees, with all shared items."""
    trees = {name: library.trees[name] for name in names}
    shelves = {name: getattr(library, name) for name in Library.__dataclass_fields__ if name != "trees"}
    part = Library(trees=trees, **shelves)
    part.tables = {name: table for name, table in library.tables.items() if table.tree in trees}
    return part


_KEPT = {name for kind in LivePages.__mro__ for name, value in vars(kind).items() if isinstance(value, cached_property)}
"""What is worked out once for a library, and anew after each change of it."""
