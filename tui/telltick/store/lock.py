"""One recorder a session: a lock that the system releases when its process ends, however it ends."""

from __future__ import annotations

import contextlib
import errno
import os
import stat
import sys
import time
from collections.abc import Iterator
from pathlib import Path

from telltick.model.errors import BadInputError, SessionBusyError

LOCK_NAME = "recorder.lock"
_TRIES = 6
_TRY_EVERY_S = 0.02  # a look by `held` lasts microseconds; it must not turn a recorder away

if sys.platform == "win32":
    import msvcrt

    _FAR = 1 << 30  # the locked byte; the process id before it stays readable

    def _lock(fd: int) -> None:
        os.lseek(fd, _FAR, os.SEEK_SET)
        msvcrt.locking(fd, msvcrt.LK_NBLCK, 1)

else:
    import fcntl

    def _lock(fd: int) -> None:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)


@contextlib.contextmanager
def hold(folder: Path) -> Iterator[None]:
    """Own the right to record into a folder.

    Raises:
        SessionBusyError: another recorder has it; the message names its process.
        BadInputError: the folder cannot be written.
    """
    try:
        fd = _open(folder, os.O_RDWR | os.O_CREAT)
    except OSError as why:
        raise BadInputError(
            f"{folder} cannot be written ({why.strerror or why}); choose another folder"
        ) from why
    try:
        if not _try_lock(fd):
            raise SessionBusyError(
                f"{folder} is being recorded by process {holder(folder)}; join it, or choose another folder"
            )
        os.ftruncate(fd, 0)
        os.lseek(fd, 0, os.SEEK_SET)
        os.write(fd, f"{os.getpid()}\n".encode())
        yield
    finally:
        os.close(fd)


def held(folder: Path) -> bool:
    """Whether a recorder is alive in a folder. Looking changes nothing."""
    try:
        # Write access is asked for only where the system locks through it.
        fd = _open(folder, os.O_RDWR if sys.platform == "win32" else os.O_RDONLY)
    except OSError:
        return False
    try:
        _lock(fd)
    except OSError:
        return True
    else:
        return False
    finally:
        os.close(fd)


def holder(folder: Path) -> str:
    """Process id that last recorded into a folder, as text; ``unknown`` when it cannot be read."""
    try:
        with os.fdopen(_open(folder, os.O_RDONLY), "rb") as file:
            word = file.read(20).strip()
    except OSError:
        return "unknown"
    return word.decode() if word.isdigit() else "unknown"


def _open(folder: Path, flags: int) -> int:
    """Open the lock of a folder that may come from a stranger: no link is followed, no pipe waited for.

    Raises:
        OSError: it cannot be opened, or is not a plain file.
    """
    harmless = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
    fd = os.open(folder / LOCK_NAME, flags | harmless, 0o600)
    if not stat.S_ISREG(os.fstat(fd).st_mode):
        os.close(fd)
        raise OSError(errno.EINVAL, f"its {LOCK_NAME} is not a plain file")
    return fd


def _try_lock(fd: int) -> bool:
    for attempt in range(_TRIES):
        try:
            _lock(fd)
        except OSError:
            if attempt < _TRIES - 1:
                time.sleep(_TRY_EVERY_S)
        else:
            return True
    return False
