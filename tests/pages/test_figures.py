"""Tables of figures on pages: cells with units, sources, anchors, and links that lead to rows."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from kb_tools.model.build import load
from kb_tools.model.figures import marks_of
from kb_tools.model.units import shown_unit
from kb_tools.pages.figures_page import figures_page, figures_view, pages_that_show, with_figures
from kb_tools.pages.rich_text import blocks, figure_address, html
from kb_tools.pages.site_pages import SitePages
from kb_tools.pages.words import words_in
from kb_tools.rules import contract
from kb_tools.rules.example_files import BASE, TODAY
from making import findings_of, word

if TYPE_CHECKING:
    from pathlib import Path

    from kb_tools.model.entities import Library

TABLE = """\
title: Supply of box & pod
head: State
note: See [the bracket](figure:tightening/bracket).
formula: U = R I
disagree: Some say more
columns:
  torque: {title: Torque, unit: N m, also: lbf in}
  section: {title: Section, unit: mm^2}
  means: {title: Means}
rows:
  cold:
    title: Cold
    values: {torque: 3.0 to 6.0, section: none, means: 12 & more}
    source: Sheet 1
  warm:
    title: Warm
    values: {torque: -0.5, section: 2.5, means: none}
    source: Sheet 2
    note: Rarely met
  hot:
    title: Hot
    values: {torque: 1.0, section: 4, means: x}
    source: Sheet 1
"""


@pytest.fixture
def made(tmp_path: Path) -> Library:
    """Return the base library of the rules' examples with one more table."""
    assert not findings_of(tmp_path, {"content/figures/supply.yml": TABLE})
    return load(tmp_path)


def test_cells_show_figures_in_both_units(made: Library) -> None:
    """Ranges keep their ends, a second unit stands in brackets, a minus is a minus, and nothing is a dash."""
    view = figures_view(made.figures["supply"], "", words_in("en"))
    assert [row.cells for row in view.rows] == [
        ["3.0 to 6.0 (27 to 53)", "\N{EN DASH}", "12 & more"],
        ["\N{MINUS SIGN}0.5 (\N{MINUS SIGN}4)", "2.5", "none"],
        ["1.0 (9)", "4", "x"],
    ]
    assert view.columns == [
        ("Torque", "N\N{NO-BREAK SPACE}m (lbf\N{NO-BREAK SPACE}in)"),
        ("Section", "mm²"),
        ("Means", ""),
    ]


def test_sentences_stand_in_a_list_and_not_in_columns(made: Library) -> None:
    """What no column of a phone has room for is a list, its rows with their anchors all the same."""
    cells = made.figures["supply"].rows["hot"].values  # type: ignore[index]
    assert "<table" in str(figures_page(made.figures["supply"], [], words_in("en")))
    cells[word("means")] = word("a sentence that is longer than any column of a phone")
    page = str(figures_page(made.figures["supply"], [], words_in("en")))
    assert "<table" not in page
    assert 'id="supply-hot"' in page
    assert "Means: a sentence" in page


def test_each_source_stands_once(made: Library) -> None:
    """Rows name their source by its number."""
    view = figures_view(made.figures["supply"], "", words_in("en"))
    assert [row.source for row in view.rows] == [1, 2, 1]
    assert [str(source) for source in view.sources] == ["Sheet 1", "Sheet 2"]


@pytest.mark.parametrize(
    ("unit", "shown"),
    [("degC", "°C"), ("ohm", "Ω"), ("ohm/km", "Ω/km"), ("mm^2", "mm²"), ("A h", "A\N{NO-BREAK SPACE}h"), ("1", "")],
)
def test_units_are_shown_as_people_write_them(unit: str, shown: str) -> None:
    """What pint reads is not what a technician writes."""
    assert shown_unit(unit) == shown


def test_the_page_of_a_table_has_an_anchor_for_each_row(made: Library) -> None:
    """A row's address is that of its page and its anchor; texts are escaped, links lead from the page."""
    page = str(figures_page(made.figures["supply"], [("Wires & more", "wires.html")], words_in("en")))
    assert figure_address("supply/warm") == "figures/supply.html#supply-warm"
    assert 'id="supply-warm"' in page
    assert 'id="figures-supply"' in page
    assert figure_address("supply") == "figures/supply.html#figures-supply"
    assert "Supply of box &amp; pod" in page
    assert 'href="../figures/tightening.html#tightening-bracket"' in page
    assert '<a href="../wires.html">Wires &amp; more</a>' in page
    assert "the maker&#39;s own figure comes first" in page or "the maker's own figure comes first" in page
    assert "for this equipment they come before" in str(figures_page(made.figures["tightening"], [], words_in("en")))


def test_every_table_has_a_page(made: Library) -> None:
    """Links to rows lead somewhere also where no content page shows the table."""
    subject = contract.subject_of(made, TODAY)
    pages = SitePages(subject, with_drafts=False, with_reference=False, dot_program="")
    found = {page.source: page for page in pages.pages()}
    assert {"figures/supply.md", "figures/tightening.md"} <= set(found)
    assert not found["figures/supply.md"].in_navigation
    assert 'id="supply-cold"' in str(found["figures/supply.md"].html())


def test_a_content_page_gets_what_it_asks_for(made: Library) -> None:
    """Comments become a table, a caution, a list; links to rows stay in the page where the table stands in it."""
    asked = (
        "<h1>Page</h1>\n<!-- figures: tightening -->\n<p><!-- caution: moving-chair --></p>\n<!-- figures -->\n"
        '<p><a href="figure:tightening/bracket">here</a> <a href="figure:supply/warm">there</a></p>'
        "<!-- anything else -->"
    )
    page = with_figures(asked, made, "../")
    assert 'id="tightening-bracket"' in page
    assert "ft-signal" in page
    assert "<p><div" not in page.replace("\n", "")
    assert 'href="#tightening-bracket"' in page
    assert 'href="../figures/supply.html#supply-warm"' in page
    assert 'href="../figures/supply.html">Supply of box &amp; pod</a>' in page
    assert "<!-- anything else -->" in page


def test_a_content_page_is_told_what_is_not_there(made: Library) -> None:
    """An unknown name does not vanish from the page."""
    page = with_figures("<!-- figures: suply --><!-- caution: nothing -->", made, "")
    assert "There is no table of figures <code>suply</code>" in page
    assert "There is no caution <code>nothing</code>" in page


def test_a_page_without_marks_is_left_alone(made: Library) -> None:
    """What asks for nothing comes back as it is."""
    assert with_figures("<p>a</p>", made, "") == "<p>a</p>"


def test_tables_know_the_pages_that_show_them() -> None:
    """Title and address of each page, once, and not of one that only writes about it in code."""
    shown = pages_that_show(
        [
            ("reference/wires.md", "# Wires #\n\n<!-- figures: a -->\n<!--figures:b-->\n<!-- figures: a -->"),
            ("plain.md", "<!-- figures: a -->\n<!-- figures -->"),
            ("about.md", "# About\n\n`<!-- figures: a -->`\n\n```\n<!-- figures: b -->\n```\n"),
        ]
    )
    assert shown == {
        "a": [("Wires", "reference/wires.html"), ("plain", "plain.html")],
        "b": [("Wires", "reference/wires.html")],
    }


def test_marks_have_their_places() -> None:
    """Line and column count from 1, and code before a mark does not shift them."""
    text = "# T\n\n`x` see [M6](figure:torque/m6)\n\n  <!-- caution: c -->\n"
    assert marks_of(text) == [("row", "torque/m6", 3, 21), ("caution", "c", 5, 3)]


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("<!-- figures: tightning -->", "There is no table of figures `tightning`"),
        ("<!-- caution: moving-chairs -->", "There is no caution `moving-chairs`"),
        ("[x](figure:tightening/brackett)", "The table of figures `tightening` has no row `brackett`"),
        ("[x](figure:tightening)", "The table of figures `tightening` has no row without a name"),
    ],
)
def test_a_content_page_that_asks_for_what_is_not_there_is_a_finding(line: str, told: str, tmp_path: Path) -> None:
    """The finding stands at the page's own line and names what was meant."""
    found = findings_of(tmp_path, {"content/area/page.md": f"# Page\n\n{line}\n"})
    assert [(one.place.file, one.place.line, one.rule, one.message) for one in found] == [
        ("content/area/page.md", 3, "reference-resolves", told)
    ]
    assert "`" in found[0].remedy


@pytest.mark.parametrize(
    "line",
    ["<!-- figures: tightening -->", "<!-- figures -->", "[x](figure:tightening/bracket)", "`<!-- figures: x -->`"],
)
def test_a_content_page_that_asks_rightly_is_none(line: str, tmp_path: Path) -> None:
    """Tables, the list of all, rows, and what stands in code bring nothing."""
    assert not findings_of(tmp_path, {"content/page.md": f"# Page\n\n{line}\n"})


def test_a_link_to_a_row_resolves_in_texts() -> None:
    """On a page from where it stands, for the browser from the site's root; what is no id leads nowhere."""
    assert '<a href="../figures/t.html#t-r">M6</a>' in html("[M6](figure:t/r)", "../")
    assert blocks("[M6](figure:t/r)") == [["p", [["a", {"href": "figures/t.html#t-r"}, ["M6"]]]]]
    assert 'href="#"' in html("[M6](figure:../../etc)")
    assert 'href="#"' in html("[M6](figure:T/r)")


def test_the_base_library_has_no_page_left_out() -> None:
    """The tables of the examples are those that the tests above lean on."""
    assert list(load(BASE).figures) == ["tightening"]
