"""The poll-activity strip: bytes both ways, audio envelope and marks on one time axis, swept in place."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from telltick.measure.frames import FrameSpec, power_frames, to_db
from telltick.model.clock import NS, Floats
from telltick.model.marks import Mark
from telltick.model.readings import Band
from telltick.model.snapshot import Strip, View
from telltick.model.traffic import Ints
from telltick.store.session import SessionReader

PIECE_S = 30.0  # audio read at once
BATCH_NS = NS // 10  # of sound; the strip's sound lags by no more
SHORT = 8  # frames' hops in a column that is too short for the usual frames


class StripMaker:
    """Makes strips; remembers the envelope of columns already computed."""

    def __init__(self, reader: SessionReader, band: Band | None = None) -> None:
        self._reader = reader
        self._band = band or Band()
        self._known: dict[int, float] = {}
        self._cell_ns = 0
        self._newest = -1  # column, at the last look
        self._spec = FrameSpec.for_rate(reader.facts.rate_hz)

    def make(self, view: View, now_ns: int, shift_s: float, marks: tuple[Mark, ...]) -> Strip:
        """The strip at a moment.

        Args:
            view: number and length of its columns.
            now_ns: the moment; the column it falls into is the first not yet swept.
            shift_s: latency, taken out of the envelope.
            marks: marks of the session.
        """
        cells, cell_ns = view.strip_cells, view.strip_cell_ns
        now = max(now_ns, 0) // cell_ns
        start = now // cells * cells
        column = np.arange(start, start + cells)
        column[column >= now] -= cells
        tx, rx = self._bytes(column, cell_ns)
        flags = tuple(
            (int(at % cells), mark) for mark in marks if now - cells <= (at := mark.t_ns // cell_ns) < now
        )
        envelope = self._envelope(column, cell_ns, shift_s)
        return Strip(int(start) * cell_ns, cell_ns, int(now - start), tx > 0, rx > 0, envelope, flags, tx, rx)

    def _bytes(self, column: Ints, cell_ns: int) -> tuple[Floats, Floats]:
        """Share of each column's time during which bytes flow, per direction."""
        bursts = self._reader.burst_columns
        first, count = int(column.min()), len(column)
        begin_ns, end_ns = first * cell_ns, (first + count) * cell_ns
        near = (bursts.start_ns < end_ns) & (bursts.end_ns > begin_ns)
        start = (bursts.start_ns[near] - begin_ns) / cell_ns
        end = (bursts.end_ns[near] - begin_ns) / cell_ns
        lane = bursts.rx[near] * count  # both directions at once, one behind the other
        share = covered_share(np.clip(start, 0, count) + lane, np.clip(end, 0, count) + lane, 2 * count)
        place = (column - first) % count
        return share[place], share[count + place]

    def _envelope(self, column: Ints, cell_ns: int, shift_s: float) -> Floats:
        if cell_ns != self._cell_ns:
            self._known, self._cell_ns, self._spec = {}, cell_ns, self._spec_for(cell_ns)
        known = self._known
        missing = [c for c in np.sort(column).tolist() if c >= 0 and c not in known]
        newest, self._newest = self._newest, int(column.max())
        if missing and newest < self._newest and (self._newest - missing[0]) * cell_ns < BATCH_NS:
            missing = []  # a few columns are worked out together
        for first, end in _runs(missing, max(1, int(PIECE_S * NS) // cell_ns)):
            self._compute(first, end, cell_ns, shift_s)
        if len(known) > 2 * len(column):
            oldest = int(column.min())
            self._known = known = {c: power for c, power in known.items() if c >= oldest}
        return to_db(np.array([known.get(c, np.nan) for c in column.tolist()]))

    def _compute(self, first: int, end: int, cell_ns: int, shift_s: float) -> None:
        """Mean in-band power of columns `first` to `end` - 1, as far as there is audio."""
        edges = self._reader.clock.sample_at(np.arange(first, end + 1) * cell_ns + shift_s * NS)
        # What is not known is not computed, and the last columns wait for audio that is still to come.
        here = np.isfinite(edges) & (edges <= self._reader.audio.samples)
        whole = np.flatnonzero(here[:-1] & here[1:] & (np.diff(edges, append=0)[:-1] > 0)).tolist()
        for low, high in _runs(whole, len(whole)):
            at = edges[low : high + 1].astype(np.int64)
            power = column_power(
                self._reader.audio.read(int(at[0]), int(at[-1] - at[0])), at, self._spec, self._band
            )
            self._known.update(zip(range(first + low, first + high), power.tolist(), strict=True))

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


def column_power(samples: npt.NDArray[np.int16], edges: Ints, spec: FrameSpec, band: Band) -> Floats:
    """Mean in-band power of columns, each from the frames that lie wholly in it; NaN where none does.

    Args:
        samples: shape (n,), audio from ``edges[0]`` on.
        edges: shape (columns + 1,), sample indices in the recording.
        spec: frames to use.
        band: the band.

    Returns:
        shape (columns,), power re a full-scale sine.
    """
    inside = (spec.freq_hz >= band.low_hz) & (spec.freq_hz <= band.high_hz)
    power = power_frames(samples, spec, int(edges[0]))[:, inside].sum(axis=1, dtype=np.float64)
    start = (spec.first_frame(int(edges[0])) + np.arange(len(power))) * spec.hop
    column = np.searchsorted(edges, start, side="right") - 1
    whole = start + spec.length <= edges[np.minimum(column + 1, len(edges) - 1)]
    count = np.bincount(column[whole], minlength=len(edges) - 1)
    total = np.bincount(column[whole], power[whole], minlength=len(edges) - 1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _runs(numbers: list[int], longest: int) -> Iterator[tuple[int, int]]:
    """(first, end) of the consecutive runs of a sorted list, none longer than `longest`."""
    begin = 0
    for k in range(1, len(numbers) + 1):
        if k == len(numbers) or numbers[k] != numbers[k - 1] + 1 or k - begin >= longest:
            yield numbers[begin], numbers[k - 1] + 1
            begin = k
