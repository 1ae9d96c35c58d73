"""The command `kb`: options, exit codes and everything that is printed.

| code | meaning |
| --- | --- |
| 0 | no errors (with `--strict`: no warnings either) |
| 1 | findings, unreadable or malformed files, an empty library, or a build that failed |
| 2 | wrong options, or a path that does not exist |
"""

from __future__ import annotations

import importlib
import sys


def run() -> None:
    """Run `kb`. Whoever stops it while its modules are still being read is told so, as later on."""
    try:
        main = importlib.import_module(f"{__name__}._main").main  # this takes a moment
    except KeyboardInterrupt:
        sys.stderr.write("\nAborted!\n")
        sys.exit(1)
    main()
