"""One-wire cables hand back each byte that is sent: what is such an echo, and what the radio's own reply.

An echo is the request's very bytes, on the line at the time at which they are sent. A reply cannot begin
before the request is over. So bytes that begin like the request are its echo for certain when they would have
had to begin before its end; adapters that gather bytes deliver echo and reply in one piece, and their sum
gives them away just as well. Where time leaves it open, an echo is believed once a reply follows it that is
complete in itself.
"""

from __future__ import annotations

from telltick.sources.byte_run import ByteRun
from telltick.sources.reply_rule import ReplyRule


class Incoming:
    """What has come since a request, in the pieces in which it was read."""

    def __init__(self) -> None:
        self.data = bytearray()
        self._pieces: list[tuple[int, bytes, int]] = []  # index of the first byte, bytes, time of arrival

    @property
    def last_ns(self) -> int:
        """Session time at which the newest bytes arrived; 0 before any."""
        return self._pieces[-1][2] if self._pieces else 0

    def add(self, data: bytes, arrival_ns: int) -> None:
        """Note bytes read at session time `arrival_ns`."""
        self._pieces.append((len(self.data), data, arrival_ns))
        self.data += data

    def run(self, start: int, end: int | None = None) -> ByteRun:
        """The bytes from index `start` to `end`, with their times."""
        run = ByteRun()
        stop = len(self.data) if end is None else end
        for first, data, arrival_ns in self._pieces:
            part = data[max(start - first, 0) : max(stop - first, 0)]
            if part:
                run.add(part, arrival_ns)
        return run


class EchoWatch:
    """Tells echo from reply, and remembers what kind of cable this is.

    Attributes:
        found: the cable echoes; never taken back.
    """

    def __init__(self, frame: bytes, rule: ReplyRule) -> None:
        self._frame = frame
        self._rule = rule
        self.found = False

    def watch_for(self, frame: bytes) -> None:
        """Another request is sent from now on."""
        self._frame = frame

    def skip(self, incoming: Incoming, sent_end_ns: int, char_ns: float) -> int | None:
        """How many bytes at the start are the echo; None while only more bytes, or silence, can tell.

        Args:
            incoming: what has come since the request began.
            sent_end_ns: session time of the request's end on the line.
            char_ns: time one character takes.
        """
        data, length = incoming.data, len(self._frame)
        if not data or not self._frame.startswith(data[:length]):
            return 0
        too_soon = incoming.last_ns - len(data) * char_ns < sent_end_ns
        if len(data) < length:
            return None if self.found or too_soon else 0
        if self.found or too_soon or self._reply_follows(data[length:]):
            self.found = True
            return length
        # A radio may acknowledge with the request's own bytes: only what follows, or nothing, can tell.
        return None if len(data) == length else 0

    def _reply_follows(self, rest: bytearray) -> bool:
        return self._rule.end(self._frame) == len(self._frame) and self._rule.end(rest) is not None
