"""The simulated bench in real time: a port to poll, audio to record, factors to change."""

from __future__ import annotations

import time
from collections.abc import Callable

from telltick.model.plan import PollPlan
from telltick.sources.audio import AudioSource
from telltick.sources.bench.live_audio import LiveAudio
from telltick.sources.bench.memory_port import MemoryPort
from telltick.sources.bench.parts import (
    I_OVER_N_DB,
    LATENCY_S,
    bench_plan,
    make_log,
    make_radio,
    make_receiver,
)
from telltick.sources.bench.state import DEFAULT_SETUP, BenchState
from telltick.sources.serial_port import Port, open_port

try:
    from telltick.sources.bench.pty_line import PtyLine
except ImportError:  # not a POSIX system
    PtyLine = None  # type: ignore[assignment,misc]


class SimulatedBench:
    """A radio and a receiver that exist only in software; what polls and records them is the real thing.

    Attributes:
        plan: how to poll the radio.
        audio: the receiver's audio.
        setup: factor -> value at the start.
    """

    def __init__(
        self,
        seed: int,
        *,
        clock_ns: Callable[[], int] = time.monotonic_ns,
        rate_hz: int = 48_000,
        path: str = "cable",
        i_over_n_db: float = I_OVER_N_DB,
        latency_s: float = LATENCY_S,
        pseudo_terminal: bool = True,
    ) -> None:
        """Set the bench up.

        Args:
            seed: of everything random on it.
            clock_ns: monotonic clock.
            rate_hz: audio sample rate.
            path: the true way in; see `telltick.sources.bench.paths`.
            i_over_n_db: interference over noise while bytes flow, with everything at its default.
            latency_s: from the serial line to the audio.
            pseudo_terminal: False keeps the serial line in memory, as where there are no pseudo-terminals.

        Raises:
            BadInputError: there is no such path.
        """
        self.setup = dict(DEFAULT_SETUP)
        self._state = BenchState()
        self._clock_ns = clock_ns
        framing = bench_plan("").line
        self._log = make_log(seed, framing, path)
        self._radio = make_radio(seed, framing, path)
        self._pty = self._make_pty() if pseudo_terminal else None
        self.plan: PollPlan = bench_plan(self._pty.path if self._pty else "memory")
        receiver = make_receiver(seed + 1, rate_hz, path, i_over_n_db)
        self.audio: AudioSource = LiveAudio(receiver, self._log, lambda: self._state, latency_s, clock_ns)

    def _make_pty(self) -> PtyLine | None:
        if PtyLine is None:
            return None
        try:
            return PtyLine(self._radio, self._log, self._clock_ns, bench_plan("").baud)
        except OSError:
            return None

    def open_port(self, plan: PollPlan) -> Port:
        """Open the radio's port: the real opener where there are pseudo-terminals.

        Raises:
            DeviceError: the port is taken or the bench has been stopped.
        """
        if self._pty is not None:
            return open_port(plan)
        return MemoryPort(self._radio, self._log, self._clock_ns, plan.baud)

    def start(self) -> None:
        """Switch the radio on; the audio starts by itself when it is recorded."""
        if self._pty is not None:
            self._pty.start()

    def stop(self) -> None:
        """Switch everything off."""
        self.audio.stop()
        if self._pty is not None:
            self._pty.stop()

    def apply(self, factor: str, value: str) -> None:
        """Do to the bench what the operator says was done; words that mean nothing to it change nothing."""
        self._state = self._state.after(factor, value)
        self._radio.plugged = not self._state.unplugged
