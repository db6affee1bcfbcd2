"""Which input the sound server takes our streams from, and whether it has moved one to another.

A server (PulseAudio, and what stands in for it) that loses an input may hang the streams on another one, and
goes on delivering sound. Nothing in the sound tells; the server does, when it is asked.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from typing import Any, Protocol

LOOK_EVERY_S = 0.5
PROCESS = "application.process.id"


class Server(Protocol):
    """What is asked of a sound server, as `pulsectl.Pulse` answers."""

    def source_output_list(self) -> list[Any]:
        """Every recording stream, with `index`, `source` and `proplist`."""

    def source_list(self) -> list[Any]:
        """Every input, with `index` and `description`."""

    def close(self) -> None:
        """Let go of the server."""


def pulse_server() -> Server:
    """The sound server that streams of this process go to.

    Raises:
        OSError, ImportError: this machine has none, or its library is missing.
    """
    import pulsectl

    server = pulsectl.Pulse("telltick placement", connect=False)
    try:
        server.connect(autospawn=False, wait=False)
    except pulsectl.PulseError as why:
        server.close()
        raise OSError(str(why)) from why
    return server  # type: ignore[no-any-return]


class Placement:
    """Looks, in a thread of its own, where the streams of this process hang."""

    def __init__(self, connect: Callable[[], Server] = pulse_server, process: int | None = None) -> None:
        """Begin to look; where no sound server answers there is nothing to look at.

        Args:
            connect: opens a connection to the server.
            process: whose streams; None takes this process's.
        """
        self._connect = connect
        self._process = str(os.getpid() if process is None else process)
        self._placed: dict[int, int] = {}
        self._over = threading.Event()
        self.moved = ""
        self._thread = threading.Thread(target=self._run, name="placement", daemon=True)
        self._thread.start()

    @property
    def seen(self) -> bool:
        """A stream of ours was found on the server."""
        return bool(self._placed)

    def stop(self) -> None:
        """Look no more; does not wait."""
        self._over.set()

    def _run(self) -> None:
        try:
            server = self._connect()
        except (OSError, ImportError):
            return
        try:
            while not self._over.is_set() and not self.moved:
                self.moved = self.look(server)
                self._over.wait(LOOK_EVERY_S)
        except Exception:  # the server is gone, as its library says in many ways: the stream will end, too
            return
        finally:
            server.close()

    def look(self, server: Server) -> str:
        """Words about a stream that hangs on another input than when it was first seen; empty without one."""
        for stream in server.source_output_list():
            if stream.proplist.get(PROCESS) != self._process:
                continue
            first = self._placed.setdefault(stream.index, stream.source)
            if stream.source != first:
                names = {one.index: str(one.description) for one in server.source_list()}
                return f'the sound system moved it to another input, "{names.get(stream.source, "?")}"'
        return ""
