"""Pages that show runs of commands show what the commands print; `make accept-gold` writes them anew."""

from __future__ import annotations

import re
from pathlib import Path

import click
import pytest

from commands import leaves, page_name
from doc_runs import shown
from kb_tools.cli._main import main

ROOT = Path(__file__).parent.parent
CONTENT = ROOT / "content"
COMMANDS = CONTENT / "commands"
KIT = ROOT / "tests" / "data" / "docs"
PAGES = [path for path in sorted(CONTENT.rglob("*.md")) if "```console" in path.read_text("utf-8")]
OPTIONS = re.compile(r"(?<=<!-- generated: options -->\n).*?(?=<!-- end -->)", re.DOTALL)


LEAVES = leaves()


def escaped(text: str) -> str:
    """Return a text as it can stand in a cell of a Markdown table."""
    return text.replace("|", r"\|")


def option_table(name: str, command: click.Command) -> str:
    """Return what a command takes: usage, then its options in a table."""
    group = click.Context(main, info_name="kb", **main.context_settings)
    context = click.Context(command, info_name=name, parent=group)
    # Whoever runs a command first settles the names of its help option, with its group or without.
    helps = (", ".join(context.help_option_names), "Show this message and exit.")
    usage = " ".join(["kb", name, *command.collect_usage_pieces(context)])
    records = [record for param in command.params if (record := param.get_help_record(context))] + [helps]
    rows = [
        "| " + " | ".join(part.replace("|", r"\|") for part in (f"`{what}`", told)) + " |"
        for what, told in records
        if told
    ]
    table = "\n".join(["| option | meaning |", "| --- | --- |", *rows])
    return f"\n```text\n{usage}\n```\n\n{table}\n\n"


def page_of(name: str) -> Path:
    """Return where a command's page stands."""
    return COMMANDS / page_name(name)


def with_options(page: Path, text: str) -> str:
    """Return a page's text with the options of its command as they are; of another page, its text."""
    found = next(((name, command) for name, command in LEAVES if page_of(name) == page), None)
    return OPTIONS.sub(lambda _: option_table(*found), text) if found else text


@pytest.mark.parametrize("page", PAGES, ids=lambda path: path.relative_to(CONTENT).as_posix())
@pytest.mark.gold
@pytest.mark.timeout(300)
def test_runs_on_a_page_are_real(request: pytest.FixtureRequest, page: Path, kb: str, tmp_path: Path) -> None:
    """Each command that a page shows is run, in order, and prints what the page says."""
    text = page.read_text("utf-8")
    fresh = shown(with_options(page, text), tmp_path, kb, KIT)
    if request.config.getoption("accept_gold"):
        page.write_text(fresh, "utf-8")
        return
    assert fresh == text, f"{page.relative_to(ROOT)} is stale; make accept-gold writes it anew"


@pytest.mark.parametrize("name", [name for name, _ in LEAVES])
def test_every_command_has_its_page(name: str) -> None:
    """A command's page is there, tells its usage and all its options as they are, and shows a run of it."""
    page = page_of(name)
    assert page.is_file(), f"write {page.relative_to(ROOT)}: what it is for, its options, a run"
    text = page.read_text("utf-8")
    assert re.search(rf"^\$ (?:.* )?kb {name}\b", text, re.MULTILINE), "the page shows no run of its command"
    assert OPTIONS.search(text), "the page has no part for the options"
    assert with_options(page, text) == text, f"{page.relative_to(ROOT)} is stale; make accept-gold writes it anew"
