"""PortAudio, loaded late and kept quiet: it takes time, may be missing, and writes to file descriptor 2."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterator
from typing import Any

from telltick.model.errors import DeviceError


def portaudio_problem() -> str | None:
    """Why no sound input can be used on this machine, with the fix; None when the library is there."""
    try:
        with quiet_descriptor():
            import sounddevice  # noqa: F401
    except (OSError, ImportError) as why:
        return f"the PortAudio library is missing ({why}): {_portaudio_fix()}"
    return None


def _portaudio_fix() -> str:
    if sys.platform.startswith("linux"):
        return "install libportaudio2 (or portaudio) with the system's package manager, then try again"
    return "install the sounddevice package afresh with pip, it brings the library along"


def portaudio() -> Any:
    """The ``sounddevice`` module.

    Raises:
        DeviceError: PortAudio is missing.
    """
    problem = portaudio_problem()
    if problem is not None:
        raise DeviceError(problem)
    import sounddevice

    return sounddevice


def words_of(why: Exception) -> str:
    """The library's own words about an error."""
    return " ".join(str(part) for part in why.args[:1]) or type(why).__name__


@contextlib.contextmanager
def quiet_descriptor() -> Iterator[None]:
    """Send what C libraries write to file descriptor 2 nowhere, for a moment."""
    try:
        kept = os.dup(2)
    except OSError:  # closed: nothing to keep quiet
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)
