"""The words of the interface: every language whole, every word used, and no text anywhere else."""

from __future__ import annotations

import ast
import re
from collections import Counter
from datetime import date
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import TYPE_CHECKING, Any

import jinja2
import pytest
import yaml
from jinja2 import nodes

from kb_tools.findings import BuildError
from kb_tools.model.build import load
from kb_tools.pages import words as module
from kb_tools.pages.render import marked
from kb_tools.pages.scripts import WALKER, words_script
from kb_tools.pages.site_pages import SitePages
from kb_tools.pages.wording import counted
from kb_tools.pages.words import FOLDER, content_of, faults_of, file_of, languages, leaves, words_in, words_of
from kb_tools.rules.contract import subject_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.model.entities import Library

ROOT = Path(__file__).parents[2]
SMALL = ROOT / "tests" / "data" / "small"
PACKAGE = ROOT / "kb_tools"
TEMPLATES = sorted((FOLDER / "templates").glob("*.html"))
SPEAKING = sorted(
    path
    for folder in ("pages", "carriers")
    for path in (PACKAGE / folder).glob("*.py")
    if "words" in path.read_text("utf-8")
)
"""Modules that put texts into pages."""
BOOK = PACKAGE / "carriers" / "paper_parts" / "book.typ"
PSEUDO = str.maketrans("aeiouyAEIOUY", "åéîøüÿÅÉÎØÜŸ")


def english() -> dict[str, Any]:
    """Return what stands in the English file."""
    return dict(content_of("en"))


def speaking(language: str) -> Library:
    """Return a library in a language."""
    return load(SMALL, texts={"trees/shared/library.yml": f"title: Small\nlanguage: {language}\n"})


def keys() -> set[str]:
    """Return every key of the English file."""
    return {key for key, _ in leaves(english())}


@pytest.mark.parametrize("language", sorted(languages()))
def test_every_language_is_whole(language: str) -> None:
    """Each file has the keys and fields of the English one, forms that its numbers take, and no key twice."""
    words_in(language)
    node = yaml.compose(file_of(language).read_text("utf-8"), yaml.CBaseLoader)
    waiting = [node]
    while waiting:
        here = waiting.pop()
        if isinstance(here, yaml.MappingNode):
            assert not [name for name, times in Counter(key.value for key, _ in here.value).items() if times > 1]
            waiting += [value for _, value in here.value]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"begin": None}, "tree.begin is missing"),
        ({"begin": ""}, "tree.begin is missing"),
        ({"start": "x"}, "tree.start stands for nothing"),
        ({"chart_part": "{first}"}, "tree.chart_part differs in {last}"),
        ({"cases": "{n}"}, "tree.cases is not of the form that English has"),
        ({"cases": {"one": "{n}"}}, "tree.cases is not of the form that English has"),
        ({"cases": {"few": "{n}", "other": "{n}"}}, "tree.cases has a form that no number takes: few"),
        ({"begin": "<b>"}, "tree.begin holds one of"),
    ],
)
def test_what_is_wrong_with_a_language_is_told(change: dict[str, Any], said: str) -> None:
    """A key that is missing, empty, unknown or of another shape is told by its name."""
    content = english()
    assert faults_of(content, english()) == []
    content["tree"] = {name: text for name, text in (content["tree"] | change).items() if text is not None}
    (fault,) = faults_of(content, english())
    assert fault.startswith(said)


def test_an_unfinished_language_stops_the_build(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A library in a language whose file lacks a word gets no page, and is told which word."""
    content = english()
    del content["page"]["find"]
    _speak("xx", content, tmp_path, monkeypatch)
    made = speaking("xx")
    with pytest.raises(BuildError, match=r"words\.xx\.yaml: page\.find is missing"):
        words_of(made)


def test_a_key_that_is_not_there_is_an_error() -> None:
    """Asking for what no file holds, or without a field, is an error that names the key."""
    words = words_in("en")
    with pytest.raises(BuildError, match=r"tree\.beginning"):
        words.say("tree.beginning")
    with pytest.raises(BuildError, match="last"):
        words.say("tree.chart_part", first=1)
    with pytest.raises(BuildError, match=r"count\.stones"):
        words.count("count.stones", 2)


def test_a_language_without_a_file_is_spoken_to_in_english() -> None:
    """A library of another language keeps its language and gets the English interface; a region is passed over."""
    assert words_of(speaking("tlh")).language == "en"
    assert words_of(speaking("en-AU")).language == "en"
    assert speaking("tlh").language == "tlh"


def test_figures_dates_and_lists() -> None:
    """Spans of time, dates, counts, chances and lists in words."""
    words = words_in("en")
    spans = [words.minutes(value) for value in (0.5, 1, 59.4, 60, 80, 119.7)]
    assert spans == ["30 s", "1 min", "59 min", "1 h", "1 h 20 min", "2 h"]
    assert words.day(date(2026, 10, 4)) == "4 October 2026"
    assert words.count("count.steps", 1) == "1 step"
    assert words.count("count.steps", 1200) == "1,200 steps" == counted(1200, "step")
    assert counted(1, "step") == "1 step"
    assert words.listed(["a", "b", "c"]) == "a, b and c"
    assert words.listed(["a", "b", "c"], "or") == "a, b or c"
    assert words.listed(["a"]) == "a"
    assert words.listed([]) == ""
    chances = [words.in_ten(value) for value in (1, 0.96, 0.8, 0.14, 0.03, 0.001, 0)]
    assert chances[:4] == ["all", "nearly all", "about 8 in 10", "about 1 in 7"]
    assert chances[4:] == ["about 1 in 30", "fewer than 1 in 100", "none"]
    assert [words.percent(value) for value in (0.004, 0.5, 0.999)] == [
        f"{told}\N{NO-BREAK SPACE}%" for told in ("under 1", "50", "over 99")
    ]


def test_marks_become_html_and_fields_stay_text() -> None:
    """Bold and code are made of a text's own marks; what is filled in is escaped and its marks are not read."""
    made = marked("**{name}** runs `kb check`").format(name="<i>**x**")
    assert made == "<strong>&lt;i&gt;**x**</strong> runs <code>kb check</code>"


def test_words_of_the_walk_reach_the_browser(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The script of another language holds its words; lists to look for are patterns."""
    content = english()
    content["walk"]["bring_match"]["lamps"] = ["a/b", "so far", "1.5"]
    content["walk"]["left"]["in service"] = "Îñ"
    _speak("xx", content, tmp_path, monkeypatch)
    script = words_script(words_in("xx"))
    assert r"lamps:/a\/b|so far|1\.5/i" in script
    assert '"in service":"Îñ"' in script


# Every word is used, and every word that is asked for is there.


def asked_in_templates() -> Iterator[str]:
    """Yield every key that a template asks for; of one that is put together its beginning and a star."""
    environment = jinja2.Environment(autoescape=True)
    for path in TEMPLATES:
        for asked in environment.parse(path.read_text("utf-8")).find_all(nodes.Filter):
            if asked.name in ("say", "counted"):
                yield from _constants(asked.node)


def _constants(node: nodes.Node | None) -> Iterator[str]:
    if isinstance(node, nodes.Const):
        yield node.value
    elif isinstance(node, nodes.CondExpr):
        yield from _constants(node.expr1)
        yield from _constants(node.expr2)
    elif isinstance(node, nodes.Concat):
        yield f"{next(_constants(node.nodes[0]))}*"
    else:
        raise TypeError(node)


def asked_in_code() -> Iterator[str]:
    """Yield every text of a module that may be a key; of one that is put together its beginning or end, and a star."""
    for path in SPEAKING:
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and re.fullmatch(r"[a-z_.]+", node.value):
                yield node.value
            elif isinstance(node, ast.JoinedStr):
                parts = [str(one.value) if isinstance(one, ast.Constant) else "" for one in node.values]
                if re.fullmatch(r"[a-z_]+\.[a-z_.]*", parts[0]):
                    yield f"{parts[0]}*"
                elif parts[-1].startswith("."):
                    yield f"*{parts[-1]}"


def asked_outright() -> Iterator[str]:
    """Yield every key that a module asks for where it stands."""
    for path in SPEAKING:
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute | ast.Name):
                name = node.func.attr if isinstance(node.func, ast.Attribute) else node.func.id
                if name in ("say", "count", "form", "text") and node.args:
                    first = node.args[0]
                    for one in (first.body, first.orelse) if isinstance(first, ast.IfExp) else (first,):
                        if isinstance(one, ast.Constant) and isinstance(one.value, str):
                            yield one.value


def asked_in_the_book() -> Iterator[str]:
    """Yield every key that the template of the book asks for."""
    text = BOOK.read_text("utf-8")
    for key in re.findall(r'"((?:paper|step|tables|legend|tree)\.[a-z_.]+)"', text):
        yield f"{key}*" if key.endswith(".") else key
    yield from (f"step.{name}" for name in re.findall(r'rows\.push\(\("([a-z_]+)"', text))


def asked_by_the_walk() -> Iterator[str]:
    """Yield every key that a script may ask for: its last name is a property, or its group is asked by name."""
    source = "".join(path.read_text("utf-8") for path in sorted(WALKER.glob("*.js")))
    properties = set(re.findall(r"\.([a-z_]+)\b", source))
    by_name = {name for name in properties if re.search(rf"\.{name}\[|= words\.{name};", source)} | {"left", "outcome"}
    for key in keys():
        group, *names = key.split(".")
        if group == "walk" and (names[-1] in properties or names[0] in by_name):
            yield key


def test_every_word_is_used_and_every_word_asked_for_is_there() -> None:
    """No text is left over, and no page asks for one that is not there."""
    known = keys() - {"locale"}
    asked = {*asked_in_templates(), *asked_in_the_book()}
    in_code = set(asked_in_code())
    for key in sorted(asked):
        if "*" in key:
            assert [one for one in known if one.startswith(key.rstrip("*"))], key
        else:
            assert key in known
    assert set(asked_outright()) <= known
    asked |= in_code | set(asked_by_the_walk())
    starts = tuple(key.rstrip("*") for key in asked if key.endswith("*"))
    ends = tuple(key.lstrip("*") for key in asked if key.startswith("*"))
    assert not sorted(
        key for key in known if key not in asked and not key.startswith(starts) and not key.endswith(ends)
    )


# No text stands anywhere else.


class _Shown(HTMLParser):
    """Texts that a reader meets in HTML: between tags, and in attributes that are read out."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.texts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:  # noqa: ARG002 - as it is called
        """Take what is read out."""
        self.texts += [text or "" for name, text in attrs if name in ("aria-label", "alt", "title", "placeholder")]

    def handle_data(self, data: str) -> None:
        """Take a text."""
        self.texts.append(data)


def shown(html: str) -> list[str]:
    """Return the texts of HTML that hold letters."""
    parser = _Shown()
    parser.feed(html)
    parser.close()
    return [text for text in parser.texts if re.search(r"[^\W\d_]", text)]


def own_texts(template: str) -> list[str]:
    """Return the texts that a template holds itself: in its HTML, and as constants that read like words."""
    environment = jinja2.Environment(autoescape=True)
    data = "".join(text for _, kind, text in environment.lex(template) if kind == "data")
    constants = [one.value for one in environment.parse(template).find_all(nodes.Const) if isinstance(one.value, str)]
    return shown(data) + [text for text in constants if re.search(r"[A-Za-z] [A-Za-z]|^[A-Z]", text)]


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.stem)
def test_no_template_holds_a_text(path: Path) -> None:
    """A template lays out; what it says stands in the file of words."""
    assert own_texts(path.read_text("utf-8")) == []


def test_a_text_in_a_template_would_be_found() -> None:
    """The test above sees texts between tags, in attributes and in expressions."""
    assert own_texts('<p class="ft-a">{{ x }} go on</p>') == [" go on"]
    assert own_texts('<div aria-label="Rules">{% if x %}</div>{% endif %}') == ["Rules"]
    assert own_texts('<p>{{ "Good" if x else "reference.bad"|say }}</p>') == ["Good"]


def test_the_book_holds_no_text() -> None:
    """The template of the book says nothing that does not stand in the file of words."""
    text = re.sub(r"//.*", "", BOOK.read_text("utf-8"))
    assert not re.findall(r"\[[^\]#$]*?[a-z]{2,} [a-z]{2,}", text)
    strings = re.findall(r'"((?:[^"\\\n]|\\.)*)"', text)
    assert not [one for one in strings if re.search("[a-z] [a-z]", one)]
    assert "paper.page" in strings


def test_pages_speak_the_library_s_language(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With words whose vowels are marked, no page of the demo shows a plain one that is not the library's own."""
    content = _pseudo(english())
    content["locale"] = "el"
    _speak("xx", content, tmp_path, monkeypatch)
    library = load(ROOT)
    assert library.settings
    object.__setattr__(library.settings, "language", "xx")
    site = SitePages(subject_of(library, date(2026, 11, 20)), with_drafts=False, with_reference=False, dot_program="")
    folders = (ROOT / "trees", ROOT / "content" / "figures")
    sources = [path.read_text("utf-8") for folder in folders for path in sorted(folder.rglob("*.*")) if path.is_file()]
    own = set(re.findall(r"[^\W\d_]+", " ".join(sources).lower()))
    seen = 0
    for page in site.pages():
        # What stands in a drawing is cut to fit.
        html = re.sub("<text.*?</text>", "", str(page.html()), flags=re.DOTALL)
        for text in shown(site.framed(html, root="../", is_home=page.source == "index.md", is_tree=False)):
            plain = {word for word in re.findall(r"[^\W\d_]+", text.lower()) if re.search("[aeiouy]", word)}
            assert plain <= own, (page.source, text)
            seen += bool(re.search("[åéîøüÿ]", text.lower()))
    assert seen > 1000
    site.close()


def _speak(language: str, content: dict[str, Any], folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let there be one more language."""
    folder.mkdir(exist_ok=True)
    (folder / "words.en.yaml").write_text(file_of("en").read_text("utf-8"), "utf-8")
    (folder / f"words.{language}.yaml").write_text(yaml.safe_dump(content, allow_unicode=True), "utf-8")
    monkeypatch.setattr(module, "FOLDER", folder)
    monkeypatch.setattr(module, "languages", cache(module.languages.__wrapped__))
    monkeypatch.setattr(module, "words_in", cache(module.words_in.__wrapped__))


def _pseudo(node: Any) -> Any:  # noqa: ANN401 - any part of a file
    """Return the words with marked vowels; fields stay."""
    if isinstance(node, dict):
        return {name: _pseudo(part) for name, part in node.items()}
    if isinstance(node, list):
        return [_pseudo(part) for part in node]
    return "".join(
        part if part.startswith("{") else part.translate(PSEUDO) for part in re.split(r"(\{[a-z_]*\})", node)
    )
