"""Follows a session to a moment and keeps what readings need: power cells, the latency, rows of polls.

The same pure functions serve live, replay and offline; since rows do not depend on how the audio was cut, all
three yield the same digits. The analyst only decides what to measure next and what to forget.

Each capture run has a latency of its own. It is looked for in the last minute again and again, and what was
found is kept as a track, so that a clock that drifts for hours is followed: every poll is measured at the
latency of its own time. A latency that the user has locked is neither looked for nor followed.
"""

from __future__ import annotations

import numpy as np

from telltick.engine.gates import gate_near
from telltick.engine.kept_rows import KeptRows
from telltick.measure.cells import Cells, power_cells
from telltick.measure.latency import find_latency
from telltick.measure.rows import PollRows, measure_rows
from telltick.measure.track import LatencyTrack
from telltick.model.clock import Floats
from telltick.model.readings import Estimate, Latency
from telltick.model.traffic import Gate
from telltick.store.session import SessionReader

CHUNK_S = 60.0
SEARCH_S = 60.0  # audio the latency is looked for in
SEARCH_EVERY_S = 3.0
CELLS_EVERY_S = 4.0  # of new audio between two searches; a piece that long takes little memory
SHARPEN_EVERY_S = 10.0  # once it is known, while there is less audio than that
FOLLOW_EVERY_S = 20.0  # and afterwards: a third of the audio is new then, and the track keeps no more
MOVED_S = 0.004  # a latency this far from its track was wrong before, or the device has changed
FOLLOWED_S = 0.001  # and one this far from it has drifted; less is chance
STALE_S = 0.0015  # rows measured this far from where the track now says they lie are measured again
OVERLAP_S = 3.0  # rows at the end of a chunk need this much audio after them
NEW_S = 0.8  # audio without rows from which they are measured: the meter changes each second


class Analyst:
    """Rows and latency of one capture run, from `cover_s` up to the moment last asked for."""

    def __init__(self, reader: SessionReader) -> None:
        self._reader = reader
        self._rate_hz = reader.facts.rate_hz
        self.latency: Latency | None = None
        self._tracks: dict[int, LatencyTrack] = {}
        self._known: dict[int, Latency] = {}
        self._shift: tuple[object, float] = (None, 0.0)
        self.restart(0, 0)

    def restart(self, first_sample: int, run: int) -> None:
        """Forget the rows and begin anew at a sample of a run, at the latency of that run if it is known."""
        if getattr(self, "run", run) != run and not self._locked:
            self.latency = self._known.get(run)
        self.run = run
        self._track = self._tracks.setdefault(run, LatencyTrack())
        self._measured_s: list[tuple[float, float, float]] = []  # from, to, latency at which it was measured
        self.cover_s = first_sample / self._rate_hz
        self._rows = KeptRows()
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
        """Latency at the newest audio, in seconds; 0 while none is known."""
        of = (self._resume_s, self._track, self._track.changes, self.latency)
        if self._shift[0] != of:  # each look asks for it more than once
            self._shift = (of, self.shift_at(self._resume_s))
        return self._shift[1]

    def lock(self, latency: Latency | None) -> None:
        """Measure at this latency whatever the audio says; None looks for it again."""
        self.latency = latency
        self._known, self._tracks = {}, {}
        self.restart(round(self.cover_s * self._rate_hz), self.run)

    @property
    def _locked(self) -> bool:
        return self.latency is not None and self.latency.locked

    def shift_at(self, at_s: float) -> float:
        """Latency at a serial time of this run, in seconds; 0 while none is known."""
        return float(self._shifts(np.array([at_s]))[0])

    def _shifts(self, serial_s: Floats) -> Floats:
        """Latency at serial times."""
        if len(self._track):
            return self._track.shift_s(serial_s)
        return self.latency.shift_s(serial_s) if self.latency is not None else np.zeros(len(serial_s))

    def _gate(self, start_s: float, end_s: float) -> Gate:
        gate = gate_near(self._reader, start_s, end_s)
        return gate.shifted(self._shifts(gate.start_s))

    def advance(self, to_sample: int, cells_to_sample: int | None = None) -> None:
        """Measure up to a sample of this run.

        Args:
            to_sample: all bursts that could be heard before it are known.
            cells_to_sample: newest audio; the power cells may run ahead of the rows.
        """
        newest = max(to_sample, cells_to_sample or 0)
        if self._is_search_due(to_sample / self._rate_hz) or self._cells_lag_s(newest) > CELLS_EVERY_S:
            self._extend_cells(newest)
        self._search(to_sample / self._rate_hz)
        while to_sample / self._rate_hz - self._resume_s > 2 * OVERLAP_S or self._new_audio(to_sample):
            before = self._resume_s
            end_s = min(to_sample / self._rate_hz, self._resume_s + CHUNK_S)
            rows = self._measure(self._resume_s, end_s)
            self._resume_s = rows.resume_s
            self._rows.add(rows)
            if self._resume_s == before:
                return

    def backfill(self, to_s: float, budget_s: float = CHUNK_S) -> bool:
        """Extend the rows backwards by at most `budget_s` towards `to_s`; True when nothing is left to do."""
        if self.cover_s <= to_s or not self._rows:
            return True
        known_s = self._rows.start_s
        begin_s = max(to_s, self.cover_s - budget_s)
        self._follow_back(begin_s)
        rows = self._measure(begin_s, known_s + OVERLAP_S)
        older = int(np.searchsorted(rows.start_s, known_s - 1e-9))
        self._rows.add_before(rows.pick(slice(0, older)))
        self.cover_s = begin_s
        return self.cover_s <= to_s

    def rows(self, from_s: float, to_s: float) -> PollRows | None:
        """Rows wholly within a stretch of audio seconds, bin by bin; None when there are none.

        After `fold` there are none before `bins_from_s`.
        """
        return self._rows.newest(from_s, to_s)

    def all_rows(self, from_s: float, to_s: float) -> PollRows | None:
        """The same however they are held: with the bins of the band added up where `fold` has done so."""
        return self._rows.all_of(from_s, to_s)

    @property
    def bins_from_s(self) -> float:
        """From here on rows are held bin by bin."""
        return self._rows.bins_from_s

    def fold(self, step_s: float, until_s: float) -> None:
        """Hold the rows of a step in little memory, all but the newest.

        Args:
            step_s: where the step begins, in seconds of audio.
            until_s: rows after it stay as they are.
        """
        self._rows.fold(step_s, self.cover_s, until_s)

    def forget_before(self, s: float) -> None:
        """Let go of rows that end before a time."""
        if s > self.cover_s and self._rows:
            self._rows.forget_before(s)
            self._measured_s = [one for one in self._measured_s if one[1] > s]
            self.cover_s = s

    def _new_audio(self, to_sample: int) -> bool:
        return to_sample / self._rate_hz - self._resume_s > NEW_S

    def _measure(self, start_s: float, end_s: float) -> PollRows:
        first = int(start_s * self._rate_hz)
        samples = self._reader.audio.read(first, int(end_s * self._rate_hz) - first)
        self._measured_s.append((start_s, end_s, self.shift_at((start_s + end_s) / 2)))
        return measure_rows(samples, first, self._rate_hz, self._gate(start_s, end_s))

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

    def _cells_lag_s(self, newest_sample: int) -> float:
        return newest_sample / self._rate_hz - self._cells_resume_s

    def _is_search_due(self, now_s: float) -> bool:
        if self.latency is None:
            every_s = SEARCH_EVERY_S
        else:
            whole = self._cells is not None and len(self._cells.power) >= int(SEARCH_S * 1000)
            every_s = FOLLOW_EVERY_S if whole else SHARPEN_EVERY_S
        return not self._locked and now_s - self._searched_s >= every_s

    def _search(self, now_s: float) -> None:
        """Look for the latency now and then; where it moved, the rows must be measured again."""
        if self._cells is None or not self._is_search_due(now_s):
            return
        self._searched_s = now_s
        first_s = self._cells.first / 1000
        seconds = len(self._cells.power) / 1000
        gate = gate_near(self._reader, first_s, first_s + seconds)
        found = find_latency(self._cells.power, self._cells.first, gate)
        if found is None:
            return
        middle_s = first_s + seconds / 2 - found.seconds.value
        off_s = abs(found.seconds.value - self.shift_at(middle_s))
        if self.latency is None or off_s > MOVED_S:
            self._track.clear()
            self._forget_from(max(self.cover_s, now_s - SEARCH_S), everything=True)
        if self.latency is None or off_s > FOLLOWED_S:
            self._track.add(middle_s, found.seconds.value)
        self._tell(found, middle_s)
        stale_s = self._first_stale_s()
        if stale_s is not None:
            self._forget_from(max(self.cover_s, stale_s))

    def _tell(self, found: Latency, middle_s: float) -> None:
        """Keep the latency to be told, at its clearest so far."""
        score = found.score if self.latency is None else max(found.score, self.latency.score)
        value_s, half_s = self.shift_at(middle_s), (found.seconds.high - found.seconds.low) / 2
        seconds = Estimate(value_s, value_s - half_s, value_s + half_s)
        drift_ppm = self._track.drift_ppm()
        told = Latency(seconds, drift_ppm, found.modulo_s, score, middle_s)
        if self.latency is None or drift_ppm is not None or score > self.latency.score:
            self.latency = told
        self._known[self.run] = self.latency

    def _first_stale_s(self) -> float | None:
        """Start of the first stretch that was measured far from where the track now says it lies."""
        if not self._measured_s:
            return None
        start_s, end_s, used_s = np.array(self._measured_s).T
        stale = np.abs(self._shifts((start_s + end_s) / 2) - used_s) > STALE_S
        return float(start_s[stale].min()) if stale.any() else None

    def _forget_from(self, s: float, *, everything: bool = False) -> None:
        """Let go of the rows from a time on, so that they are measured again."""
        if everything:
            self._rows = KeptRows()
        self._rows.forget_from(s)
        if not self._rows:
            self.cover_s = self._resume_s = s
        else:
            self._resume_s = self._rows.end_s
        self._measured_s = [one for one in self._measured_s if one[1] <= self._resume_s and not everything]

    def _follow_back(self, begin_s: float) -> None:
        """Find the latency of a stretch before all that was measured."""
        if self._locked or self.latency is None:
            return
        first = int(begin_s * self._rate_hz)
        count = int((self.cover_s - begin_s) * self._rate_hz)
        cells = power_cells(self._reader.audio.read(first, count), first, self._rate_hz)
        found = find_latency(cells.power, cells.first, gate_near(self._reader, begin_s, self.cover_s))
        if found is None:
            return
        middle_s = (begin_s + self.cover_s) / 2 - found.seconds.value
        if FOLLOWED_S < abs(found.seconds.value - self.shift_at(middle_s)) < 2 * MOVED_S:
            self._track.add(middle_s, found.seconds.value)
