"""What files that could not be read may name: nothing may follow from their silence."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from kb_tools.model.entities import Library


def named_in_broken_files(key: str, library: Library) -> bool:
    """Tell whether a file or folder that could not be read may name the step `key` (`tree/step`)."""
    for name in library.broken:
        path = library.root / name
        try:
            if path.is_symlink() or not path.is_file() or key.encode() in path.read_bytes():
                return True
        except OSError:
            return True
    return False


def is_broken(shelf: str, name: str, library: Library) -> bool:
    """Tell whether the file of a tree or map is there and could not be read."""
    stems = (f"/{name}.yml", f"/{name}.yaml")
    inside_maps = shelf == "maps"
    return any(file.endswith(stems) and file.startswith("trees/maps/") == inside_maps for file in library.broken)
