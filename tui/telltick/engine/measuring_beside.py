"""Measuring a session while a screen follows it: a reader of its own, in a thread of its own."""

from __future__ import annotations

import threading
from pathlib import Path

from telltick.engine.measuring import SessionMeasurer
from telltick.engine.parts import Progress
from telltick.model.errors import CancelledError
from telltick.model.measurement import Measurement, MeasuringOptions
from telltick.store.session import SessionReader


class MeasuringBeside:
    """Measures a session whenever asked, from any thread; what is over stays measured.

    The session is opened at the first question. Nothing keeps a transaction open meanwhile, so that a
    recorder's journal stays small.
    """

    def __init__(self, folder: Path, options: MeasuringOptions | None = None) -> None:
        self._folder, self._options = folder, options
        self._turn = threading.Lock()
        self._closed = threading.Event()
        self._reader: SessionReader | None = None
        self._measurer: SessionMeasurer | None = None

    def measure(self, progress: Progress) -> Measurement:
        """Measure up to now; who asks while another measures waits for his turn.

        Args:
            progress: told the share done, 0 to 1; answers False to give up.

        Raises:
            CancelledError: progress said to give up, or the screen was closed.
            BadSessionError: the session has become damaged.
        """
        with self._turn:
            try:
                return self._opened().measure(lambda share: not self._closed.is_set() and progress(share))
            finally:
                if self._closed.is_set():
                    self._let_go()

    def close(self) -> None:
        """Let go of the session; a measurement under way gives up and lets go by itself."""
        self._closed.set()
        if self._turn.acquire(blocking=False):
            try:
                self._let_go()
            finally:
                self._turn.release()

    def _opened(self) -> SessionMeasurer:
        if self._closed.is_set():
            raise CancelledError("the session was closed")
        if self._reader is None or self._measurer is None:
            self._reader = SessionReader(self._folder)
            self._measurer = SessionMeasurer(self._reader, self._options)
        else:
            self._reader.refresh()
        return self._measurer

    def _let_go(self) -> None:
        if self._reader is not None:
            self._reader.close()
            self._reader = self._measurer = None
