"""The book: every step is in it, every reference carries the true page, and its bytes depend on the library alone."""

from __future__ import annotations

import io
import json
import os
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from filelock import FileLock
from pypdf import PdfReader

from kb_tools.carriers import paper
from kb_tools.carriers.paper_book import figure_target, tree_target
from kb_tools.carriers.paper_drawings import paper_drawings
from kb_tools.findings import BuildError, UsageError
from kb_tools.model.build import load
from kb_tools.pages.numbering import step_numbers
from kb_tools.pages.rich_text import plain
from kb_tools.pages.tree_page import chart_of
from kb_tools.pages.words import words_of
from kb_tools.rules import contract
from kb_tools.rules.example_files import TODAY
from making import findings_of

if TYPE_CHECKING:
    from kb_tools.rules.contract import Subject

ROOT = Path(__file__).parent.parent.parent
SMALL = ROOT / "tests" / "data" / "small"
A5 = (148, 210)
"""Millimetres (ISO 216)."""
MM = 25.4 / 72
GO_TO = re.compile(r"go to step (\d+), page (\d+)( of: )?")
HOSTILE = r'#panic("x") *a* _b_ $x$ `c` \\ @ref <label> // no comment /* nor this */ ~ [y] {z} "q" = + - 1. \u{1F4A9}'


def subject_of(root: Path) -> Subject:
    """Read a library."""
    return contract.subject_of(load(root), TODAY)


def flat(text: str) -> str:
    """Return a text on one line: the typesetter breaks lines where it likes, and hyphenates."""
    return " ".join(re.sub("[\u00ad\u2010]", "", text.replace("\u00a0", " ")).split())


@dataclass
class Read:
    """A book as a reader has it."""

    subject: Subject
    content: bytes

    @cached_property
    def pdf(self) -> PdfReader:
        """The open book."""
        return PdfReader(io.BytesIO(self.content))

    @cached_property
    def texts(self) -> list[str]:
        """The text of each page."""
        return [flat(page.extract_text()) for page in self.pdf.pages]

    @cached_property
    def places(self) -> dict[str, int]:
        """Named place -> its page, counted from 1."""
        number = {page.indirect_reference: at for at, page in enumerate(self.pdf.pages, 1)}
        return {name: number[place.page] for name, place in self.pdf.named_destinations.items()}


@pytest.fixture(scope="module")
def demo(shared: Path) -> Read:
    """Print the demo library and read its pages, once for all test processes: both take long."""
    subject = subject_of(ROOT)
    book, texts = shared / "demo-book.pdf", shared / "demo-book.json"
    with FileLock(shared / "demo-book.lock"):
        if not texts.exists():
            book.write_bytes(paper.book(ROOT, subject)[0])
            texts.write_text(json.dumps(Read(subject, book.read_bytes()).texts), "utf-8")
    read = Read(subject, book.read_bytes())
    read.texts = json.loads(texts.read_text("utf-8"))
    return read


def test_every_step_of_every_tree_has_its_place(demo: Read) -> None:
    """Each tree and each of its steps is a place in the book that stands where its number does."""
    trees = [tree for tree in demo.subject.library.trees.values() if not tree.is_draft]
    assert len(trees) > 20
    for tree in trees:
        assert tree_target(tree.id) in demo.places
        pages = [demo.places[tree_target(tree.id, step)] for step in step_numbers(tree)]
        assert pages == sorted(pages)
        for (step, number), page in zip(step_numbers(tree).items(), pages, strict=True):
            kind = tree.steps[step].kind  # type: ignore[index]
            assert re.search(rf"\b{number} {paper_word(kind)}: ", demo.texts[page - 1]), (tree.id, step, page)


def paper_word(kind: str) -> str:
    """Return what a kind of step is called in print."""
    return {
        "check": "Check",
        "measure": "Measure",
        "do": "Do",
        "fix": "Fix",
        "escalate": "Hand over",
        "done": "Done",
        "link": "Go on in another tree",
    }[kind]


def test_go_to_carries_the_page_of_that_step(demo: Read) -> None:
    """Every way on is printed, and the page that it names is the one on which that step begins."""
    library, graph = demo.subject.library, demo.subject.graph
    starts = sorted(
        (demo.places[tree_target(name)], name) for name in library.trees if tree_target(name) in demo.places
    )
    steps = {
        name: {number: step for step, number in step_numbers(tree).items()} for name, tree in library.trees.items()
    }
    found = 0
    for at, text in enumerate(demo.texts, 1):
        if at < starts[0][0]:
            continue
        tree = next(name for page, name in reversed(starts) if page <= at)
        for number, page, other in GO_TO.findall(text):
            if other:
                assert any(
                    demo.places.get(tree_target(name, ids.get(int(number), ""))) == int(page)
                    for name, ids in steps.items()
                )
            else:
                assert demo.places[tree_target(tree, steps[tree][int(number)])] == int(page), (at, number, page)
            found += 1
    ways = sum(len(graph.nodes[f"{tree.id}/{step}"].ways) for tree in library.trees.values() for step in tree.steps)
    assert found == ways > 1000


def test_texts_of_steps_are_printed(demo: Read) -> None:
    """Question, how-to, confirmation, source, putting back and leaving stand in print; no page shows raw data."""
    assert [text for text in demo.texts if re.search(r'\( ?"(p|a|ul|ol|strong)"', text)] == []
    assert any("0 to 60 V; else doubt the meter" in text for text in demo.texts)
    bodies = [body(text, at) for at, text in enumerate(demo.texts, 1)]
    for tree in demo.subject.library.trees.values():
        pages = [demo.places[tree_target(tree.id, step)] for step in tree.steps]
        shown = letters(" ".join(bodies[min(pages) - 1 : max(pages) + 2]))
        for name, step in tree.steps.items():
            texts = [step.how, step.confirm, step.source, step.put_back, step.leave, step.live_because, *step.bring]
            texts += [step.text if step.kind != "link" else None]
            missing = [text for text in texts if text and not printed(plain(text), shown)]
            assert missing == [], (tree.id, name)


def foot(at: int) -> str:
    """Return what stands at the foot of a page."""
    edition = "Withy Lane fault trees for guarded powered chairs, edition 1 of 20 November 2026"
    return f"{edition} {at}" if at % 2 else f"{at} {edition}"


def body(text: str, at: int) -> str:
    """Return a page without its foot: sentences go on from page to page."""
    return text.removesuffix(foot(at))


def printed(text: str, shown: str) -> bool:
    """Tell whether a text is in print: each sentence of it, since pages end, and links carry pages."""
    return all(letters(part) in shown for part in re.split(r"[.:;,?!]|\n", text))


def letters(text: str) -> str:
    """Return the letters and figures of a text, without the pages that references carry."""
    return re.sub(r"[\W_]", "", re.sub(r"\(page\s*\d+\)", "", text))


def test_printed_page_numbers_are_the_readers(demo: Read) -> None:
    """The number at the foot of each page is that of the page in the file; the edition stands beside it."""
    for at, text in enumerate(demo.texts, 1):
        assert text.endswith(foot(at)), (at, text[-120:])


def test_links_lead_to_named_places(demo: Read) -> None:
    """Every link of every page leads to a place in the book; drawings and ways on have links."""
    count = 0
    pages = {page.indirect_reference for page in demo.pdf.pages}
    for page in demo.pdf.pages:
        for note in page.get("/Annots") or ():
            link = note.get_object()
            goal = link.get("/Dest", link.get("/A", {}).get("/D"))
            # Rows of tables have no name; a link to one bears the page itself.
            assert goal in demo.places if isinstance(goal, str) else goal.get_object()[0] in pages, link
            count += 1
    assert count > 2000


def test_contents_and_index_name_true_pages(demo: Read) -> None:
    """Contents and the index of what people say: every tree, every phrase, each with the page of its tree."""
    front = " ".join(demo.texts[2 : min(demo.places[tree_target(name)] for name in demo.subject.library.trees) - 1])
    for tree in demo.subject.library.trees.values():
        page = demo.places[tree_target(tree.id)]
        for phrase in (tree.title, *tree.heard_as):
            shown = re.escape(flat(phrase[:1].upper() + phrase[1:]))
            assert re.search(rf"{shown}[ .]+{page}\b", front), (phrase, page)


def test_outline_holds_every_tree(demo: Read) -> None:
    """The outline of the file names every tree, in the order of the pages."""
    titles = [entry.title for entry in demo.pdf.outline if not isinstance(entry, list)]
    named = [title for title in titles if title in {str(tree.title) for tree in demo.subject.library.trees.values()}]
    assert len(named) == len(demo.subject.library.trees)
    pages = [demo.pdf.get_destination_page_number(entry) for entry in demo.pdf.outline if not isinstance(entry, list)]
    assert pages == sorted(pages, key=lambda page: page or 0)


def test_cautions_come_whole_before_the_first_step(demo: Read) -> None:
    """Signal word, danger, consequence and how to avoid it stand before the first step of a tree."""
    library = demo.subject.library
    for tree in library.trees.values():
        first = demo.places[tree_target(tree.id, next(iter(step_numbers(tree))))]
        before = " ".join(demo.texts[demo.places[tree_target(tree.id)] - 1 : first]).replace(" ", "")
        for name in tree.cautions:
            caution = library.cautions[name]
            assert caution.signal in before
            for part in (caution.text, caution.consequence, caution.avoid):
                assert flat(part).replace(" ", "").rstrip(".") in before, (tree.id, name)


def test_pages_are_a5(demo: Read) -> None:
    """Every page is 148 mm by 210 mm, upright."""
    for page in demo.pdf.pages:
        assert (round(float(page.mediabox.width) * MM), round(float(page.mediabox.height) * MM)) == A5


def test_drawings_are_black_and_white_and_readable(demo: Read) -> None:
    """Drawings use black and white alone, and on the page their text is no smaller than 8 points."""
    library, graph = demo.subject.library, demo.subject.graph
    tree = max(library.trees.values(), key=lambda one: len(one.steps))
    chart = chart_of(library, graph, tree.id)
    drawn = list(paper_drawings(chart, len(tree.steps), lambda step: step, words_of(library)))
    for drawing in drawn:
        assert set(re.findall(r"#[0-9a-f]{3,6}\b(?=[ ;}])", drawing.svg)) <= {"#000", "#fff"}
        assert "rgb" not in drawing.svg
        room = (122 / MM, 172 / MM)
        assert 14 * min(0.75, room[0] / drawing.width, room[1] / drawing.height) >= 8
    assert {spot.target for drawing in drawn for spot in drawing.spots} == set(tree.steps)


def test_tables_of_figures_are_all_there(demo: Read) -> None:
    """Every row of every table of figures has its place, with its figures; links of texts carry its page."""
    figures = demo.subject.library.figures
    assert figures
    order = sorted(demo.places[figure_target(table.id)] for table in figures.values())
    for table in figures.values():
        first = demo.places[figure_target(table.id)]
        last = next((page for page in order if page > first), demo.places["book/licences"])
        shown = "".join(demo.texts[first - 1 : last]).replace(" ", "")
        for row in table.rows.values():
            for words in (row.title, *(cell for cell in row.values.values() if re.fullmatch("[0-9.]+", cell))):
                assert flat(words).replace(" ", "") in shown, (table.id, words)
    front = " ".join(demo.texts[2:6])
    for table in figures.values():
        assert re.search(rf"{re.escape(flat(table.title))}[ .]+{demo.places[figure_target(table.id)]}\b", front), (
            table.id
        )


def test_a_book_of_one_tree_has_the_tables_that_it_names(tmp_path: Path) -> None:
    """Of the tables of figures only those are printed that a text of the tree refers to, with the page beside."""
    row = "title: M6\n    values: {torque: 10.4}\n    source: from memory\n"
    table = f"title: Torque\nhead: Screw\ncolumns: {{torque: {{title: Torque, unit: N m}}}}\nrows:\n  m6:\n    {row}"
    findings_of(
        tmp_path,
        {
            "content/figures/torque.yml": table,
            "content/figures/other.yml": table.replace("title: Torque\nhead", "title: Other\nhead"),
            "trees/area/tight.yml": "title: Loose\nreviewed: 2026-10-14\nstart: one\nsteps:\n"
            "  one: {done: 'Tighten to [the torque](figure:torque/m6)'}\n",
        },
    )
    content, _ = paper.book(tmp_path, subject_of(tmp_path), ["tight"])
    read = Read(subject_of(tmp_path), content)
    assert figure_target("other") not in read.places
    page = read.places[figure_target("torque")]
    assert "M6 10.4" in read.texts[page - 1]
    assert f"the torque (page {page})" in " ".join(read.texts)


def test_title_page_says_what_comes_first(demo: Read) -> None:
    """Edition, date and the standing note are on the first page; the notices of the fonts on the last."""
    assert "edition 1 of 20 November 2026" in demo.texts[0]
    assert "maker's instructions, local codes and licensed practice come first" in demo.texts[0]
    assert "SIL Open Font License" in demo.texts[-1]
    fonts = {
        str(font.get_object()["/BaseFont"]).partition("+")[2]
        for page in demo.pdf.pages[:40]
        for font in (page.get("/Resources", {}).get("/Font") or {}).values()
    }
    assert all(name.startswith(("LibertinusSerif", "DejaVuSansMono")) for name in fonts), fonts


def test_the_file_tells_its_language_and_its_structure(demo: Read) -> None:
    """The file is tagged and says its language and title, as PDF/UA-1 (ISO 14289-1) wants for readers that speak."""
    catalog: Any = demo.pdf.trailer["/Root"]
    assert catalog["/Lang"] == "en"
    assert catalog["/MarkInfo"]["/Marked"]
    assert "/StructTreeRoot" in catalog
    assert demo.pdf.metadata
    assert demo.pdf.metadata.title == "Withy Lane fault trees for guarded powered chairs"


def test_equal_sources_give_equal_bytes(tmp_path: Path) -> None:
    """Another process, hash seed, time zone and locale give the same book to the byte."""
    content, printed = paper.book(SMALL, subject_of(SMALL))
    code = (
        "import sys; from pathlib import Path; from datetime import date; from kb_tools.carriers import paper;"
        "from kb_tools.model.build import load; from kb_tools.rules import contract;"
        "root = Path(sys.argv[1]); subject = contract.subject_of(load(root), date(2027, 1, 9));"
        "paper.print_book(root, Path(sys.argv[2]), subject)"
    )
    environment = {**os.environ, "PYTHONHASHSEED": "4711", "TZ": "Pacific/Auckland", "LC_ALL": "C"}
    done = subprocess.run(
        [sys.executable, "-c", code, str(SMALL), str(tmp_path / "other.pdf")],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "other.pdf").read_bytes() == content
    assert [path.name for path in tmp_path.iterdir()] == ["other.pdf"]
    assert printed.pages == len(PdfReader(io.BytesIO(content)).pages)


def test_texts_are_never_markup(tmp_path: Path) -> None:
    """What would be Typst in a text is printed as it is written."""
    findings_of(
        tmp_path,
        {
            "trees/area/hostile.yml": f"title: '{HOSTILE}'\nreviewed: 2026-10-14\nstart: one\nsteps:\n  one:\n"
            f"    check: '{HOSTILE}?'\n    answers:\n      - answer: '{HOSTILE} yes'\n        to: two\n"
            f"      - {{answer: 'No', to: two}}\n  two:\n    done: Nothing found\n"
        },
    )
    content, printed = paper.book(tmp_path, subject_of(tmp_path), ["hostile"])
    text = flat(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(content)).pages)).replace(" ", "")
    for wanted in ('#panic("x")', "$x$", "@ref<label>//nocomment/*northis*/", r"\u{1F4A9}", "[y]{z}"):
        assert text.count(wanted) >= 4, wanted
    assert not printed.warnings


def test_signs_that_no_font_has_are_told(tmp_path: Path) -> None:
    """A text in a script that the fonts do not have is no failure, and no silence."""
    findings_of(
        tmp_path,
        {
            "trees/area/far.yml": "title: \u6f22\nreviewed: 2026-10-14\nstart: one\nsteps:\n"
            "  one: {done: Nothing found}\n"
        },
    )
    _, printed = paper.book(tmp_path, subject_of(tmp_path), ["far"])
    assert "\u6f22" in printed.warnings[0]


def test_one_tree_alone(tmp_path: Path) -> None:
    """A book of one tree says what is left out; a way into a tree that is not in it names that tree, no page."""
    subject = subject_of(ROOT)
    content, printed = paper.book(ROOT, subject, ["lamp-off"])
    text = flat(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(content)).pages))
    assert printed.trees == 1
    others = len([tree for tree in subject.library.trees.values() if not tree.is_draft]) - 1
    assert f"1 tree; {others} more are in the library" in text
    assert "go to: The chair is dead, its display stays dark (not in this book)" in text
    with pytest.raises(UsageError, match="Did you mean lamp-off"):
        paper.print_book(ROOT, tmp_path / "out.pdf", subject, ["lamp-of"])
    assert not list(tmp_path.iterdir())


def test_a_book_that_cannot_be_set_leaves_the_old_one(tmp_path: Path) -> None:
    """A picture that is none stops it, with its name; the old file is there byte for byte."""
    library = Path(shutil.copytree(SMALL, tmp_path / "library"))
    (library / "content" / "pictures" / "plug.svg").write_text("no picture")
    out = tmp_path / "paper.pdf"
    out.write_bytes(b"old")
    with pytest.raises(BuildError, match=r"plug\.svg"):
        paper.print_book(library, out, subject_of(library))
    assert out.read_bytes() == b"old"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["library", "paper.pdf"]
