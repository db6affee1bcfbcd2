"""Room on the disk that is kept for a session's last words."""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import sqlite3
from pathlib import Path

RESERVE_NAME = "reserve"
RESERVE_BYTES = 1_000_000  # a gap, some marks and the ending need a few pages of 4 kB each
SCANT_BYTES = 200_000
_FULL = (errno.ENOSPC, errno.EDQUOT)


class Reserve:
    """A file of no use that is deleted when the disk is full, so that the journal can say so."""

    def __init__(self, folder: Path) -> None:
        self._path = folder / RESERVE_NAME

    def hold(self) -> bool:
        """Keep the room; False when there is none."""
        try:
            harmless = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)  # were it a link or a pipe
            fd = os.open(self._path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | harmless, 0o600)
            with os.fdopen(fd, "wb") as file:
                file.write(os.urandom(RESERVE_BYTES))  # zeros would take no room on a disk that compresses
                file.flush()
                os.fsync(file.fileno())
        except OSError:
            self.release()
            return False
        return True

    def release(self) -> None:
        """Give the room to whoever needs it."""
        with contextlib.suppress(OSError):
            self._path.unlink(missing_ok=True)


def free_bytes(folder: Path) -> int:
    """What this user may still write where the session is.

    Raises:
        OSError: the disk is gone.
    """
    return shutil.disk_usage(folder).free


def says_full(why: BaseException, folder: Path) -> bool:
    """Whether an error came about because the disk is full, whatever library put it into words."""
    link: BaseException | None = why
    while link is not None:
        if isinstance(link, OSError) and link.errno in _FULL:
            return True
        if isinstance(link, sqlite3.Error):
            # A database that cannot grow its shared memory or log speaks of input and output only.
            return "full" in str(link) or ("I/O" in str(link) and _scant(folder))
        link = link.__cause__
    return False


def _scant(folder: Path) -> bool:
    try:
        return free_bytes(folder) < SCANT_BYTES
    except OSError:
        return False
