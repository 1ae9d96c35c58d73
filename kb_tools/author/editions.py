"""Open an edition to compare with: a library's folder, a built site, or a revision in git."""

from __future__ import annotations

import io
import subprocess
import tarfile
import tempfile
import zipfile
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

from kb_tools.findings import UsageError
from kb_tools.model.build import load
from kb_tools.source.archive import unpacked
from kb_tools.source.files import CARRIED, TREES

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from kb_tools.model.entities import Library

KEPT = (TREES, "content")


@contextmanager
def opened(name: str, root: Path) -> Iterator[Library]:
    """Give the library of an edition.

    Args:
        name: A folder that holds trees/, a folder of a built site, or a revision in git of `root`.
        root: The library in whose history a revision is looked up.

    Raises:
        UsageError: when `name` is none of the three.

    """
    folder = Path(name)
    # A built site has a folder trees/ too, with its pages: what it was made from says that it is one.
    if (folder / TREES).is_dir() and not (folder / CARRIED).is_file():
        yield load(folder)
        return
    with tempfile.TemporaryDirectory(prefix="kb-edition-") as aside:
        if (folder / CARRIED).is_file():
            _unpack_site(folder / CARRIED, Path(aside))
        elif folder.exists():
            raise UsageError(f"{name} holds neither {TREES}/ nor {CARRIED}; it is no library and no built site")
        else:
            _unpack_revision(name, root, Path(aside))
        yield load(Path(aside))


def _unpack_site(archive: Path, target: Path) -> None:
    try:
        sources = unpacked(archive)
    except (zipfile.BadZipFile, OSError) as error:
        raise UsageError(f"{archive} cannot be read; copy the site anew") from error
    for name, content in sources.items():
        _write(target, name, content)


@contextmanager
def opened_sources(sources: Mapping[str, bytes]) -> Iterator[Library]:
    """Give the library that some files make.

    Args:
        sources: POSIX path below the root -> content.

    """
    with tempfile.TemporaryDirectory(prefix="kb-edition-") as aside:
        for name, content in sources.items():
            _write(Path(aside), name, content)
        yield load(Path(aside))


def _unpack_revision(name: str, root: Path, target: Path) -> None:
    """Write the library's files as they were in a revision."""
    if name.startswith("-"):
        raise UsageError(f"{name} is neither a folder nor a revision")
    # Without names of folders: git refuses one that the revision does not have.
    command = ["git", "-C", str(root), "archive", "--format=tar", name]
    try:
        done = subprocess.run(command, capture_output=True, check=False)  # noqa: S603 - no shell, no option from outside
    except FileNotFoundError as error:
        raise UsageError(
            f"{name} is no folder, and git, which could know it as a revision, is not installed"
        ) from error
    if done.returncode:
        reason = done.stderr.decode("utf-8", "replace").strip().splitlines()
        raise UsageError(f"{name} is no folder and no revision of {root}: {reason[0] if reason else 'git refused'}")
    with tarfile.open(fileobj=io.BytesIO(done.stdout)) as packed:
        for member in packed:
            stream = packed.extractfile(member) if member.isfile() else None
            if stream:
                _write(target, member.name, stream.read())


def _write(target: Path, name: str, content: bytes) -> None:
    """Write a file of an archive below `target`; names that lead elsewhere are passed over."""
    parts = PurePosixPath(name).parts
    if not parts or parts[0] not in KEPT or ".." in parts:
        return
    path = target.joinpath(*parts)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
