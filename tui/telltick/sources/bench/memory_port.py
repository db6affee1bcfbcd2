"""The same radio behind a serial line in memory, for systems without pseudo-terminals."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable

from telltick.model.clock import NS
from telltick.model.traffic import Direction
from telltick.sources.bench.line_log import EdgeLog
from telltick.sources.bench.radio import Radio
from telltick.sources.serial_port import READ_SLICE_S


class MemoryPort:
    """A `Port` whose bytes come when a real line would have delivered them."""

    def __init__(self, radio: Radio, log: EdgeLog, clock_ns: Callable[[], int], baud: int) -> None:
        self.baudrate = baud
        self._radio = radio
        self._log = log
        self._clock_ns = clock_ns
        self._coming: deque[tuple[int, int]] = deque()  # (when its last bit is over, byte)
        self._idle = threading.Event()  # never set: a wait that costs nothing

    @property
    def in_waiting(self) -> int:
        """Bytes whose last bit is over."""
        now_ns = self._clock_ns()
        return sum(due_ns <= now_ns for due_ns, _ in self._coming)

    def read(self, size: int = 1, /) -> bytes:
        """Up to `size` bytes, waiting for the first as a serial port does."""
        if not self.in_waiting:
            wait_s = READ_SLICE_S
            if self._coming:
                wait_s = min(wait_s, (self._coming[0][0] - self._clock_ns()) / NS)
            self._idle.wait(max(0.0, wait_s))
        ready = min(size, self.in_waiting)
        return bytes(self._coming.popleft()[1] for _ in range(ready))

    def write(self, data: bytes, /) -> int:
        """Send bytes to the radio."""
        bursts = self._radio.hear(self._clock_ns(), data, self.baudrate)
        self._log.add(bursts)
        for burst in bursts:
            if burst.direction is Direction.RX:
                char_ns = (burst.end_ns - burst.start_ns) / len(burst.data)
                self._coming.extend(
                    (burst.start_ns + round((k + 1) * char_ns), byte) for k, byte in enumerate(burst.data)
                )
        return len(data)

    def close(self) -> None:
        """Nothing is held."""
