"""The installable web app: manifest, icons and service worker, written into a built site.

Every name is relative to the site's root, so that the app installs from any host under any path.
"""

from __future__ import annotations

import json
from importlib.resources import files
from typing import TYPE_CHECKING

from kb_tools.carriers.icon import png
from kb_tools.pages.words import words_of

if TYPE_CHECKING:
    from pathlib import Path

    from kb_tools.model.entities import Library

WORKER = "sw.js"
MANIFEST = "kb/app.webmanifest"
WALKER = "kb/walker.js"
"""The script of every page, which is told that there is an app."""
_SHORT = 12
"""Longer names are cut under an icon."""
ICON_SIZES = (180, 192, 512)


def write_app(site: Path, library: Library) -> None:
    """Write the app's files into the folder `site`.

    Args:
        site: A built site that has no edition list yet: these files belong to the edition too.
        library: The library; its title stands under the icon.

    """
    title = library.title
    icons = [
        {"src": f"icon-{size}.png", "sizes": f"{size}x{size}", "type": "image/png", "purpose": purpose}
        for size in ICON_SIZES[1:]
        for purpose in ("any", "maskable")
    ]
    manifest = {
        "name": title,
        "short_name": title if len(title) <= _SHORT else words_of(library).say("page.app"),
        "lang": library.language,
        "id": "../index.html",
        "start_url": "../index.html",
        "scope": "../",
        "display": "standalone",
        "background_color": "#ffffff",
        "theme_color": "#102a43",
        "icons": icons,
    }
    folder = site / "kb"
    folder.mkdir(exist_ok=True)
    (site / MANIFEST).write_text(json.dumps(manifest, indent=1, sort_keys=True) + "\n", "utf-8")
    for size in ICON_SIZES:
        (folder / f"icon-{size}.png").write_bytes(png(size))
    # Only a site that has the app asks for it: one of plain MkDocs, or a preview, would ask in vain.
    with (site / WALKER).open("a", encoding="utf-8", newline="\n") as script:
        script.write("faultTrees.installable=true;\n")
    worker = files("kb_tools.carriers") / "worker" / "sw.js"
    (site / WORKER).write_bytes(worker.read_bytes())
