"""Ending a browser at once, as a power cut would; Linux only."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

from browser.browsing import WAIT, CannotDoError

_PROCESSES = Path("/proc")
_POLL = 0.05


def kill_processes_naming(profile: Path) -> None:
    """Kill the browser that runs on a profile's folder and wait until it is gone.

    Raises:
        CannotDoError: This is no Linux.

    """
    if not (_PROCESSES / "self" / "cmdline").exists():
        raise CannotDoError("A browser can be killed on Linux only")
    for process in _naming(profile):
        os.kill(process, signal.SIGKILL)
    end = time.monotonic() + WAIT
    while _naming(profile) and time.monotonic() < end:
        time.sleep(_POLL)


def _naming(profile: Path) -> list[int]:
    """Return the processes, other than this one, that have a profile's folder among their arguments."""
    wanted = {os.fsencode(profile), b"--user-data-dir=" + os.fsencode(profile)}
    numbers = [int(entry.name) for entry in _PROCESSES.iterdir() if entry.name.isdecimal()]
    return [number for number in numbers if number != os.getpid() and wanted & _arguments(number)]


def _arguments(process: int) -> set[bytes]:
    try:
        return set((_PROCESSES / str(process) / "cmdline").read_bytes().split(b"\0"))
    except OSError:  # it has ended meanwhile, or is somebody else's
        return set()
