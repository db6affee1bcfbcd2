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


class Loudspeaker:
    """Plays one thing at a time, in a thread of its own.

    Attributes:
        volume_db: of what is played, 0 being as recorded; may be set while it plays.
    """

    def __init__(self) -> None:
        self.volume_db = FIRST_VOLUME_DB
        self._stream: Any = None
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
        sd = portaudio()
        try:
            with quiet_descriptor():
                self._stream = sd.OutputStream(samplerate=rate_hz, channels=1, dtype="int16", latency="high")
                self._stream.start()
        except (sd.PortAudioError, ValueError) as why:
            self.stop()
            raise DeviceError(f"there is no sound output to play on: {words_of(why)}") from why
        self._stop = threading.Event()
        self._thread = threading.Thread(
            target=self._feed, args=(self._stream, blocks, self._stop), name="loudspeaker", daemon=True
        )
        self._thread.start()

    def stop(self) -> None:
        """Be silent at once; may be called twice."""
        self._stop.set()
        stream, self._stream = self._stream, None
        if stream is not None:
            with quiet_descriptor():
                stream.abort(ignore_errors=True)
                stream.close(ignore_errors=True)
        thread, self._thread = self._thread, None
        if thread is not None and thread is not threading.current_thread():
            thread.join(1.0)

    def _feed(self, stream: Any, blocks: Iterable[Samples], stop: threading.Event) -> None:
        sd = portaudio()
        for block in blocks:
            if stop.is_set():
                return
            try:
                stream.write(at_volume(block, self.volume_db)[:, None])
            except sd.PortAudioError:  # the output is gone, or `stop` has closed it
                return


def at_volume(samples: Samples, volume_db: float) -> Samples:
    """Samples made quieter (or as they are, at 0 dB)."""
    scaled = np.rint(samples * 10 ** (min(volume_db, MOST_VOLUME_DB) / 20))
    return np.asarray(scaled, dtype=np.int16)
