"""Commands for who keeps a library: start one, its editor schema, what changed."""

from __future__ import annotations

import json
from pathlib import Path

import click
from rich.console import Console

from kb_tools.author.compare import compare as compare_libraries
from kb_tools.author.editions import opened
from kb_tools.author.start import start as start_library
from kb_tools.carriers.export_json import export_schema
from kb_tools.cli._common import existing, library_at, library_option, quiet_option, tell
from kb_tools.model.alike import alike as worded_alike
from kb_tools.model.build import load
from kb_tools.model.schema import FOLDER, ROLES, editor_line, schema_of, write_schemas
from kb_tools.pages.scripts import record_schema
from kb_tools.report import comparison as report
from kb_tools.report.alike import alike_json, alike_text


@click.command()
@quiet_option
@click.argument("role", metavar="[ROLE]", type=click.Choice([*ROLES, "export", "record"]), default=None, required=False)
@click.option("--library", "library_dir", type=click.Path(path_type=Path), help="Offer the ids of the library there.")
@click.option("--out", type=click.Path(path_type=Path), help=f"Without ROLE: where to (default: {FOLDER}/ in it).")
def schema(role: str | None, library_dir: Path | None, out: Path | None) -> None:
    """Print the JSON Schema of a kind of file (tree, hazards, ...), for editors that complete and check YAML.

    ROLE is a kind of file; or `export` for the file that `kb export --to json` writes, or `record`
    for the file of a visit record, as a walk saves it. Without ROLE the schemas of all kinds of file
    are written into the library, where the first line of a tree's file names them; `kb preview` keeps
    their ids up to date.
    """
    if role == "record":
        click.echo(record_schema(), nl=False)
        return
    root = existing(library_dir or Path())
    library = load(root) if library_dir or not role else None
    if role:
        found = export_schema() if role == "export" else schema_of(role, library)
        click.echo(json.dumps(found, indent=2))
        return
    folder = out or root / FOLDER
    changed = write_schemas(folder, library)
    tell(f"{folder}: {len(ROLES)} schemas, {len(changed)} of them new or changed")
    tell(f"First line of a tree's file: {editor_line('trees/area/tree.yml').rstrip()}")


@click.command()
@click.argument("old")
@click.argument("new", default="")
@library_option
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text", help="How to print.")
def compare(old: str, new: str, library_dir: Path, form: str) -> None:
    """Tell what changed between two editions, what got less safe first.

    OLD and NEW are folders of a library, folders of a built site, or revisions in git; NEW left
    out is the library as it stands.
    """
    root = existing(library_dir)
    with opened(old, root) as before, opened(new or str(root), root) as after:
        found = compare_libraries(before, after)
    if form == "json":
        click.echo(json.dumps(report.comparison_json(found), ensure_ascii=False, indent=2))
    else:
        console = Console(highlight=False)
        for line in report.comparison_text(found):
            console.print(line, soft_wrap=True)


@click.command()
@library_option
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text", help="How to print.")
def alike(library_dir: Path, form: str) -> None:
    """Tell which steps of different trees are worded almost alike, so that they could share a body.

    Nothing is wrong with such steps: it is a hint, and `kb check` is silent about it.
    """
    groups = worded_alike(load(library_at(library_dir)))
    if form == "json":
        click.echo(json.dumps(alike_json(groups), ensure_ascii=False, indent=2))
        return
    console = Console(highlight=False)
    for line in alike_text(groups):
        console.print(line, soft_wrap=True)


@click.command()
@quiet_option
@click.argument("folder", type=click.Path(path_type=Path))
def start(folder: Path) -> None:
    """Start a new library in FOLDER: one good tree, shared files and a site."""
    written = start_library(folder)
    tell(f"{len(written)} files written to {folder}. Next:")
    tell(f"  kb check --library {folder}")
    tell(f"  kb build --library {folder}")
    tell("The files for forges install kb-tools by its name; where your registry has none, change KB_TOOLS in them.")
