"""One process owns a shop folder at a time.

The lock is held on a file of its own, never on the database: opening and closing that file anywhere in the
process would silently give its lock away.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

from ingest.problems import ShopBusy


class FolderLock:
    """The lock on a shop folder, held from `acquire` until `release` or the end of the process."""

    def __init__(self, run: Path) -> None:
        self._path = run / "lock"
        self._owner = run / "owner"
        self._handle: int | None = None

    def acquire(self) -> None:
        """Take the lock.

        Raises
        ------
        ShopBusy
            Another process, or another part of this one, holds it.
        """
        self._path.parent.mkdir(parents=True, exist_ok=True)
        handle = os.open(self._path, os.O_RDWR | os.O_CREAT, 0o644)
        try:
            _lock(handle)
        except OSError:
            os.close(handle)
            raise ShopBusy(str(self._path.parent.parent), self.owner()) from None
        self._handle = handle
        self._owner.write_text(str(os.getpid()), encoding="ascii")

    def owner(self) -> int | None:
        """Process that last took the lock, as it wrote itself down."""
        try:
            return int(self._owner.read_text(encoding="ascii"))
        except (OSError, ValueError):
            return None

    def release(self) -> None:
        """Give the lock back; does nothing when it is not held."""
        if self._handle is not None:
            self._owner.unlink(missing_ok=True)
            os.close(self._handle)
            self._handle = None


if sys.platform == "win32":
    import msvcrt

    def _lock(handle: int) -> None:
        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
else:
    import fcntl

    def _lock(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
