"""The radio's end of a serial line made of a pseudo-terminal: real bytes, paced as a real line paces them."""

from __future__ import annotations

import contextlib
import os
import select
import threading
import tty
from collections import deque
from collections.abc import Callable

from telltick.model.clock import NS
from telltick.model.traffic import Burst, Direction
from telltick.sources.bench.line_log import EdgeLog
from telltick.sources.bench.radio import Radio
from telltick.sources.pty_rate import line_baud

MOST_BYTES = 4096


class PtyLine:
    """Runs a `Radio` on a pseudo-terminal from a thread of its own."""

    def __init__(self, radio: Radio, log: EdgeLog, clock_ns: Callable[[], int], baud: int) -> None:
        """Open the pseudo-terminal.

        Args:
            radio: answers.
            log: told of every burst on the line, replies ahead of time.
            clock_ns: monotonic clock.
            baud: the rate until the other side chooses one.

        Raises:
            OSError: the system has no pseudo-terminals to give.
        """
        self._radio = radio
        self._log = log
        self._clock_ns = clock_ns
        self._baud = baud
        self._radio_fd, self._kept_fd = (
            os.openpty()
        )  # the far end stays open, so that a poller may come and go
        tty.setraw(self._kept_fd)
        os.set_blocking(self._radio_fd, False)
        self.path = os.ttyname(self._kept_fd)
        self._wake_out, self._wake_in = os.pipe()
        self._outgoing: deque[tuple[int, bytes]] = deque()  # (when its last bit is over, one byte)
        self._thread = threading.Thread(target=self._run, name="simulated radio", daemon=True)

    def start(self) -> None:
        """Switch the radio on."""
        self._thread.start()

    def stop(self) -> None:
        """Switch the radio off and take the line away."""
        if self._wake_in < 0:
            return
        os.write(self._wake_in, b"x")
        if self._thread.is_alive():
            self._thread.join(timeout=1.0)
        for fd in (self._radio_fd, self._kept_fd, self._wake_out, self._wake_in):
            os.close(fd)
        self._wake_in = -1

    def _run(self) -> None:
        while True:
            wait_s = None if not self._outgoing else max(0, self._outgoing[0][0] - self._clock_ns()) / NS
            ready, _, _ = select.select([self._radio_fd, self._wake_out], [], [], wait_s)
            if self._wake_out in ready:
                return
            if self._radio_fd in ready:
                self._hear()
            self._send_what_is_due()

    def _hear(self) -> None:
        now_ns = self._clock_ns()
        baud = line_baud(self._radio_fd, self._baud)
        with contextlib.suppress(OSError):
            bursts = self._radio.hear(now_ns, os.read(self._radio_fd, MOST_BYTES), baud)
            self._log.add(bursts)
            for burst in bursts:
                if burst.direction is Direction.RX:
                    self._outgoing.extend(_by_byte(burst))

    def _send_what_is_due(self) -> None:
        while self._outgoing and self._outgoing[0][0] <= self._clock_ns():
            with contextlib.suppress(OSError):  # nobody reads: a real line loses the bytes too
                os.write(self._radio_fd, self._outgoing.popleft()[1])


def _by_byte(burst: Burst) -> list[tuple[int, bytes]]:
    length_ns = burst.end_ns - burst.start_ns
    count = len(burst.data)
    return [(burst.start_ns + length_ns * (k + 1) // count, burst.data[k : k + 1]) for k in range(count)]
