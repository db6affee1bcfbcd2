"""Bytes as they arrive, and the burst on the line that they must have come from."""

from __future__ import annotations

from telltick.model.traffic import Burst, Direction


class ByteRun:
    """Bytes from the radio that belong together, with the times at which they were read.

    A byte is delivered after its last bit, so the line was busy up to the last arrival at the latest. The run
    lasted at least as long as its characters take, and at least from the first character's start bit to the
    last arrival. Hardware that gathers bytes delivers late: USB adapters by up to their latency timer (1 to
    16 ms is common), receive buffers by some characters. The end then lies late by as much, and nothing here
    can tell; the latency that is fitted between serial traffic and audio takes up the steady part of it.
    """

    def __init__(self) -> None:
        self.data = bytearray()
        self._first_ns = 0
        self._first_bytes = 0
        self.last_ns = 0

    def add(self, data: bytes, arrival_ns: int) -> None:
        """Note bytes read at session time `arrival_ns`."""
        if not self.data:
            self._first_ns, self._first_bytes = arrival_ns, len(data)
        self.data += data
        self.last_ns = arrival_ns

    def burst(self, char_ns: float, poll: int | None) -> Burst:
        """The run as a burst on the line.

        Args:
            char_ns: time one character takes.
            poll: number of the poll it belongs to.
        """
        seen_ns = self.last_ns - self._first_ns + self._first_bytes * char_ns
        length_ns = max(len(self.data) * char_ns, seen_ns)
        return Burst(self.last_ns - round(length_ns), self.last_ns, Direction.RX, bytes(self.data), poll)
