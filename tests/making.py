"""Make small libraries for tests: in memory from parts, or on disk from texts."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kb_tools.findings import Place
from kb_tools.model.build import load
from kb_tools.model.entities import Answer, Hazard, Library, Proof, Step, Tree
from kb_tools.model.values import Word
from kb_tools.rules import contract
from kb_tools.rules.example_files import BASE, TODAY

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from kb_tools.findings import Finding

FILE = "trees/area/made.yml"
HERE = Place(FILE)


def word(text: str, file: str = FILE) -> Word:
    """Return a text that says it stands at the start of `file`."""
    made = Word(text)
    made.file, made.line, made.column = file, 1, 1
    return made


def words(texts: Iterable[str]) -> tuple[Word, ...]:
    """Return texts as `word` makes them."""
    return tuple(word(text) for text in texts)


def answer(to: str, label: str = "Yes", **keys: Any) -> Answer:  # noqa: ANN401 - as the entity's keys
    """Return an answer; lists of ids are given as lists of text."""
    return Answer(HERE, word(label), word(to), **{key: _kept(value) for key, value in keys.items()})


def step(kind: str, **keys: Any) -> Step:  # noqa: ANN401 - as the entity's keys
    """Return a step of a kind; texts and lists of text become words."""
    made = Step(HERE, **{key: _kept(value) for key, value in keys.items()})
    made.kind, made.text = kind, word(f"A {kind}")
    return made


def _kept(value: Any) -> Any:  # noqa: ANN401 - a text, texts, or what is neither
    if isinstance(value, str):
        return word(value)
    if isinstance(value, list | set | frozenset) and all(isinstance(item, str) for item in value):
        return words(sorted(value))
    return value


def tree(name: str, start: str, steps: Mapping[str, Step]) -> Tree:
    """Return a tree."""
    made = Tree(HERE, word(name), word(start), {word(key): value for key, value in steps.items()})
    made.id, made.file = name, FILE
    return made


def library(
    trees: Iterable[Tree],
    hazards: Mapping[str, bool] | None = None,
    proofs: Mapping[str, Iterable[str]] | None = None,
) -> Library:
    """Return a library.

    Args:
        trees: Its trees.
        hazards: Hazard -> whether its isolation must be confirmed.
        proofs: Proof -> the hazards whose power it needs.

    """
    made = Library(Path(), {one.id: one for one in trees})
    for name, confirm in (hazards or {}).items():
        made.hazards[word(name)] = Hazard(HERE, word(name), word("how"), word("back"), confirm=confirm)
    for name, needs in (proofs or {}).items():
        made.proofs[word(name)] = Proof(HERE, word(name), needs=words(needs))
    return made


def findings_of(root: Path, files: Mapping[str, str] | None = None, base: Path | None = BASE) -> list[Finding]:
    """Write a library below `root` and check it, on the day on which examples are judged.

    Args:
        root: An empty folder.
        files: POSIX path -> text, put beside or in place of those of `base`.
        base: A library to start from: that of the rules' examples, another one, or none.

    """
    if base is not None:
        shutil.copytree(base, root, dirs_exist_ok=True)
    for name, text in (files or {}).items():
        path = root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8", newline="\n")
    return contract.run(contract.subject_of(load(root), TODAY))


def listed(findings: Iterable[Finding]) -> str:
    """Return findings as lines, for a failing test's message."""
    return "\n".join(f"{one.place} {one.rule} {one.message} {one.path}" for one in findings)
