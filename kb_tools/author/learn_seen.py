"""Which records were counted already, in eight bytes each.

Of a record's id 64 bits are kept (BLAKE2b, RFC 7693). Two different ids among n share them with a
chance of about n^2 / 2^65: one in 37 million for a million records; then one of the two is not
counted. Sorted rows are merged whenever one is less than twice as long as the next, so that there
are few; while two are merged both and their sum are there: 16 bytes a record at most.
"""

from __future__ import annotations

from hashlib import blake2b
from typing import TYPE_CHECKING

import numpy as np

from kb_tools.findings import LibraryError

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from numpy.typing import NDArray

_MAGIC = b"kb counted records 1\n"
_SIZE = 8
_KEY = np.dtype("<u8")


class Seen:
    """A set of record ids."""

    def __init__(self) -> None:
        """Begin with none."""
        self._rows: list[NDArray[np.uint64]] = []

    def __len__(self) -> int:
        """Return how many there are."""
        return sum(len(row) for row in self._rows)

    def add(self, ids: Iterable[str]) -> list[bool]:
        """Add ids; return for each whether it was new, the first of equal ones being so."""
        digests = b"".join([blake2b(one.encode(), digest_size=_SIZE).digest() for one in ids])
        keys = np.frombuffer(digests, _KEY)
        ordered, first = np.unique(keys, return_index=True)
        known = np.zeros(len(ordered), bool)
        for row in self._rows:
            known |= _in(ordered, row)
        fresh = np.zeros(len(keys), bool)
        fresh[first[~known]] = True
        self._keep(ordered[~known])
        return list(fresh.tolist())

    def shared_with(self, other: Seen) -> int:
        """Return how many ids stand in both."""
        return sum(int(_in(mine, theirs).sum()) for mine in self._rows for theirs in other._rows)

    def update(self, other: Seen) -> None:
        """Add all ids of another set."""
        for row in other._rows:
            known = np.zeros(len(row), bool)
            for mine in self._rows:
                known |= _in(row, mine)
            self._keep(row[~known])

    def _keep(self, row: NDArray[np.uint64]) -> None:
        """Take a sorted row of keys that are not there yet."""
        if not len(row):
            return
        rows = self._rows
        rows.append(row)
        while len(rows) > 1 and len(rows[-2]) < 2 * len(rows[-1]):
            merged = np.concatenate((rows.pop(), rows.pop()))
            merged.sort()
            rows.append(merged)

    def packed(self) -> bytes:
        """Return the set as it is kept in a file."""
        keys = np.concatenate([*self._rows, np.empty(0, _KEY)])
        keys.sort()
        return _MAGIC + keys.astype(_KEY).tobytes()

    @classmethod
    def read(cls, path: Path) -> Seen:
        """Return the set that a file holds.

        Raises:
            LibraryError: when the file cannot be read, or is another one.

        """
        try:
            raw = path.read_bytes()
        except OSError as error:
            raise LibraryError(f"{path} cannot be read: {error.strerror or error}") from error
        keys = np.frombuffer(raw[len(_MAGIC) :], _KEY) if (len(raw) - len(_MAGIC)) % _SIZE == 0 else np.empty(0, _KEY)
        if (
            not raw.startswith(_MAGIC)
            or len(keys) * _SIZE + len(_MAGIC) != len(raw)
            or bool((keys[1:] <= keys[:-1]).any())
        ):
            raise LibraryError(f"{path} is no list of counted records that `kb learn --seen` wrote; name another file")
        seen = cls()
        seen._keep(keys)
        return seen


def _in(keys: NDArray[np.uint64], row: NDArray[np.uint64]) -> NDArray[np.bool_]:
    """Return which of some sorted keys stand in a sorted row."""
    at = np.searchsorted(row, keys)
    at[at == len(row)] = 0
    found: NDArray[np.bool_] = row[at] == keys
    return found
