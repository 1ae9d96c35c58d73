"""Start a new library: one good tree, shared files, a site, and files for two forges and pre-commit."""

from __future__ import annotations

import shutil
import tempfile
from importlib.resources import as_file, files
from pathlib import Path

from kb_tools.findings import LibraryError
from kb_tools.model.build import load
from kb_tools.model.schema import FOLDER, editor_line, write_schemas
from kb_tools.source.writing import write_whole

RENAMED = {
    "pre-commit-config.yml": ".pre-commit-config.yaml",
    "github-workflow.yml": ".github/workflows/trees.yml",
    "gitlab-ci.yml": ".gitlab-ci.yml",
    "gitignore": ".gitignore",
}
"""Files that would act on our own repository under their real names."""


def start(folder: Path) -> list[Path]:
    """Write a new library into `folder`, which must not exist or be empty.

    Returns:
        The files written, relative to `folder`.

    Raises:
        LibraryError: when something is there already; nothing is changed then.

    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise LibraryError(f"{folder} is not empty. Name a new folder; nothing was changed.")
    folder = folder.resolve()
    folder.parent.mkdir(parents=True, exist_ok=True)
    aside = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    try:
        with as_file(files("kb_tools.author") / "starter") as starter:
            for source in sorted(path for path in starter.rglob("*") if path.is_file()):
                name = source.relative_to(starter).as_posix()
                target = aside / RENAMED.get(name, name)
                target.parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(source, target)
                if name.startswith("trees/"):
                    write_whole(target, editor_line(name) + target.read_text("utf-8"))
        write_schemas(aside / FOLDER, load(aside))
        aside.chmod(0o755)
        if folder.exists():
            # Somebody may stand in it (`kb start .`), so it is filled and not replaced.
            for made in sorted(aside.iterdir()):
                made.replace(folder / made.name)
            aside.rmdir()
        else:
            aside.replace(folder)
    except BaseException:
        shutil.rmtree(aside, ignore_errors=True)
        raise
    return sorted(path.relative_to(folder) for path in folder.rglob("*") if path.is_file())
