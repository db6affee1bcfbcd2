"""Sound out through PortAudio's default output: blocks from an iterator, at a volume that starts low."""

from __future__ import annotations

import threading
from collections.abc import Iterable
from typing import Any

import numpy as np
import numpy.typing as npt

from telltick.model.errors import DeviceError
from telltick.sources.portaudio import portaudio, quiet_descriptor, words_of

Samples = npt.NDArray[np.int16]

FIRST_VOLUME_DB = -24.0  # clicks in headphones hurt: whoever wants it louder turns it up
LEAST_VOLUME_DB, MOST_VOLUME_DB = -48.0, 0.0
LATENCY_S = (
    0.5  # of the output: long enough for a busy machine; the library's own "high" is two seconds on some
)
PIECE = 960  # samples written at a time: a wish to be silent waits for no more


class Loudspeaker:
    """Plays one thing at a time, in a thread of its own.

    Attributes:
        volume_db: of what is played, 0 being as recorded; may be set while it plays.
    """

    def __init__(self) -> None:
        self.volume_db = FIRST_VOLUME_DB
        self._thread: threading.Thread | None = None
        self._stop = threading.Event()

    @property
    def playing(self) -> bool:
        """Something is being played."""
        return self._thread is not None and self._thread.is_alive()

    def turn(self, by_db: float) -> float:
        """Turn the volume up or down; returns what it is then."""
        self.volume_db = min(max(self.volume_db + by_db, LEAST_VOLUME_DB), MOST_VOLUME_DB)
        return self.volume_db

    def play(self, blocks: Iterable[Samples], rate_hz: int) -> None:
        """Play blocks until they end or `stop`; what was playing before stops.

        Args:
            blocks: each of shape (n,); asked for just in time, from another thread.
            rate_hz: sample rate.

        Raises:
            DeviceError: this machine has no sound output, or it refuses the rate.
        """
        self.stop()
        stop = self._stop = threading.Event()
        self._thread = threading.Thread(
            target=self._feed, args=(_opened(rate_hz), blocks, stop), name="loudspeaker", daemon=True
        )
        self._thread.start()

    def stop(self) -> None:
        """Be silent at once; may be called twice."""
        self._stop.set()
        thread, self._thread = self._thread, None
        if thread is not None and thread is not threading.current_thread():
            thread.join(1.0)

    def _feed(self, stream: Any, blocks: Iterable[Samples], stop: threading.Event) -> None:
        """Play, then close the stream: no other thread may, for the library would still be writing to it."""
        try:
            self._write(stream, blocks, stop)
        finally:
            with quiet_descriptor():
                (stream.abort if stop.is_set() else stream.stop)(ignore_errors=True)
                stream.close(ignore_errors=True)

    def _write(self, stream: Any, blocks: Iterable[Samples], stop: threading.Event) -> None:
        sd = portaudio()
        for block in blocks:
            for first in range(0, len(block), PIECE):
                if stop.is_set():
                    return
                piece = at_volume(block[first : first + PIECE], self.volume_db)
                try:
                    stream.write(piece[:, None])
                except sd.PortAudioError:  # the output is gone
                    return


def _opened(rate_hz: int) -> Any:
    """A stream that takes samples.

    Raises:
        DeviceError: there is no sound output, or it refuses the rate.
    """
    sd, stream = portaudio(), None
    try:
        with quiet_descriptor():
            stream = sd.OutputStream(samplerate=rate_hz, channels=1, dtype="int16", latency=LATENCY_S)
            stream.start()
    except (sd.PortAudioError, ValueError) as why:
        if stream is not None:
            stream.close(ignore_errors=True)
        raise DeviceError(f"there is no sound output to play on: {words_of(why)}") from why
    return stream


def at_volume(samples: Samples, volume_db: float) -> Samples:
    """Samples made quieter (or as they are, at 0 dB)."""
    scaled = np.rint(samples * 10 ** (min(volume_db, MOST_VOLUME_DB) / 20))
    return np.asarray(scaled, dtype=np.int16)
