"""A lock between processes that the system lets go when its holder ends, however it ends."""

from __future__ import annotations

import contextlib
import os
import sys
import time
from pathlib import Path

LOOK_EVERY_S = 0.01


class FileLock:
    """The right to something, held by an open file at `path`; the file's contents mean nothing."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._handle: int | None = None

    def take(self, wait_s: float = 0.0) -> bool:
        """Take the lock, if need be after waiting; False where another holds it or the disk knows no locks."""
        if self._handle is not None:
            return True
        last = time.monotonic() + wait_s
        while not self._taken():
            if time.monotonic() >= last:
                return False
            time.sleep(LOOK_EVERY_S)
        return True

    def release(self, *, remove: bool = False) -> None:
        """Let the lock go, and take its file away with it where nobody will ask for it again."""
        if self._handle is None:
            return
        if remove:
            with contextlib.suppress(OSError):
                self.path.unlink()
        os.close(self._handle)
        self._handle = None

    def _taken(self) -> bool:
        try:
            handle = os.open(self.path, os.O_RDWR | os.O_CREAT, 0o600)
        except OSError:
            return False
        try:
            _lock(handle)
        except OSError:
            os.close(handle)
            return False
        self._handle = handle
        return True


if sys.platform == "win32":
    import msvcrt

    def _lock(handle: int) -> None:
        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)

else:
    import fcntl

    def _lock(handle: int) -> None:
        # of the open file, not of the process: two windows of one process are two holders
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
