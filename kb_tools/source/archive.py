"""The files of a library in one archive, which a built site carries so that editions can be compared."""

from __future__ import annotations

import io
import zipfile
from typing import TYPE_CHECKING

from kb_tools.source.files import list_files

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

_TIME = (1980, 1, 1, 0, 0, 0)


def sources_of(root: Path) -> dict[str, bytes]:
    """Return the files of the library below `root`: POSIX path -> content, in the order of names."""
    return {file.name: file.path.read_bytes() for file in list_files(root).files}


def packed(sources: Mapping[str, bytes]) -> bytes:
    """Return files as one archive; names, order and times are the same for the same files, and so is the archive."""
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in sorted(sources.items()):
            entry = zipfile.ZipInfo(name, _TIME)
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, content)
    return whole.getvalue()


def unpacked(archive: Path) -> dict[str, bytes]:
    """Return the files of an archive.

    Raises:
        OSError: when it cannot be read.
        zipfile.BadZipFile: when it is none, or damaged.

    """
    with zipfile.ZipFile(archive) as opened:
        return {entry.filename: opened.read(entry) for entry in opened.infolist() if not entry.is_dir()}
