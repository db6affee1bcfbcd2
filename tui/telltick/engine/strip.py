"""The poll-activity strip: bytes both ways, audio envelope and marks on one time axis, swept in place."""

from __future__ import annotations

import numpy as np

from telltick.measure.frames import FrameSpec, power_frames, to_db
from telltick.model.clock import NS, Floats
from telltick.model.marks import Mark
from telltick.model.readings import Band
from telltick.model.snapshot import Strip, View
from telltick.store.session import SessionReader


class StripMaker:
    """Makes strips; remembers the envelope of columns already computed."""

    def __init__(self, reader: SessionReader, band: Band | None = None) -> None:
        self._reader = reader
        self._spec = FrameSpec.for_rate(reader.facts.rate_hz)
        band = band or Band()
        freq = self._spec.freq_hz
        self._in_band = (freq >= band.low_hz) & (freq <= band.high_hz)
        self._known: dict[int, float] = {}
        self._cell_ns = 0

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
        return Strip(int(start) * cell_ns, cell_ns, int(now - start), tx, rx, envelope, flags)

    def _bytes(self, column: np.ndarray, cell_ns: int) -> tuple[np.ndarray, np.ndarray]:
        """Columns during which bytes flow, per direction."""
        bursts = self._reader.burst_columns
        first_column = int(column.min())
        begin_ns, end_ns = first_column * cell_ns, (int(column.max()) + 1) * cell_ns
        near = np.flatnonzero((bursts.start_ns < end_ns) & (bursts.end_ns > begin_ns))
        lanes = {False: np.zeros(len(column), bool), True: np.zeros(len(column), bool)}
        spans = zip(bursts.start_ns[near], bursts.end_ns[near], bursts.rx[near], strict=True)
        for start_ns, stop_ns, rx in spans:
            first = max(start_ns // cell_ns, first_column)
            covered = np.arange(first, min((stop_ns - 1) // cell_ns + 1, first_column + len(column)))
            lanes[bool(rx)][covered % len(column)] = True
        return lanes[False], lanes[True]

    def _envelope(self, column: np.ndarray, cell_ns: int, shift_s: float) -> Floats:
        if cell_ns != self._cell_ns:
            self._known, self._cell_ns = {}, cell_ns
        missing = [int(c) for c in np.sort(column) if c >= 0 and int(c) not in self._known]
        for run in _runs(missing):
            self._compute(run[0], len(run), cell_ns, shift_s)
        oldest = int(column.min())
        for gone in [c for c in self._known if c < oldest]:
            del self._known[gone]
        return to_db(np.array([self._known.get(int(c), np.nan) for c in column]))

    def _compute(self, first: int, count: int, cell_ns: int, shift_s: float) -> None:
        """Mean in-band power of `count` columns from `first` on, as far as there is audio."""
        edges_ns = (np.arange(first, first + count + 1) * cell_ns) + shift_s * NS
        edges = self._reader.clock.sample_at(edges_ns)
        audio = self._reader.audio
        for k in range(count):
            if not np.isfinite(edges[k]) or not np.isfinite(edges[k + 1]):
                continue
            begin = int(edges[k])
            length = max(int(edges[k + 1]) - begin, self._spec.length + self._spec.hop)
            if begin + length > audio.samples:
                continue
            power = power_frames(audio.read(begin, length), self._spec, begin)
            self._known[first + k] = float(power[:, self._in_band].sum(axis=1).mean())


def _runs(columns: list[int]) -> list[list[int]]:
    """Cut a sorted list of columns where it is not consecutive."""
    runs: list[list[int]] = []
    for column in columns:
        if runs and runs[-1][-1] == column - 1:
            runs[-1].append(column)
        else:
            runs.append([column])
    return runs
