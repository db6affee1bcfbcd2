"""Many bursts at once: columns that grow, and the gate they open."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import compress

import numpy as np
import numpy.typing as npt

from telltick.model.clock import NS, AudioClock
from telltick.model.traffic import Burst, Direction, Gate, Ints

NO_POLL = -1
LONGEST_NS = 3600 * NS  # no run of bytes lasts that long at any rate
MANY_TEXTS = 256  # requests and replies repeat themselves; random bytes do not
BurstRow = tuple[int, int, int, str, bytes, int | None]  # row, start_ns, end_ns, direction, data, poll
_IS_RX = {str(Direction.TX): 0, str(Direction.RX): 1}


class BurstColumns:
    """Bursts in the order they were journalled, as columns. An hour at 20 polls/s is 144 000 of them."""

    def __init__(self) -> None:
        self._numbers = np.zeros((4, 1024), dtype=np.int64)  # rows: start_ns, end_ns, rx, poll
        self._data: list[bytes] = []
        self._texts: dict[bytes, bytes] = {}  # what was said often, held once
        self.forgotten = 0  # bursts that were let go of

    def __len__(self) -> int:
        return len(self._data)

    @property
    def start_ns(self) -> Ints:
        """Shape (bursts,): session time of each burst's first start bit."""
        return self._numbers[0, : len(self)]

    @property
    def end_ns(self) -> Ints:
        """Shape (bursts,): session time of the end of each burst's last stop bit."""
        return self._numbers[1, : len(self)]

    @property
    def rx(self) -> npt.NDArray[np.bool_]:
        """Shape (bursts,): True for bytes from the radio."""
        return self._numbers[2, : len(self)].astype(np.bool_)

    @property
    def poll(self) -> Ints:
        """Shape (bursts,): number of the poll, -1 where nobody counted."""
        return self._numbers[3, : len(self)]

    def extend(self, rows: Sequence[BurstRow]) -> None:
        """Append bursts.

        Raises:
            TypeError, ValueError, KeyError: a row holds something else than it should.
        """
        if not rows:
            return
        _, start, end, direction, data, poll = zip(*rows, strict=True)
        polls = [NO_POLL if number is None else number for number in poll]
        if {*map(type, data)} != {bytes}:
            raise TypeError("a burst's data is not bytes")
        if {*map(type, start), *map(type, end), *map(type, polls)} != {int}:
            raise TypeError("a burst's time or poll is not a whole number")
        rx = [_IS_RX[word] for word in direction]
        count, new = len(rows), slice(len(self), len(self) + len(rows))
        self._make_room(new.stop)
        for row, column in zip(self._numbers, (start, end, rx, polls), strict=True):
            row[new] = np.fromiter(column, np.int64, count)
        if np.any(self._numbers[1, new] < self._numbers[0, new]):
            raise ValueError("a burst ends before it starts")
        if np.any(self._numbers[1, new] // 2 - self._numbers[0, new] // 2 > LONGEST_NS // 2):  # no overflow
            raise ValueError("a burst lasts longer than an hour")
        if len(self._texts) > MANY_TEXTS:
            self._texts.clear()
        self._data.extend(self._texts.setdefault(text, text) for text in data)

    def forget_before(self, t_ns: int, kept_ns: Sequence[tuple[int, int]] = ()) -> None:
        """Let go of bursts that end before a session time; the others move up.

        Args:
            t_ns: that time.
            kept_ns: stretches of session time whose bursts stay all the same.
        """
        stays = self.end_ns >= t_ns
        for from_ns, until_ns in kept_ns:
            stays |= (self.end_ns >= from_ns) & (self.start_ns <= until_ns)
        left = int(np.count_nonzero(stays))
        self.forgotten += len(self) - left
        numbers = np.zeros((4, max(1024, left)), dtype=np.int64)
        numbers[:, :left] = self._numbers[:, : len(self)][:, stays]
        self._numbers, self._data = numbers, list(compress(self._data, stays.tolist()))

    def burst(self, index: int) -> Burst:
        """One of them."""
        start, end, rx, poll = (int(number) for number in self._numbers[:, index])
        direction = Direction.RX if rx else Direction.TX
        return Burst(start, end, direction, self._data[index], None if poll == NO_POLL else poll)

    def since(self, index: int) -> list[Burst]:
        """Bursts from `index` on."""
        columns = self._numbers[:, index : len(self)].tolist()
        return [
            Burst(start, end, Direction.RX if rx else Direction.TX, data, None if poll == NO_POLL else poll)
            for start, end, rx, poll, data in zip(*columns, self._data[index:], strict=True)
        ]

    def gate(
        self,
        clock: AudioClock,
        start_ns: int | None = None,
        end_ns: int | None = None,
        turnaround_s: float = 0.5,
        *,
        texts: bool = True,
    ) -> Gate:
        """The gate on the audio timeline: the same as `gate_from_bursts`, computed in columns.

        Args:
            clock: the session's audio clock.
            start_ns: leave out bursts that end before this session time.
            end_ns: leave out bursts that start at or after it.
            turnaround_s: longest silence, in seconds, between a request and a reply that nobody numbered.
            texts: with the bytes of each burst.
        """
        near = np.ones(len(self), dtype=np.bool_)
        if start_ns is not None:
            near &= self.end_ns >= start_ns
        if end_ns is not None:
            near &= self.start_ns < end_ns
        index = np.flatnonzero(
            near
        )  # chosen first: a minute of a day is put in order much sooner than the day
        index = index[np.argsort(self.start_ns[index], kind="stable")]
        start_s = clock.sample_at(self.start_ns[index]) / clock.rate_hz
        heard = np.isfinite(start_s)
        index, start_s = index[heard], start_s[heard]
        end_s = start_s + (self.end_ns[index] - self.start_ns[index]).astype(np.float64) / NS
        rx, number = self._numbers[2, index].astype(np.bool_), self._numbers[3, index]
        counted = (number[1:] != NO_POLL) | (number[:-1] != NO_POLL)
        silence_s = start_s[1:] - end_s[:-1]
        begins = np.where(counted, number[1:] != number[:-1], ~rx[1:] | (silence_s > turnaround_s))
        poll = np.zeros(len(index), dtype=np.int64)
        poll[1:] = np.cumsum(begins)
        data = tuple(self._data[i] for i in index.tolist()) if texts else ()
        return Gate(start_s, end_s, rx, poll, data)

    def _make_room(self, wanted: int) -> None:
        if wanted > self._numbers.shape[1]:
            grown = np.zeros((4, wanted + wanted // 4 + 1024), dtype=np.int64)
            grown[:, : len(self)] = self._numbers[:, : len(self)]
            self._numbers = grown
