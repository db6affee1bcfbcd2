"""Many bursts at once: columns that grow, and the gate they open."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from itertools import pairwise
from operator import sub

import numpy as np
import numpy.typing as npt

from telltick.model.clock import NS, AudioClock
from telltick.model.columns import Column, shortest
from telltick.model.traffic import Burst, Direction, Gate, Ints

NO_POLL = -1
LONGEST_NS = 3600 * NS  # no run of bytes lasts that long at any rate
MANY_TEXTS = 256  # requests and replies repeat themselves; random bytes do not
_TEXT = 4  # place of its column
BurstRow = tuple[int, int, int, str, bytes, int | None]  # row, start_ns, end_ns, direction, data, poll
_IS_RX = {str(Direction.TX): 0, str(Direction.RX): 1}


class BurstColumns:
    """Bursts in the order they were journalled, as columns. An hour at 20 polls/s is 144 000 of them.

    Each takes about twenty bytes: its end is held as its length, and its bytes as the number of a text.
    """

    def __init__(self) -> None:
        self._columns = [Column(np.zeros(0, dtype=np.int8)) for _ in range(5)]
        self._start_ns, self._length_ns, self._rx, self._poll, self._text = self._columns
        self._longest_ns = 0
        self.forgotten = 0  # bursts that were let go of
        self._in_order = True  # each starts when the one before it does, or later
        self._texts: list[bytes] = []  # what was said, by number; what was said often, once
        self._numbers: dict[bytes, int] = {}  # of the texts that are likely to come again

    def __len__(self) -> int:
        return len(self._start_ns)

    @property
    def start_ns(self) -> Ints:
        """Shape (bursts,): session time of each burst's first start bit."""
        return self._start_ns.values.astype(np.int64, copy=False)

    @property
    def newest_start_ns(self) -> int:
        """Session time of the first start bit of the one journalled last; 0 without any."""
        return int(self._start_ns.values[-1]) if len(self) else 0

    @property
    def end_ns(self) -> Ints:
        """Shape (bursts,): session time of the end of each burst's last stop bit."""
        return np.asarray(self.start_ns + self._length_ns.values)

    @property
    def rx(self) -> npt.NDArray[np.bool_]:
        """Shape (bursts,): True for bytes from the radio."""
        return self._rx.values.astype(np.bool_)

    @property
    def poll(self) -> Ints:
        """Shape (bursts,): number of the poll, -1 where nobody counted."""
        return self._poll.values.astype(np.int64, copy=False)

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
        length = list(map(sub, end, start))
        if min(length) < 0:
            raise ValueError("a burst ends before it starts")
        if max(length) > LONGEST_NS:
            raise ValueError("a burst lasts longer than an hour")
        self._in_order &= all(a <= b for a, b in pairwise((*self._start_ns.values[-1:].tolist(), *start)))
        self._longest_ns = max(self._longest_ns, *length)
        for column, new in zip(self._columns, (start, length, rx, polls, self._texts_of(data)), strict=True):
            column.extend_by_few(new)

    def forget_before(self, t_ns: int, kept_ns: Sequence[tuple[int, int]] = ()) -> None:
        """Let go of bursts that end before a session time; the others move up.

        Args:
            t_ns: that time.
            kept_ns: stretches of session time whose bursts stay all the same.
        """
        stays = self.end_ns >= t_ns
        for from_ns, until_ns in kept_ns:
            stays |= (self.end_ns >= from_ns) & (self.start_ns <= until_ns)
        self.forgotten += len(self) - int(np.count_nonzero(stays))
        for column in self._columns:
            column.keep(stays)
        said, text = np.unique(self._text.values, return_inverse=True)
        self._texts, self._numbers = [self._texts[number] for number in said.tolist()], {}
        self._text = self._columns[_TEXT] = Column(shortest(text.astype(np.int64)))

    def burst(self, index: int) -> Burst:
        """One of them."""
        return self._bursts(slice(index, index + 1 or None))[0]

    def since(self, index: int) -> list[Burst]:
        """Bursts from `index` on."""
        return self._bursts(slice(index, None))

    def _bursts(self, chosen: slice) -> list[Burst]:
        return [
            Burst(
                start,
                start + length,
                Direction.RX if rx else Direction.TX,
                self._texts[text],
                None if poll == NO_POLL else poll,
            )
            for start, length, rx, poll, text in zip(
                *(column.values[chosen].tolist() for column in self._columns), strict=True
            )
        ]

    def _texts_of(self, data: Sequence[bytes]) -> list[int]:
        """Number of each burst's text; those that are new are taken in."""
        if len(self._numbers) > MANY_TEXTS:
            self._numbers = {}
        found = []
        for text in data:
            number = self._numbers.setdefault(text, len(self._texts))
            if number == len(self._texts):
                self._texts.append(text)
            found.append(number)
        return found

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
        index = self._near(start_ns, end_ns)
        start_s = clock.sample_at(self.start_ns[index]) / clock.rate_hz
        heard = np.isfinite(start_s)
        index, start_s = index[heard], start_s[heard]
        end_s = start_s + self._length_ns.values[index].astype(np.float64) / NS
        rx, number = self._rx.values[index].astype(np.bool_), self._poll.values[index]
        counted = (number[1:] != NO_POLL) | (number[:-1] != NO_POLL)
        silence_s = start_s[1:] - end_s[:-1]
        begins = np.where(counted, number[1:] != number[:-1], ~rx[1:] | (silence_s > turnaround_s))
        poll = np.zeros(len(index), dtype=np.int64)
        poll[1:] = np.cumsum(begins)
        data = tuple(self._texts[i] for i in self._text.values[index].tolist()) if texts else ()
        return Gate(start_s, end_s, rx, poll, data)

    def _near(self, start_ns: int | None, end_ns: int | None) -> Ints:
        """Numbers of the bursts that end at a session time or later and start before another, by their start.

        A minute of a day is found at once where the journal is in order, as nearly every one is.
        """
        first, last = 0, len(self)
        if self._in_order:
            low, high = start_ns or 0, end_ns or 0
            first = 0 if start_ns is None else bisect_left(self._start_ns.values, low - self._longest_ns)
            last = last if end_ns is None else bisect_left(self._start_ns.values, high)
        begins = self.start_ns[first:last]
        near = np.ones(len(begins), dtype=np.bool_)
        if start_ns is not None:
            near &= begins + self._length_ns.values[first:last] >= start_ns
        if end_ns is not None:
            near &= begins < end_ns
        index = np.flatnonzero(near)
        return np.asarray(first + index[np.argsort(begins[index], kind="stable")])
