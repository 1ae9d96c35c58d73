"""What the commands share that hand a library to technicians: nothing that got less safe goes out unsaid."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click
from rich.console import Console

from kb_tools.author.compare import Comparison
from kb_tools.author.publish import publication
from kb_tools.findings import BuildError
from kb_tools.report.comparison import comparison_text

if TYPE_CHECKING:
    from pathlib import Path

    from kb_tools.author.publish import Publication
    from kb_tools.model.entities import Library

since_option = click.option(
    "--since", default="", metavar="OLD", help="Compare with this folder, site or git revision instead."
)


accept_option = click.option(
    "--accept", "reason", default="", metavar="REASON", help="Publish although it got less safe, and say why."
)


def accepted(root: Path, library: Library, site: Path, since: str, reason: str) -> Publication:
    """Return what there is to say of an edition; print what got less safe and nobody accepted, and stop.

    Args:
        root: The folder that holds trees/.
        library: The library of `root`.
        site: The folder of the site; one that stands there is the last edition.
        since: What to compare with in its place; empty: nothing else.
        reason: Why what got less safe is accepted; blank: it is not.

    Raises:
        BuildError: when something got less safe and is not accepted.
        UsageError: when `since` names nothing.

    """
    told = publication(root, library, site, since, reason.strip())
    if told.open:
        console = Console(highlight=False, stderr=True)
        for line in comparison_text(Comparison(told.open)):
            console.print(line, soft_wrap=True)
        raise BuildError(
            "The library got less safe. Mend it, or say why it may be so: --accept REASON; "
            "nothing was built and what was there is untouched"
        )
    return told
