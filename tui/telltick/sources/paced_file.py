"""An audio file played into a recorder at the pace of its sample rate, as if it came from a sound card."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path

from telltick.model.errors import BadInputError
from telltick.sources.audio import AudioBlock
from telltick.sources.audio_file import AudioFile

BLOCK_S = 0.02


class PacedFile:
    """An `AudioSource` that plays a file once.

    Attributes:
        name: the file's name.
        rate_hz: its sample rate.
        over: True once it has been played.
    """

    def __init__(self, path: Path, channel: int = 1, line_channel: int | None = None) -> None:
        """Open the file.

        Args:
            path: the file.
            channel: of the receiver, counted from 1.
            line_channel: of the data line; None without one.

        Raises:
            BadInputError: missing, not audio, or without those channels.
        """
        self._path = path
        self._channels = (channel,) if line_channel is None else (channel, line_channel)
        with AudioFile(path) as file:
            next(file.blocks_of(self._channels), None)
            self.name, self.rate_hz = path.name, file.rate_hz
        self._stopping = threading.Event()
        self._thread: threading.Thread | None = None
        self.over = False
        self._damage: str | None = None

    def start(self, sink: Callable[[AudioBlock], None]) -> None:
        """Begin to play."""
        self._stopping.clear()
        self._thread = threading.Thread(target=self._run, args=(sink,), name="paced file", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Stop playing."""
        self._stopping.set()
        if self._thread is not None:
            self._thread.join(timeout=2)

    def problem(self) -> str | None:
        """What stopped it, in the library's own words; None while it plays and when it has been played."""
        return self._damage

    def _run(self, sink: Callable[[AudioBlock], None]) -> None:
        try:
            self._play(sink)
        except BadInputError as why:
            self._damage = str(why)
            self.over = True

    def _play(self, sink: Callable[[AudioBlock], None]) -> None:
        begun, played = time.monotonic(), 0
        size = int(BLOCK_S * self.rate_hz)
        with AudioFile(self._path) as file:
            for piece, *line in file.blocks_of(self._channels):
                for at in range(0, len(piece), size):
                    block = piece[at : at + size]
                    beside = line[0][at : at + size].copy() if line else None
                    played += len(block)
                    wait_s = begun + played / self.rate_hz - time.monotonic()
                    if self._stopping.wait(max(wait_s, 0.0)):
                        return
                    sink(AudioBlock(block.copy(), time.monotonic_ns(), False, beside))
        self.over = True
