"""Write files aside, then swap: at any moment the old files or the new ones are there.

One file is swapped by the file system itself. Several files are first written into a folder aside,
beside a list of where they belong; giving that folder its name is the moment of the change. From
then on the new files hold, and whoever is stopped while putting them in place (a kill, a power
cut) leaves some new and some old files and the folder `trees/.kb-change` with all of the new ones:
`finish` puts the rest in place, and every command that reads a library calls it first. Who is
stopped before that moment leaves the old files, and a folder `trees/.kb-change-...` that nobody
reads and the next change removes.
"""

from __future__ import annotations

import json
import os
import shutil
import tempfile
import time
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

from kb_tools.findings import LibraryError
from kb_tools.source.files import TREES

if TYPE_CHECKING:
    from collections.abc import Mapping

CHANGE = ".kb-change"
"""The folder below trees/ that holds a change of several files until all are in place."""
_LIST = "files.json"
_LEFT_BEHIND = 3600.0
"""Seconds after which an unfinished folder is nobody's work any more."""


def write_whole(path: Path, text: str | bytes) -> None:
    """Write `text` to `path`, as UTF-8 where it is no bytes, at once or not at all.

    Raises:
        LibraryError: when it cannot be written; what was there stays.

    """
    aside = ""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, aside = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
        with os.fdopen(handle, "wb") as stream:
            stream.write(text.encode("utf-8") if isinstance(text, str) else text)
            stream.flush()
            os.fsync(stream.fileno())
        Path(aside).chmod(path.stat().st_mode & 0o777 if path.exists() else 0o644)
        Path(aside).replace(path)
    except OSError as error:
        if aside:
            Path(aside).unlink(missing_ok=True)
        raise LibraryError(f"{path} cannot be written: {error.strerror or error}; nothing was changed") from error


def write_all(root: Path, texts: Mapping[str, str | None]) -> None:
    """Change several files of a library together.

    Args:
        root: The folder that holds trees/.
        texts: POSIX path below `root` -> the new text; None removes the file.

    Raises:
        LibraryError: when it cannot be written; all files are as they were, unless the message says
            that the change is under way: then the next command ends it.

    """
    finish(root)
    if len(texts) == 1 and None not in texts.values():
        ((name, text),) = texts.items()
        write_whole(root / name, text or "")
        return
    _sweep(root)
    aside = ""
    try:
        aside = tempfile.mkdtemp(prefix=f"{CHANGE}-", dir=root / TREES)
        listed = []
        for number, (name, text) in enumerate(texts.items()):
            listed.append({"name": name, "kept": None if text is None else f"{number}"})
            if text is not None:
                _write(Path(aside) / f"{number}", text)
        _write(Path(aside) / _LIST, json.dumps(listed))
        Path(aside).rename(root / TREES / CHANGE)
    except OSError as error:
        if aside:
            shutil.rmtree(aside, ignore_errors=True)
        raise LibraryError(f"{root / TREES}: {error.strerror or error}; nothing was changed") from error
    finish(root)


def finish(root: Path) -> None:
    """Put in place what a change left that was stopped half-way; without one, do nothing.

    Args:
        root: The folder that holds trees/.

    Raises:
        LibraryError: when it cannot be put in place; it is kept for the next try.

    """
    change = root / TREES / CHANGE
    # Unlike Path.is_dir, os.path.isdir is False, and raises nothing, below a folder without permission.
    if not os.path.isdir(change):  # noqa: PTH112
        return
    try:
        listed = json.loads((change / _LIST).read_text("utf-8"))
        if not isinstance(listed, list):
            raise ValueError("its list is none")  # noqa: TRY301, TRY004 - told below, like any damage
        for entry in listed:
            path = root / _below(entry["name"])
            if entry["kept"] is None:
                path.unlink(missing_ok=True)
                if not any(path.parent.iterdir()):
                    path.parent.rmdir()
            else:
                write_whole(path, (change / entry["kept"]).read_bytes().decode("utf-8"))
        # Away from its name first: a folder that is half removed must not be read as a change.
        gone = Path(tempfile.mkdtemp(prefix=f"{CHANGE}-", dir=root / TREES))
        change.rename(gone / CHANGE)
        shutil.rmtree(gone, ignore_errors=True)
    except (OSError, ValueError, KeyError, TypeError, LibraryError) as error:
        raise LibraryError(
            f"{change} holds a change that was stopped half-way and cannot be ended: {error}. Make the library's "
            "files writable and try again; the folder holds the new files, and removing it keeps what lies there now"
        ) from error


def _below(name: str) -> str:
    """Return a path of a list, if it leads below the library."""
    path = PurePosixPath(name)
    if path.is_absolute() or ".." in path.parts:
        raise ValueError(f"{name} leads out of the library")
    return name


def _write(path: Path, text: str) -> None:
    with path.open("w", encoding="utf-8", newline="") as stream:
        stream.write(text)
        stream.flush()
        os.fsync(stream.fileno())


def _sweep(root: Path) -> None:
    """Remove what changes left that were stopped before anything was changed, a while ago."""
    for left in (root / TREES).glob(f"{CHANGE}-*"):
        if time.time() - left.stat().st_mtime > _LEFT_BEHIND:
            shutil.rmtree(left, ignore_errors=True)
