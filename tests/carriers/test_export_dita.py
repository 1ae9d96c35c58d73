"""The library as DITA 1.3: valid element by element, references that lead somewhere, nothing of the graph lost."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import pytest

from kb_tools.carriers.export_dita import dita_files, export_dita
from kb_tools.findings import BuildError
from kb_tools.model.build import load
from kb_tools.pages.rich_text import plain
from kb_tools.rules import contract
from kb_tools.rules.example_files import TODAY
from making import findings_of

if TYPE_CHECKING:
    from collections.abc import Iterator
    from xml.etree.ElementTree import Element

    from kb_tools.rules.contract import Subject

ROOT = Path(__file__).parent.parent.parent
SMALL = ROOT / "tests" / "data" / "small"

# Content models of the elements that the export uses, as regular expressions over the names of the
# children, each followed by a space; `text` stands for text. Source: OASIS Standard, DITA Version 1.3
# Part 3, all-inclusive edition, 17 December 2015, the content models of its document types for
# troubleshooting, task, topic and map. No registry package carries the grammar itself, so the models
# are written here by hand, narrowed to the elements of the export.
BLOCKS = "p|ul|ol|note|hazardstatement|lq|simpletable|fig|data"
PHRASES = "text|b|i|codeph|q|xref|ph|data"
FLOW = f"(?:(?:{PHRASES}|{BLOCKS}) )*"
LINE = f"(?:(?:{PHRASES}) )*"
MODELS = {
    "troubleshooting": "title (?:shortdesc )?(?:prolog )?(?:troublebody )?",
    "troublebody": "(?:(?:condition )?(?:troubleSolution )+)?",
    "condition": f"(?:title )?(?:(?:{BLOCKS}) )*",
    "cause": f"(?:title )?(?:(?:{BLOCKS}) )*",
    "troubleSolution": "(?:cause )*(?:remedy )*",
    "remedy": "(?:title )?(?:responsibleParty )?steps ",
    "responsibleParty": FLOW,
    "steps": "(?:data )*(?:step )+",
    "step": "(?:(?:note|hazardstatement) )*cmd (?:(?:choices|info) )*(?:stepresult )?(?:steptroubleshooting )?",
    "cmd": LINE,
    "info": FLOW,
    "stepresult": FLOW,
    "steptroubleshooting": FLOW,
    "choices": "(?:data )*(?:choice )+",
    "choice": FLOW,
    "hazardstatement": "(?:messagepanel )+(?:hazardsymbol )*",
    "messagepanel": "typeofhazard (?:consequence )*(?:howtoavoid )+",
    "typeofhazard": LINE,
    "consequence": LINE,
    "howtoavoid": LINE,
    "prolog": "(?:critdates )?(?:metadata )*",
    "critdates": "created (?:revised )*",
    "created": "",
    "revised": "",
    "metadata": "(?:keywords )*(?:othermeta )*(?:data )*",
    "keywords": "(?:(?:indexterm|keyword) )*",
    "indexterm": LINE,
    "othermeta": "",
    "data": f"(?:(?:{PHRASES}) )*",
    "title": LINE,
    "shortdesc": LINE,
    "p": f"(?:(?:{PHRASES}|{BLOCKS.replace('p|', '', 1)}) )*",
    "ul": "(?:li )+",
    "ol": "(?:li )+",
    "li": FLOW,
    "note": FLOW,
    "lq": FLOW,
    "q": LINE,
    "b": LINE,
    "i": LINE,
    "codeph": LINE,
    "ph": LINE,
    "xref": "(?:(?:text|b|i|codeph|ph|q) )*",
    "fig": f"(?:title )?(?:image |(?:(?:{BLOCKS}|xref) ))*",
    "image": "(?:alt )?",
    "alt": LINE,
    "simpletable": "(?:sthead )?(?:strow )+",
    "sthead": "(?:stentry )+",
    "strow": "(?:stentry )*",
    "stentry": FLOW,
    "task": "title (?:shortdesc )?(?:prolog )?(?:taskbody )?",
    "taskbody": "(?:context )?(?:steps )?",
    "context": FLOW,
    "topic": "title (?:shortdesc )?(?:prolog )?(?:body )?",
    "body": f"(?:(?:{BLOCKS}|section) )*",
    "section": f"(?:(?:{PHRASES}|{BLOCKS}|title) )*",
    "map": "(?:title )?(?:topicmeta )?(?:(?:topicref|topichead) )*",
    "topichead": "(?:topicmeta )?(?:(?:topicref|topichead) )*",
    "topicmeta": "(?:navtitle )?(?:critdates )?(?:metadata )*(?:othermeta )*(?:data )*",
    "navtitle": LINE,
    "topicref": "(?:topicmeta )?(?:topicref )*",
}
ATTRIBUTES = {
    "troubleshooting": {"id", "xml:lang"},
    "task": {"id", "xml:lang"},
    "topic": {"id", "xml:lang"},
    "map": {"xml:lang"},
    "step": {"id", "importance"},
    "section": {"id"},
    "strow": {"id"},
    "xref": {"href", "scope", "format", "type"},
    "image": {"href"},
    "data": {"name", "value"},
    "othermeta": {"name", "content"},
    "note": {"type", "outputclass"},
    "hazardstatement": {"type"},
    "created": {"date"},
    "revised": {"modified"},
    "topicref": {"href", "type"},
}
"""Element -> the attributes that the grammar knows and the export uses."""
TYPES = {"hazardstatement": {"danger", "warning", "caution", "notice"}, "note": {"important"}}
NMTOKEN = re.compile(r"[\w.:-]+")
DOCTYPE = re.compile(r'<!DOCTYPE (\w+) PUBLIC "-//OASIS//DTD DITA (\w+)//EN" "(\w+)\.dtd">')


def subject_of(root: Path) -> Subject:
    """Read a library."""
    return contract.subject_of(load(root), TODAY)


@pytest.fixture(scope="module", params=[ROOT, SMALL], ids=["demo", "small"])
def subject(request: pytest.FixtureRequest) -> Subject:
    """Return the demo library and a small one."""
    return subject_of(request.param)


@pytest.fixture(scope="module")
def files(subject: Subject) -> dict[str, Element]:
    """Return the parsed files of an export."""
    return {name: ET.fromstring(text) for name, text in dita_files(subject).items()}  # noqa: S314 - our own text


def problems(root: Element) -> Iterator[str]:
    """Yield what the grammar does not allow."""
    for element in root.iter():
        parts = ["text"] if (element.text or "").strip() else []
        for child in element:
            parts += [child.tag, *(["text"] if (child.tail or "").strip() else [])]
        if element.tag not in MODELS:
            yield f"{element.tag} is not known"
        elif not re.fullmatch(MODELS[element.tag], "".join(f"{part} " for part in parts)):
            yield f"{element.tag} holds {parts}"
        named = {name.replace("{http://www.w3.org/XML/1998/namespace}", "xml:") for name in element.attrib}
        if extra := named - ATTRIBUTES.get(element.tag, set()):
            yield f"{element.tag} bears {extra}"
        if element.get("type", "") not in TYPES.get(element.tag, {element.get("type", "")}):
            yield f"{element.tag} has the type {element.get('type')}"
        if element.tag == "data" and not element.get("name"):
            yield "data without a name"


def test_every_element_is_where_the_grammar_allows_it(files: dict[str, Element]) -> None:
    """Every file is well-formed, and every element holds and bears only what its content model allows."""
    assert {name: found for name, root in files.items() if (found := list(problems(root)))} == {}


@pytest.mark.parametrize(
    "wrong",
    [
        "<troublebody><condition/></troublebody>",
        "<troubleSolution><remedy><steps/></remedy></troubleSolution>",
        "<step><info/><cmd/></step>",
        "<step><cmd><p>x</p></cmd></step>",
        "<hazardstatement type='peril'><messagepanel><typeofhazard/><howtoavoid/></messagepanel></hazardstatement>",
        "<cause>bare text</cause>",
        "<p align='left'/>",
    ],
)
def test_the_models_refuse_what_is_wrong(wrong: str) -> None:
    """The content models of this file can fail."""
    assert list(problems(ET.fromstring(wrong)))  # noqa: S314 - our own text


def test_documents_say_their_type(subject: Subject) -> None:
    """Each file begins with the public identifier of its root element's document type."""
    for name, text in dita_files(subject).items():
        found = DOCTYPE.search(text)
        assert found, name
        assert found[1] == found[2].lower() == found[3] == ET.fromstring(text).tag  # noqa: S314 - our own text


def test_references_lead_somewhere(files: dict[str, Element], subject: Subject) -> None:
    """Ids are unique tokens, and every reference of topics and map leads to a file, and to an element in it."""
    ids = {
        name: [element.get("id", "") for element in root.iter() if element.get("id")] for name, root in files.items()
    }
    for name, found in ids.items():
        assert all(NMTOKEN.fullmatch(one) for one in found)
        assert max(Counter(found[1:]).values(), default=1) == 1, name
    pictures = {f"../{step.picture}" for _, _, step in subject.library.steps() if step.picture}
    for name, root in files.items():
        for element in root.iter():
            href = element.get("href")
            if href is None or element.get("scope") == "external":
                continue
            if element.tag == "image":
                assert href in pictures
                continue
            file, _, place = href.partition("#")
            target = (Path(name).parent / file).as_posix() if file else name
            target = re.sub(r"^\w+/\.\./", "", target)
            assert target in files, href
            topic, _, inside = place.partition("/")
            assert not place or (topic == ids[target][0] and inside in ids[target][1:]), href
    listed = [one.get("href") for one in files["library.ditamap"].iter("topicref")]
    assert sorted(map(str, listed)) == sorted(name for name in files if name.endswith(".dita"))


def test_the_graph_is_all_there(files: dict[str, Element], subject: Subject) -> None:
    """Read back from the topics, every step has every way of the tree, with its kind, label and target."""
    for tree in subject.library.trees.values():
        if tree.is_draft:
            continue
        root = files[f"trees/{tree.id}.dita"]
        steps = {step.get("id"): step for step in root.iter("step") if step.get("id")}
        assert set(steps) == set(tree.steps)
        for name, step in steps.items():
            ways = subject.graph.nodes[f"{tree.id}/{name}"].ways
            found = [
                *(goal(choice, tree.id) for choice in step.iter("choice")),
                *(goal(part, tree.id) for part in step.iter("steptroubleshooting")),
            ]
            assert found == [way.target for way in ways]
            labels = [choice.text or "" for choice in step.iter("choice")]
            for label, way in zip(labels, ways, strict=False):
                if way.origin:
                    assert label.startswith(way.label)


def goal(element: Element, tree: str) -> str:
    """Return where a reference leads, as `tree/step`."""
    href = next(element.iter("xref")).get("href", "")
    return href.partition("#")[2] or tree


def test_every_text_is_all_there(files: dict[str, Element], subject: Subject) -> None:
    """Questions, plain words, how-to, cautions, fixes, proofs, endings and cases: each text stands in its topic."""
    library = subject.library
    for tree in library.trees.values():
        if tree.is_draft:
            continue
        root = files[f"trees/{tree.id}.dita"]
        shown = squeezed(" ".join(root.itertext()) + " ".join(one.get("value", "") for one in root.iter("data")))
        texts = [tree.title, tree.stop_use, *tree.heard_as, *(case.case for case in tree.cases)]
        for step in tree.steps.values():
            texts += [
                step.say,
                step.how,
                step.confirm,
                step.put_back,
                step.leave,
                step.source,
                step.stop_use,
                *step.bring,
            ]
            texts += [step.live_because, step.controls, step.picture_text]
            texts += [step.text if step.kind != "link" else None]
            texts += [answer.say for answer in step.answers or ()] + [band.say for band in step.bands or ()]
        missing = [text for text in texts if text and squeezed(plain(text)) not in shown]
        assert missing == [], tree.id
    for name, table in library.figures.items():
        shown = squeezed(" ".join(files[f"figures/{name}.dita"].itertext()))
        texts = [table.title, table.note, table.formula, table.disagree]
        for row in table.rows.values():
            texts += [row.title, row.source, row.note, *row.values.values()]
        assert [text for text in texts if text and squeezed(plain(text)) not in shown] == [], name
    for name, proof in library.proofs.items():
        shown = squeezed(" ".join(files[f"proofs/{name}.dita"].itertext()))
        assert all(squeezed(plain(item.item)) in shown for item in proof.items)


def squeezed(text: str) -> str:
    """Return a text without white space: where lines break is not what is asked."""
    return "".join(text.split())


def test_hostile_texts_stay_texts(tmp_path: Path) -> None:
    """Markup, entities and characters that XML cannot hold neither break a file nor become elements."""
    hostile = "</title><b>&amp; ]]> <!-- x --> \"q\" 'q' \uffff"
    findings_of(
        tmp_path,
        {
            "trees/area/hostile.yml": f"title: {hostile!r}\nreviewed: 2026-10-14\nstart: one\nsteps:\n".replace(
                "\\'", "''"
            )
            + "  one: {done: 'Nothing <i>found</i> & more'}\n"
        },
    )
    text = dita_files(subject_of(tmp_path))["trees/hostile.dita"]
    root = ET.fromstring(text)  # noqa: S314 - our own text
    assert not list(problems(root))
    assert "</title><b>&amp; ]]> <!-- x -->" in (root.findtext("title") or "")
    assert "Nothing <i>found</i> & more" in "".join(root.itertext())


def test_written_aside_then_swapped(tmp_path: Path) -> None:
    """An export replaces an earlier one whole, refuses what is none, and leaves nothing beside it."""
    subject = subject_of(SMALL)
    out = tmp_path / "dita"
    export_dita(SMALL, out, subject)
    first = {path.relative_to(out): path.read_bytes() for path in out.rglob("*") if path.is_file()}
    (out / "stray.dita").write_text("old")
    export_dita(SMALL, out, subject)
    assert {path.relative_to(out): path.read_bytes() for path in out.rglob("*") if path.is_file()} == first
    assert [path.name for path in tmp_path.iterdir()] == ["dita"]
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "one.jpg").write_text("dear")
    with pytest.raises(BuildError, match="no export"):
        export_dita(SMALL, tmp_path / "photos", subject)
    assert (tmp_path / "photos" / "one.jpg").read_text() == "dear"
