"""Start a recorder that outlives the terminal, and find out whether it really started."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import BinaryIO

from telltick.engine.fresh import clear
from telltick.model.errors import BadInputError, TelltickError
from telltick.store.folder import LOG_NAME, is_session
from telltick.store.lock import held

START_TIMEOUT_S = 20.0


def start_detached(folder: Path, arguments: Sequence[str], *, folder_made: bool) -> subprocess.Popen[bytes]:
    """Start ``telltick record`` in a session of its own, its words going to a log in the folder.

    Args:
        folder: the new, empty session folder.
        arguments: the options of ``telltick record``, the folder left out.
        folder_made: the folder was made for this; it goes away again when the recorder refuses.

    Raises:
        BadInputError, TelltickError: it refused; the message is the recorder's own.
    """
    log = folder / LOG_NAME
    command = [sys.executable, "-m", "telltick", "record", *arguments, "--session", str(folder)]
    with _own_log(log) as out:
        process = subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=out,
            start_new_session=True,
            cwd=str(Path.cwd()),
        )
    try:
        _wait_until(lambda: is_session(folder) and held(folder), process)
    except KeyboardInterrupt:
        process.terminate()  # nobody will watch it
        process.wait()
        raise
    except TelltickError as why:
        words = log.read_text(encoding="utf-8", errors="replace").strip().splitlines()
        _discard(folder, log, remove=folder_made)
        error = BadInputError if process.returncode == BadInputError.exit_code else TelltickError
        raise error(words[-1].removeprefix("telltick: ") if words else str(why)) from None
    return process


def _own_log(log: Path) -> BinaryIO:
    """Open the log anew; one that was there already may be anything.

    Raises:
        BadInputError: it cannot be written.
    """
    harmless = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
    try:
        return os.fdopen(os.open(log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | harmless, 0o600), "wb")
    except OSError as why:
        raise BadInputError(f"{log} cannot be written ({why.strerror or why}): remove it") from why


def _wait_until(ready: Callable[[], bool], process: subprocess.Popen[bytes]) -> None:
    deadline = time.monotonic() + START_TIMEOUT_S
    while not ready():
        if process.poll() is not None:
            raise TelltickError(f"the recorder stopped at once with exit code {process.returncode}")
        if time.monotonic() > deadline:
            process.terminate()
            raise TelltickError(f"the recorder did not start within {START_TIMEOUT_S:.0f} s")
        time.sleep(0.02)


def _discard(folder: Path, log: Path, *, remove: bool) -> None:
    """Leave nothing of a recorder that never began; a session that did begin stays."""
    if is_session(folder):
        return
    log.unlink(missing_ok=True)
    clear(folder, remove=remove)
