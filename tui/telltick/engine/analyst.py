"""Follows a session to a moment and keeps what readings need: power cells, the latency, rows of polls.

The same pure functions serve live, replay and offline; since rows do not depend on how the audio was cut, all
three yield the same digits. The analyst only decides what to measure next and what to forget.
"""

from __future__ import annotations

import numpy as np

from telltick.engine.gates import gate_near
from telltick.measure.cells import Cells, power_cells
from telltick.measure.latency import find_latency
from telltick.measure.rows import PollRows, measure_rows
from telltick.model.readings import Latency
from telltick.store.session import SessionReader

CHUNK_S = 60.0
SEARCH_S = 60.0  # audio the latency is looked for in
SEARCH_EVERY_S = 3.0
MOVED_S = 0.004  # a latency that moved by more than this makes the rows stale
OVERLAP_S = 3.0  # rows at the end of a chunk need this much audio after them


class Analyst:
    """Rows and latency of one capture run, from `cover_s` up to the moment last asked for."""

    def __init__(self, reader: SessionReader) -> None:
        self._reader = reader
        self._rate_hz = reader.facts.rate_hz
        self.latency: Latency | None = None
        self.restart(0, 0)

    def restart(self, first_sample: int, run: int) -> None:
        """Forget the rows and begin anew at a sample of a run; another run's latency is forgotten too."""
        if getattr(self, "run", run) != run:
            self.latency = None
        self.run = run
        self.cover_s = first_sample / self._rate_hz
        self._rows: list[PollRows] = []
        self._resume_s = self.cover_s
        self._cells: Cells | None = None
        self._cells_resume_s = self.cover_s
        self._searched_s = -np.inf

    @property
    def cells(self) -> Cells | None:
        """In-band power of the last minute in cells of 1 ms."""
        return self._cells

    @property
    def end_s(self) -> float:
        """Audio time the rows have reached."""
        return self._resume_s

    @property
    def shift_s(self) -> float:
        """Latency applied to the gate, in seconds; 0 while none is known."""
        return self.latency.seconds.value if self.latency is not None else 0.0

    def advance(self, to_sample: int, cells_to_sample: int | None = None) -> None:
        """Measure up to a sample of this run.

        Args:
            to_sample: all bursts that could be heard before it are known.
            cells_to_sample: newest audio; the power cells may run ahead of the rows.
        """
        self._extend_cells(max(to_sample, cells_to_sample or 0))
        self._search(to_sample / self._rate_hz)
        while to_sample / self._rate_hz - self._resume_s > 2 * OVERLAP_S or self._new_audio(to_sample):
            before = self._resume_s
            end_s = min(to_sample / self._rate_hz, self._resume_s + CHUNK_S)
            rows = self._measure(self._resume_s, end_s)
            self._resume_s = rows.resume_s
            if len(rows.poll):
                self._rows.append(rows)
            if self._resume_s == before:
                return

    def backfill(self, to_s: float, budget_s: float = CHUNK_S) -> bool:
        """Extend the rows backwards by at most `budget_s` towards `to_s`; True when nothing is left to do."""
        if self.cover_s <= to_s or not self._rows:
            return True
        known_s = float(self._rows[0].start_s[0])
        begin_s = max(to_s, self.cover_s - budget_s)
        rows = self._measure(begin_s, known_s + OVERLAP_S)
        older = int(np.searchsorted(rows.start_s, known_s - 1e-9))
        if older:
            self._rows.insert(0, rows.pick(slice(0, older)))
        self.cover_s = begin_s
        return self.cover_s <= to_s

    def rows(self, from_s: float, to_s: float) -> PollRows | None:
        """Rows wholly within a stretch of audio seconds; None when there are none."""
        if len(self._rows) > 1:
            self._rows = [PollRows.join(self._rows)]
        if not self._rows:
            return None
        chosen = self._rows[0].between(from_s, to_s)
        return chosen if len(chosen.poll) else None

    def forget_before(self, s: float) -> None:
        """Let go of rows that end before a time."""
        if s > self.cover_s and self._rows:
            kept = PollRows.join(self._rows).between(s, np.inf)
            self._rows = [kept] if len(kept.poll) else []
            self.cover_s = s

    def _new_audio(self, to_sample: int) -> bool:
        return to_sample / self._rate_hz - self._resume_s > OVERLAP_S / 2

    def _measure(self, start_s: float, end_s: float) -> PollRows:
        gate = gate_near(self._reader, start_s, end_s).shifted(self.shift_s)
        first = int(start_s * self._rate_hz)
        samples = self._reader.audio.read(first, int(end_s * self._rate_hz) - first)
        return measure_rows(samples, first, self._rate_hz, gate)

    def _extend_cells(self, to_sample: int) -> None:
        end_s = to_sample / self._rate_hz
        begin_s = max(self._cells_resume_s, end_s - SEARCH_S - 2)
        if begin_s > self._cells_resume_s:
            self._cells = None
        first = int(begin_s * self._rate_hz)
        if to_sample <= first:
            return
        new = power_cells(self._reader.audio.read(first, to_sample - first), first, self._rate_hz)
        self._cells = new if self._cells is None else Cells.join([self._cells, new])
        self._cells_resume_s = new.resume_s
        extra = len(self._cells.power) - int(SEARCH_S * 1000)
        if extra > 0:
            power = self._cells.power[extra:]
            self._cells = Cells(self._cells.first + extra, power, self._cells.resume_s)

    def _search(self, now_s: float) -> None:
        """Look for the latency now and then; where it moved, the rows must be measured again."""
        if self._cells is None or now_s - self._searched_s < SEARCH_EVERY_S:
            return
        self._searched_s = now_s
        first_s = self._cells.first / 1000
        gate = gate_near(self._reader, first_s, first_s + len(self._cells.power) / 1000)
        found = find_latency(self._cells.power, self._cells.first, gate)
        if found is None:
            return
        moved = self.latency is None or abs(found.seconds.value - self.shift_s) > MOVED_S
        if moved:
            self.latency = found
            self._rows = []
            self.cover_s = self._resume_s = max(self.cover_s, now_s - SEARCH_S)
        elif self.latency is not None and found.score > self.latency.score:
            self.latency = Latency(self.latency.seconds, found.drift_ppm, found.modulo_s, found.score)
