"""The library as JSON: fits its schema, says all that the files say, and makes the same library again."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
import yaml
from jsonschema import Draft202012Validator

from kb_tools.carriers.export_json import document, export_json, export_schema
from kb_tools.model.build import SHARED_KINDS, load
from kb_tools.rules import contract
from kb_tools.rules.example_files import TODAY

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kb_tools.rules.contract import Subject

ROOT = Path(__file__).parent.parent.parent
SMALL = ROOT / "tests" / "data" / "small"
LIBRARIES = pytest.mark.parametrize("root", [ROOT, SMALL], ids=["demo", "small"])


def subject_of(root: Path) -> Subject:
    """Read a library."""
    return contract.subject_of(load(root), TODAY)


def written_again(data: dict[str, Any], into: Path, content: Path) -> None:
    """Write exported data as the files of a library: every part of it is a file as it stands, since JSON is YAML."""
    shutil.copytree(content, into / "content", ignore=shutil.ignore_patterns("figures"))
    for role in SHARED_KINDS:
        if role in data:
            put(into / "trees" / "shared" / f"{role}.yml", data[role])
    for key, folder in (("tables", "trees/tables"), ("maps", "trees/maps"), ("figures", "content/figures")):
        for name, table in data[key].items():
            put(into / folder / f"{name}.yml", table)
    for name, tree in data["trees"].items():
        put(into / data["computed"][name]["file"], tree)


def put(path: Path, value: object) -> None:
    """Write a value as JSON into a YAML file."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(json.dumps(value, ensure_ascii=False), "utf-8")


@LIBRARIES
def test_it_fits_its_schema(root: Path) -> None:
    """The export is valid by the published schema (JSON Schema 2020-12, itself valid), and a changed key is not."""
    schema = export_schema()
    Draft202012Validator.check_schema(schema)
    data = json.loads(export_json(subject_of(root)))
    problems = [
        f"{list(error.absolute_path)}: {error.message}" for error in Draft202012Validator(schema).iter_errors(data)
    ]
    assert problems == []
    tree = next(iter(data["trees"].values()))
    tree["titel"] = tree.pop("title")
    assert not Draft202012Validator(schema).is_valid(data)


@LIBRARIES
def test_it_makes_the_same_library_again(root: Path, tmp_path: Path) -> None:
    """Exported, written as files, read and exported again, the text is the same to the byte, computed part included."""
    text = export_json(subject_of(root))
    written_again(json.loads(text), tmp_path, root / "content")
    again = subject_of(tmp_path)
    assert not again.library.findings
    assert export_json(again) == text


@LIBRARIES
def test_every_text_of_the_files_is_in_it(root: Path) -> None:
    """Every scalar of every tree file, read by another YAML reader, stands in the export as it was written."""
    data = json.loads(export_json(subject_of(root)))
    for name, tree in data["trees"].items():
        source = yaml.load((root / data["computed"][name]["file"]).read_text("utf-8"), yaml.BaseLoader)  # noqa: S506 - texts only
        kept = set(scalars(tree))
        assert [text for text in scalars(source) if text not in kept] == [], name


def scalars(value: object) -> Iterator[str]:
    """Yield every key and every single value, numbers as they are written in the shortest way."""
    if isinstance(value, dict):
        for key, item in value.items():
            yield str(key)
            yield from scalars(item)
    elif isinstance(value, list):
        for item in value:
            yield from scalars(item)
    else:
        text = {True: "true", False: "false"}[value] if isinstance(value, bool) else str(value)
        try:
            yield f"{float(text):g}"
        except ValueError:
            yield text


def test_computed_part_agrees_with_the_graph() -> None:
    """Every way of every step is there with its target, in its order, and the odds of answers add up to one."""
    subject = subject_of(ROOT)
    data = document(subject)
    for tree, computed in data["computed"].items():
        assert set(computed["steps"]) == set(data["trees"][tree]["steps"])
        for name, step in computed["steps"].items():
            ways = subject.graph.nodes[f"{tree}/{name}"].ways
            assert [(way["label"], way["to"]) for way in step["ways"]] == [(way.label, way.target) for way in ways]
            odds = [way["odds"] for way in step["ways"]]
            if step["kind"] in ("check", "measure") and step["reach"]:
                assert sum(odds) == pytest.approx(1)


def test_equal_sources_give_equal_bytes(kb: str, tmp_path: Path) -> None:
    """Another process, hash seed, day and locale give the same bytes; `--out -` prints them alone."""
    environment = {**os.environ, "PYTHONHASHSEED": "4711", "TZ": "Pacific/Auckland", "LC_ALL": "C"}
    made = []
    for today in ("2026-11-25", "2026-12-24"):
        command = [kb, "export", "--to", "json", "--library", str(SMALL), "--today", today, "--out"]
        printed = subprocess.run([*command, "-"], env=environment, capture_output=True, check=True)
        subprocess.run([*command, str(tmp_path / "out.json")], check=True, capture_output=True)
        made += [printed.stdout, (tmp_path / "out.json").read_bytes()]
    assert len(set(made)) == 1
    assert made[0].decode("utf-8") == export_json(subject_of(SMALL))
