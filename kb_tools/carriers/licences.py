"""The licence notices of what a built site contains."""

from __future__ import annotations

from importlib.metadata import Distribution, PackageNotFoundError, distribution, entry_points

OURS = "kb-tools"
_NAMES = ("licen", "copying", "notice")


def licences(theme: str) -> str:
    """Return the notices of the theme and of this package as one text.

    Args:
        theme: Name of the theme whose styles, scripts and icons the site carries.

    """
    carried = [found for found in (_of_theme(theme), _of(OURS)) if found]
    parts = ["This site contains files of the packages below; each comes under the notice that follows its name.\n"]
    for package in carried:
        name = f"{package.metadata['Name']} {package.version}"
        notices = _notices(package) or [f"Licence: {package.metadata['License-Expression'] or 'see the package'}\n"]
        parts += ["=" * 72 + f"\n{name}\n" + "=" * 72 + "\n", *notices]
    return "\n".join(parts)


def _of_theme(theme: str) -> Distribution | None:
    """Return the package that ships the theme."""
    return next((entry.dist for entry in entry_points(group="mkdocs.themes", name=theme) if entry.dist), None)


def _of(name: str) -> Distribution | None:
    try:
        return distribution(name)
    except PackageNotFoundError:
        # Run from its source folder: nothing is installed that could be asked.
        return None


def _notices(package: Distribution) -> list[str]:
    """Return the texts of the package's licence files, in the order of their names."""
    found = {
        str(file): file.read_text("utf-8")
        for file in package.files or ()
        if ".dist-info" in str(file) and file.name.lower().startswith(_NAMES)
    }
    return [found[name] for name in sorted(found)]
