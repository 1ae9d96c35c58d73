"""Run `kb` in children that are killed: a line of stdin is what to do, as JSON; a line of stdout, what came of it.

Everything is imported once; each child is a fork that works in a fresh copy of a library. The first
one of a line is left alone, and the changes that it makes in the file system are counted. Of the others some
are killed before one of these changes, from inside, and the rest from outside, at a given share of
the time that the first one took.
"""

from __future__ import annotations

import io
import json
import os
import signal
import sys
import time
from importlib import import_module
from typing import Any

import click

from kb_tools.cli import helping
from kb_tools.cli._main import main
from kb_tools.model.units import unit_of
from kb_tools.pages.layout import layout

CHANGES = {"os.rename", "os.remove", "os.rmdir", "os.mkdir", "shutil.rmtree", "shutil.copyfile"}
WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT


READ_BEFORE = [
    *helping.leaves(main, click.Context(main)),
    import_module("kb_tools.pages.mkdocs_plugin"),
    import_module("mkdocs.commands.build"),
    unit_of("V"),
    layout("digraph { a -> b }"),
]
"""Every command, what builds a site, the units and the drawer, so that each is read here and not in each child."""


def watch(limit: int, tell: int) -> None:
    """Kill this process before its `limit`-th change of the file system; 0: write a byte to `tell` for each."""
    done = 0

    def hook(event: str, arguments: tuple[Any, ...]) -> None:
        nonlocal done
        writes = event == "open" and isinstance(arguments[2], int) and arguments[2] & WRITING
        if event in CHANGES or (writes and not str(arguments[0]).startswith("/dev")):
            done += 1
            if not limit:
                os.write(tell, b".")
            elif done == limit:
                os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(hook)


def run(
    folder: str, command: list[str], limit: int | None = None, after: float | None = None
) -> tuple[int, float, int]:
    """Run a command in a child.

    Returns:
        By which signal it was ended, or 0; the seconds that it took; the changes that it made, if counted.

    """
    started = time.monotonic()
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        os.chdir(folder)
        sys.stdout = sys.stderr = io.StringIO()
        if limit is not None:
            watch(limit, write)
        try:
            main(command)
        except SystemExit as done:
            os._exit(0 if done.code in (0, None, 1) else 3)
        os._exit(4)
    os.close(write)
    if after is not None:
        time.sleep(after)
        os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    with os.fdopen(read, "rb") as told:
        changes = len(told.read())
    if os.WIFEXITED(status) and os.WEXITSTATUS(status):
        raise SystemExit(f"{command} failed in {folder}")
    return os.WTERMSIG(status) if os.WIFSIGNALED(status) else 0, time.monotonic() - started, changes


def moment(number: int, kills: int, changes: int) -> int:
    """Return before which change, from 1, the `number`-th kill comes: evenly, from the first to the last one.

    Of very many changes an early one counts, which leaves the old files, the last ones, which put files in
    place, and one about the middle.
    """
    if changes > 4 * kills:
        return {0: 1 + changes // 8, 1: changes, 2: changes // 2}.get(number, changes - number + 2)
    return 1 + number * (changes - 1) // (kills - 1)


def killed(asked: dict[str, Any]) -> dict[str, Any]:
    """Run the first child, then the ones that are killed."""
    command, (first, *folders) = asked["command"], asked["folders"]
    _, seconds, changes = run(first, command, limit=0)
    told = []
    inside = len(folders) - len(asked["shares"])
    for number, folder in enumerate(folders):
        if number < inside:
            limit = moment(number, inside, changes)
            ended, *_ = run(folder, command, limit=limit)
        else:
            ended, *_ = run(folder, command, after=asked["shares"][number - inside] * seconds)
        told.append(bool(ended))
    return {"killed": told, "changes": changes}


if __name__ == "__main__":
    for line in sys.stdin:
        print(json.dumps(killed(json.loads(line))), flush=True)  # noqa: T201 - what the test reads
