"""The poll-activity strip: bytes both ways, audio envelope and marks on one time axis, swept in place.

A look moves the strip on by a column or two. What is known of the others is kept in place, and only what has
come in since is put there: new bursts, and the sound of columns that are complete.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator

import numpy as np

from telltick.measure.envelope import column_power
from telltick.measure.frames import FrameSpec, to_db
from telltick.model.clock import NS, Floats
from telltick.model.marks import Mark
from telltick.model.readings import Band
from telltick.model.snapshot import Strip, View
from telltick.model.traffic import Direction
from telltick.store.session import SessionReader

PIECE_S = 30.0  # audio read at once
BATCH_NS = NS // 10  # of sound; the strip's sound lags by no more
PATIENCE_NS = NS  # a column whose sound has not come after so long lies in a gap
FEW_BURSTS = 64  # more than these are put into columns all at once
SHORT = 8  # frames' hops in a column that is too short for the usual frames


class StripMaker:
    """Makes strips; remembers what it knows of each column, at its place: its number modulo the cells."""

    def __init__(self, reader: SessionReader, band: Band | None = None) -> None:
        self._reader = reader
        self._band = band or Band()
        self._cells = self._cell_ns = 0
        self._now = 0  # the first column not yet swept, at the last look
        self._share = np.zeros((2, 0))  # of each column's time that bytes take, to the radio and from it
        self._level_dbfs = np.zeros(0)
        self._known: dict[int, float] = {}  # levels of columns, also of some that were swept over since
        self._wanted: list[int] = []  # columns whose level is yet to be worked out
        self._taken = self._pending = (
            0  # bursts taken in; those from the first that reaches beyond the columns
        )
        self._spec = FrameSpec.for_rate(reader.facts.rate_hz)

    def make(self, view: View, now_ns: int, shift_s: float, marks: tuple[Mark, ...]) -> Strip:
        """The strip at a moment.

        Args:
            view: number and length of its columns.
            now_ns: the moment; the column it falls into is the first not yet swept.
            shift_s: latency, taken out of the envelope.
            marks: marks of the session, in order of time.
        """
        cells, cell_ns = view.strip_cells, view.strip_cell_ns
        now = max(now_ns, 0) // cell_ns
        before, moved = self._now, now != self._now
        if (cells, cell_ns) != (self._cells, self._cell_ns) or not before <= now < before + cells:
            self._begin(cells, cell_ns, now)
            before = now - cells
        self._now = now
        self._take_bytes(before)
        self._take_sound(before, shift_s, moved=moved)
        tx, rx = share = self._share.copy()
        to_radio, from_radio = share > 0
        start_ns, head = (now - now % cells) * cell_ns, now % cells
        flags, level_dbfs = tuple(self._flags(marks)), self._level_dbfs.copy()
        return Strip(start_ns, cell_ns, head, to_radio, from_radio, level_dbfs, flags, tx, rx)

    def _begin(self, cells: int, cell_ns: int, now: int) -> None:
        """Begin with columns of which nothing is in place."""
        if cell_ns != self._cell_ns:
            self._known, self._spec = {}, self._spec_for(cell_ns)
        self._cells, self._cell_ns = cells, cell_ns
        self._share, self._level_dbfs = np.zeros((2, cells)), np.full(cells, np.nan)
        self._wanted, self._taken, self._pending = [], 0, FEW_BURSTS

    def _flags(self, marks: tuple[Mark, ...]) -> Iterator[tuple[int, Mark]]:
        """(place, mark) of the marks on the strip."""
        first, end = self._now - self._cells, self._now
        for mark in marks[bisect_left(marks, first * self._cell_ns, key=lambda mark: mark.t_ns) :]:
            column = mark.t_ns // self._cell_ns
            if column >= end:
                return
            yield column % self._cells, mark

    # ---- bytes

    def _take_bytes(self, before: int) -> None:
        """Put what the line said into the columns from `before` on, and what was told since into all."""
        bursts = self._reader.burst_columns
        total, few = bursts.forgotten + len(bursts), self._pending
        fresh, self._taken = total - self._taken, total
        if fresh + few > min(FEW_BURSTS, len(bursts)):
            self._take_all_bytes()
            return
        for column in range(before, self._now):
            self._share[:, column % self._cells] = 0.0
        if not fresh + few:
            return
        now_ns, some = self._now * self._cell_ns, bursts.since(len(bursts) - fresh - few)
        for index, burst in enumerate(some):
            first = before if index < few else self._now - self._cells
            self._add(burst.start_ns, burst.end_ns, int(burst.direction is Direction.RX), first)
        self._pending = next((len(some) - k for k, one in enumerate(some) if one.end_ns > now_ns), 0)

    def _add(self, start_ns: int, end_ns: int, lane: int, first: int) -> None:
        """Add a burst to the columns from `first` on."""
        cell_ns = self._cell_ns
        for column in range(max(start_ns // cell_ns, first), min(-(-end_ns // cell_ns), self._now)):
            begin_ns = column * cell_ns
            share = (min(end_ns, begin_ns + cell_ns) - max(start_ns, begin_ns)) / cell_ns
            place = lane, column % self._cells
            self._share[place] = min(1.0, self._share[place] + share)

    def _take_all_bytes(self) -> None:
        """The same for every column, many bursts at once."""
        bursts, count = self._reader.burst_columns, self._cells
        begin_ns, end_ns = (self._now - count) * self._cell_ns, self._now * self._cell_ns
        near = (bursts.start_ns < end_ns) & (bursts.end_ns > begin_ns)
        start = (bursts.start_ns[near] - begin_ns) / self._cell_ns
        end = (bursts.end_ns[near] - begin_ns) / self._cell_ns
        lane = bursts.rx[near] * count  # both directions at once, one behind the other
        share = covered_share(np.clip(start, 0, count) + lane, np.clip(end, 0, count) + lane, 2 * count)
        self._share[:, np.arange(self._now - count, self._now) % count] = share.reshape(2, count)
        still = np.flatnonzero(bursts.end_ns > end_ns)
        self._pending = len(bursts) - int(still[0]) if len(still) else 0

    # ---- sound

    def _take_sound(self, before: int, shift_s: float, *, moved: bool) -> None:
        """Put levels into the columns from `before` on, a few columns together while the strip moves."""
        known = self._known
        for column in range(max(before, 0), self._now):
            self._level_dbfs[column % self._cells] = known.get(column, np.nan)
            if column not in known:
                self._wanted.append(column)
        if not self._wanted or (moved and (self._now - 1 - self._wanted[0]) * self._cell_ns < BATCH_NS):
            return
        for first, end in _runs(self._wanted, max(1, int(PIECE_S * NS) // self._cell_ns)):
            self._compute(first, end, shift_s)
        oldest = self._now - self._cells
        last_call = max(oldest, self._now - 1 - PATIENCE_NS // self._cell_ns)
        self._wanted = [column for column in self._wanted if column not in known and column >= last_call]
        if len(known) > 2 * self._cells:
            self._known = {column: level for column, level in known.items() if column >= oldest}

    def _compute(self, first: int, end: int, shift_s: float) -> None:
        """Mean in-band level of columns `first` to `end` - 1, as far as there is audio."""
        edge_ns = [column * self._cell_ns + shift_s * NS for column in range(first, end + 1)]
        edges, samples = self._reader.clock.samples_at(edge_ns), self._reader.audio.samples
        # What is not known (NaN) is not computed, and the last columns wait for audio that is still to come.
        whole = [k for k in range(end - first) if edges[k] < edges[k + 1] <= samples]
        for low, high in _runs(whole, end - first):
            at = [int(edge) for edge in edges[low : high + 1]]
            sound = self._reader.audio.read(at[0], at[-1] - at[0])
            levels = to_db(column_power(sound, at, self._spec, self._band)).tolist()
            for column, level in enumerate(levels, first + low):
                self._known[column] = self._level_dbfs[column % self._cells] = level

    def _spec_for(self, cell_ns: int) -> FrameSpec:
        """The usual frames, or shorter ones where a column holds none of these."""
        rate_hz = self._reader.facts.rate_hz
        usual, samples = FrameSpec.for_rate(rate_hz), cell_ns * rate_hz // NS
        if samples >= usual.length + usual.hop:
            return usual
        hop = max(2, samples // SHORT)
        return FrameSpec(rate_hz, hop, 4 * hop)


def covered_share(start: Floats, end: Floats, count: int) -> Floats:
    """Share of each of `count` columns of length 1 that some intervals cover; they should not overlap.

    Args:
        start: shape (intervals,), in columns from the first one's left edge.
        end: shape (intervals,).
        count: columns.
    """
    start, end = np.clip(start, 0, count), np.clip(end, 0, count)
    first, last = np.floor(start).astype(int), np.minimum(np.ceil(end).astype(int), count) - 1
    inside = last >= first
    start, end, first, last = start[inside], end[inside], first[inside], last[inside]
    share = np.zeros(count + 1)
    np.add.at(share, first, np.minimum(end, first + 1) - start)
    far = last > first
    np.add.at(share, last[far], end[far] - last[far])
    full = np.zeros(count + 1)
    np.add.at(full, first[far] + 1, 1.0)
    np.add.at(full, last[far], -1.0)
    return np.asarray(np.minimum(share + np.cumsum(full), 1.0)[:count])


def _runs(numbers: list[int], longest: int) -> Iterator[tuple[int, int]]:
    """(first, end) of the consecutive runs of a sorted list, none longer than `longest`."""
    begin = 0
    for k in range(1, len(numbers) + 1):
        if k == len(numbers) or numbers[k] != numbers[k - 1] + 1 or k - begin >= longest:
            yield numbers[begin], numbers[k - 1] + 1
            begin = k
