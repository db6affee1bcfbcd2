"""The simulated receiver's audio in real time, as an `AudioSource`."""

from __future__ import annotations

import threading
from collections.abc import Callable

import numpy as np

from telltick.model.clock import NS
from telltick.sources.audio import AudioBlock
from telltick.sources.bench.line_log import EdgeLog
from telltick.sources.bench.receiver import Edges, Receiver
from telltick.sources.bench.state import BenchState

BLOCK_S = 0.02


class LiveAudio:
    """Renders and delivers a block every 20 ms, late ones at once, so that the pace never drifts."""

    over = False

    def __init__(
        self,
        receiver: Receiver,
        line: EdgeLog,
        state: Callable[[], BenchState],
        latency_s: float,
        clock_ns: Callable[[], int],
    ) -> None:
        """Set up.

        Args:
            receiver: makes the audio.
            line: what happens on the serial line.
            state: how the bench stands now.
            latency_s: from an edge on the line to the middle of what is heard of it. At least a block and the
                receiver's delay, so that every edge is known by the time its block is rendered.
            clock_ns: monotonic clock, the one that `line` is on.
        """
        self.name = "simulated receiver"
        self.rate_hz = receiver.rate_hz
        self._receiver = receiver
        self._line = line
        self._state = state
        self._edge_delay_s = latency_s - receiver.delay / receiver.rate_hz
        self._clock_ns = clock_ns
        self._block = round(BLOCK_S * receiver.rate_hz)
        self._first = 0
        self._stopping = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self, sink: Callable[[AudioBlock], None]) -> None:
        """Deliver blocks to `sink` until stopped."""
        self.stop()
        self._stopping = threading.Event()
        self._thread = threading.Thread(
            target=self._run, args=(sink, self._stopping), name="simulated receiver", daemon=True
        )
        self._thread.start()

    def stop(self) -> None:
        """Stop delivering."""
        self._stopping.set()
        thread, self._thread = self._thread, None
        if thread is not None and thread is not threading.current_thread():
            thread.join(timeout=1.0)

    def problem(self) -> str | None:
        """None while the thread lives."""
        alive = self._thread is not None and self._thread.is_alive()
        return None if alive else "the simulated receiver is switched off"

    def _run(self, sink: Callable[[AudioBlock], None], stopping: threading.Event) -> None:
        zero_ns = self._clock_ns() - self._first * NS // self.rate_hz  # when sample 0 would have been heard
        while True:
            end_ns = zero_ns + (self._first + self._block) * NS // self.rate_hz
            if stopping.wait(max(0, end_ns - self._clock_ns()) / NS):
                return
            samples = self._render(zero_ns)
            sink(AudioBlock(samples, self._clock_ns()))

    def _render(self, zero_ns: int) -> np.ndarray:
        first, end = self._first, self._first + self._block
        offset_s = zero_ns / NS - self._edge_delay_s
        at_s, step = self._line.take_until(offset_s + end / self.rate_hz)
        self._first = end
        return self._receiver.render(
            first, self._block, Edges((at_s - offset_s) * self.rate_hz, step), self._state()
        )
