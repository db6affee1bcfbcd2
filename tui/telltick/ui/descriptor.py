"""A file descriptor of its own for the screen, so that nothing else can write on it, or be hushed with it.

C libraries write to file descriptor 2 when they please, and what keeps them quiet turns that descriptor away
for a moment: frames drawn through it meanwhile would be lost, and what stands on the terminal would not be
what the screen believes.
"""

from __future__ import annotations

import contextlib
import io
import os
import sys
from collections.abc import Iterator


@contextlib.contextmanager
def screen_apart() -> Iterator[None]:
    """Let the toolkit draw on a copy of descriptor 2, and what C libraries write to 2 go nowhere."""
    usual, usual_raw = sys.stderr, sys.__stderr__
    try:
        drawn_on = os.dup(usual_raw.fileno()) if usual_raw is not None else -1
    except (OSError, ValueError, io.UnsupportedOperation):  # no descriptor: nothing to keep apart
        drawn_on = -1
    if drawn_on < 0 or usual_raw is None or usual_raw.fileno() != 2:
        yield
        return
    usual_raw.flush()
    apart = os.fdopen(drawn_on, "w", encoding=usual_raw.encoding, errors=usual_raw.errors)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    kept = os.dup(2)
    try:
        os.dup2(nowhere, 2)
        sys.stderr = sys.__stderr__ = apart  # type: ignore[misc]
        yield
    finally:
        sys.stderr, sys.__stderr__ = usual, usual_raw  # type: ignore[misc]
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)
        with contextlib.suppress(OSError, ValueError):  # a terminal that hung up takes nothing more
            apart.close()
