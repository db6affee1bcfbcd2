"""Bytes that others exchange, turned into bursts in both directions."""

from __future__ import annotations

from collections.abc import Callable

from telltick.model.clock import NS
from telltick.model.traffic import Burst, Direction
from telltick.sources.byte_run import ByteRun

TX_SILENCE_NS = 2_000_000  # requests written one right after the other are one burst on the line
RX_SILENCE_NS = 20_000_000  # as long as a USB adapter may gather bytes
MOST_BYTES = 1024  # a burst without end is told in pieces
BACKLOG_BYTES = 4096  # what a port's driver holds at most before it takes no more


class TappedBursts:
    """Collects bytes of both directions and tells of each burst once it is over."""

    def __init__(
        self, tell: Callable[[Burst], None], char_ns: float, rx_silence_ns: int = RX_SILENCE_NS
    ) -> None:
        """Start with silence.

        Args:
            tell: told of every burst.
            char_ns: time one character takes.
            rx_silence_ns: silence that ends a burst from the radio.
        """
        self._tell = tell
        self._char_ns = char_ns
        self._rx_silence_ns = rx_silence_ns
        self._rx = ByteRun()
        self._tx = bytearray()
        self._tx_start_ns = 0
        self._tx_end_ns = 0  # of the last byte handed to the port so far

    @property
    def pending(self) -> bool:
        """A burst has begun and is not told yet."""
        return bool(self._tx or self._rx.data)

    def set_char_ns(self, char_ns: float) -> None:
        """Bytes take this long from now on."""
        self.flush()
        self._char_ns = char_ns

    def sent(self, data: bytes, t_ns: int) -> None:
        """Note bytes that the port took at session time `t_ns`; they leave it one after the other."""
        self._flush_rx()
        if self._tx and (t_ns > self._tx_end_ns + TX_SILENCE_NS or len(self._tx) >= MOST_BYTES):
            self._flush_tx()
        if not self._tx:
            waits_ns = min(max(self._tx_end_ns - t_ns, 0), round(BACKLOG_BYTES * self._char_ns))
            self._tx_start_ns = self._tx_end_ns = t_ns + waits_ns
        self._tx += data
        self._tx_end_ns += round(len(data) * self._char_ns)

    def received(self, data: bytes, t_ns: int) -> None:
        """Note bytes that came from the radio at session time `t_ns`."""
        if self._tx and t_ns >= self._tx_end_ns:
            self._flush_tx()
        if self._rx.data and (
            t_ns - self._rx.last_ns > self._rx_silence_ns or len(self._rx.data) >= MOST_BYTES
        ):
            self._flush_rx()
        self._rx.add(data, t_ns)

    def flush_silent(self, now_ns: int) -> None:
        """Tell of bursts that are over."""
        if self._tx and now_ns > self._tx_end_ns + TX_SILENCE_NS:
            self._flush_tx()
        if self._rx.data and now_ns - self._rx.last_ns > self._rx_silence_ns:
            self._flush_rx()

    def flush(self) -> None:
        """Tell of everything."""
        self._flush_tx()
        self._flush_rx()

    def _flush_tx(self) -> None:
        if self._tx:
            self._tell(Burst(self._tx_start_ns, self._tx_end_ns, Direction.TX, bytes(self._tx)))
            self._tx = bytearray()

    def _flush_rx(self) -> None:
        run, self._rx = self._rx, ByteRun()
        if run.data:
            self._tell(run.burst(self._char_ns, None))


def char_ns(bits_per_char: int, baud: int) -> float:
    """Time one character takes: bits / baud."""
    return bits_per_char / baud * NS
