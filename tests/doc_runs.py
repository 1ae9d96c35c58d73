"""Runs of commands that documentation shows: a page's console blocks are run, one after the other, and compared.

A block that is fenced as `console` holds lines that begin with `$ `, each followed by what the command
printed. A comment `<!-- unseen: COMMAND -->` is run as well and shows nothing. A page runs from top to
bottom in one empty folder; `$KIT` there is the folder of the files that pages need (tests/data/docs).
"""

from __future__ import annotations

import os
import re
import subprocess
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

_PART = re.compile(r"^```console\n(?P<block>.*?)^```$|^<!-- unseen: (?P<unseen>.*?) -->$", re.MULTILINE | re.DOTALL)
_VOLATILE = [
    # What changes with each change of ours, and tells a reader nothing: fingerprints and sizes of what was built.
    (re.compile(r"\bedition [0-9a-f]{12}\b"), "edition 3f9a6c0d81b2"),
    (re.compile(r"(?<=edition \d of )(.*?)\(([0-9a-f]{12})\)"), r"\1(3f9a6c0d81b2)"),
    (re.compile(r"\b\d+ files\b(?=[,:])"), "32 files"),
    (re.compile(r"\b\d+(\.\d+)? MB\b"), "0.5 MB"),
    (re.compile(r"\b\d+ KB\b"), "130 KB"),
]
_LIMIT = 120


def shown(text: str, folder: Path, kb: str, kit: Path) -> str:
    """Return a page's text with what its commands print now.

    Args:
        text: The page, in Markdown.
        folder: An empty folder to run in.
        kb: The command under test; pages call it `kb`.
        kit: The folder of the files that the pages need.

    """
    shell = _Shell(folder, kb, kit)

    def run(match: re.Match[str]) -> str:
        if match["unseen"]:
            status, output = shell.run(match["unseen"])
            assert status == 0, f"{match['unseen']} ended with {status}:\n{output}"
            return match[0]
        commands = [line[2:] for line in match["block"].splitlines() if line.startswith("$ ")]
        return "```console\n" + "".join(f"$ {command}\n{shell.run(command)[1]}" for command in commands) + "```"

    blocks = sum(1 for match in _PART.finditer(text) if match["block"] is not None)
    assert blocks == text.count("```console"), "a console block does not end on a line of its own, so it is not run"
    return _PART.sub(run, text)


class _Shell:
    """Runs commands one after the other as one shell would: the folder stays where `cd` led."""

    def __init__(self, folder: Path, kb: str, kit: Path) -> None:
        self._home = self._here = folder
        bin_folder = os.path.dirname(kb)  # noqa: PTH120 - a path from the environment, not to be resolved
        self._env = {
            **{name: value for name, value in os.environ.items() if not name.startswith("GIT_")},
            "PATH": f"{bin_folder}{os.pathsep}{os.environ['PATH']}",
            "HOME": str(folder),
            # The drawing engine's machine code stays where it was.
            "XDG_CACHE_HOME": os.environ.get("XDG_CACHE_HOME") or str(type(folder).home() / ".cache"),
            "KIT": str(kit),
            "COLUMNS": "100",
            "GIT_AUTHOR_NAME": "author",
            "GIT_AUTHOR_EMAIL": "author@example.org",
            "GIT_COMMITTER_NAME": "author",
            "GIT_COMMITTER_EMAIL": "author@example.org",
            "LC_ALL": "C.UTF-8",
        }

    def run(self, command: str) -> tuple[int, str]:
        done = subprocess.run(
            ["/bin/bash", "-c", f'{command}\nstatus=$?; pwd > "$HOME/.here"; exit $status'],
            cwd=self._here,
            env=self._env,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            timeout=_LIMIT,
            check=False,
        )
        self._here = type(self._home)((self._home / ".here").read_text("utf-8").strip())
        output = done.stdout.replace(f"{self._home}/", "").replace(str(self._home), ".")
        for pattern, instead in _VOLATILE:
            output = pattern.sub(instead, output)
        return done.returncode, output if output.endswith("\n") or not output else f"{output}\n"
