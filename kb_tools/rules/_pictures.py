"""The pictures of a library, as they lie on disk below content/."""

from __future__ import annotations

import os
from functools import cached_property
from pathlib import Path, PurePosixPath

from kb_tools.model.records import nearest
from kb_tools.source.files import CONTENT, PICTURES


class Pictures:
    """Tells whether a picture that a step names is there; looks at the disk once."""

    def __init__(self, root: Path) -> None:
        """Look below `root`/content."""
        self._folder = root / CONTENT

    @cached_property
    def _files(self) -> dict[str, Path]:
        """Every file below content/: POSIX path relative to it -> path on disk."""
        return {
            Path(folder, name).relative_to(self._folder).as_posix(): Path(folder, name)
            for folder, _, names in os.walk(self._folder)
            for name in names
        }

    def problem_with(self, picture: str) -> tuple[str, str] | None:
        """Return what is wrong with the path `picture` and how to mend it, or None."""
        problem = _form(picture)
        if problem:
            return problem
        path = self._files.get(picture)
        if path is None:
            close = nearest(picture, self._files)
            wanted = f"Did you mean `{close}`?" if close else "Put the file there"
            return f"There is no file `{picture}` below {CONTENT}/", wanted
        if not path.resolve().is_relative_to(self._folder.resolve()):
            return (
                f"The picture `{picture}` is a link that leads out of {CONTENT}/",
                "Put the file itself there",
            )
        return None


def _form(picture: str) -> tuple[str, str] | None:
    """Return what is wrong with the way a path is written."""
    inside = f"Name a file below {CONTENT}/, for instance pictures/plug.svg"
    parts = PurePosixPath(picture).parts
    if "\\" in picture:
        return f"The path `{picture}` has a backslash in it", "Write it with slashes: pictures/plug.svg"
    if ":" in picture or picture.startswith("//"):
        return f"The picture `{picture}` does not lie in the library", inside
    if picture.startswith(("/", "~")) or ".." in parts:
        return f"The path `{picture}` leads out of {CONTENT}/", inside
    if not picture.casefold().endswith(PICTURES):
        return f"`{picture}` is no picture", f"Name a file that ends in {', '.join(PICTURES)}"
    return None
