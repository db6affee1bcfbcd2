"""One pass through a session's audio: rows of polls for every step, each gathered once.

The pass goes on where it stopped when the session has grown. It goes back to the beginning of a step where
that step's borders were changed (a mark undone or added), or where the latency turned out to be another one.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from telltick.engine.cell_store import CellStore
from telltick.engine.effort import Effort, Work
from telltick.engine.gates import gate_near
from telltick.engine.heap import give_back_what_is_free
from telltick.engine.run_latency import RunLatencies
from telltick.engine.spans import Span, capture_runs, run_at, session_steps, shift_s, step_span
from telltick.engine.step_tally import StepTally
from telltick.engine.told import told_until
from telltick.measure.rows import PollRows, measure_rows
from telltick.model.marks import Step
from telltick.model.readings import Latency
from telltick.store.lock import held
from telltick.store.session import SessionReader

CHUNK_S = 60.0
BEFORE_S = 0.05  # a step's first row needs the frames around its beginning
MOST_HELD = 450_000  # rows of a session held at once: a day at five polls a second
FEWEST_LET_GO = 1000  # rows; a step of fewer is held for good
MOVED_S = 0.002  # a latency that moved by more than this makes rows stale; the guard around bursts is 8 ms


@dataclass(frozen=True)
class Gathered:
    """What a pass has found.

    Attributes:
        steps: the steps so far.
        spans: where each lies in the audio, latency applied.
        tallies: what was gathered of each.
        runs: the capture runs.
        latencies: the latency of each run.
        until_s: audio up to here has been gathered.
    """

    steps: tuple[Step, ...]
    spans: tuple[Span, ...]
    tallies: tuple[StepTally, ...]
    runs: tuple[Span, ...]
    latencies: tuple[Latency | None, ...]
    until_s: float

    def is_over(self, index: int) -> bool:
        """Whether nothing can be added to a step any more."""
        return index < len(self.steps) - 1 and self.spans[index].end_s <= self.until_s

    def latency_of(self, index: int) -> Latency | None:
        """The latency of the run that a step begins in."""
        return self.latencies[run_at(self.runs, self.spans[index].start_s)] if self.runs else None

    @property
    def best_latency(self) -> Latency | None:
        """That of the run with the strongest tie."""
        known = [latency for latency in self.latencies if latency is not None]
        return max(known, key=lambda one: one.score, default=None)


class Gathering:
    """Gathers the rows of a session's steps, up to the moment last asked for."""

    def __init__(self, reader: SessionReader, cells: CellStore, latency_s: float | None = None) -> None:
        """Begin.

        Args:
            reader: an open session; this is the only one who reads from it.
            cells: its power cells.
            latency_s: the latency, where the user says it.
        """
        self._reader = reader
        self._rate_hz = reader.facts.rate_hz
        self._latencies = RunLatencies(reader, cells, latency_s)
        self._in_use: dict[float, Latency | None] = {}  # by the run's beginning: what its rows were cut with
        self._spans: list[Span] = []
        self._tallies: list[StepTally] = []
        self._resume_s = 0.0

    def gather(self, effort: Effort) -> Gathered:
        """Read what is new.

        Args:
            effort: told what is done.

        Raises:
            CancelledError: the effort is to be given up; a later call goes on from there.
        """
        steps = session_steps(self._reader)
        runs = capture_runs(self._reader)
        until_s = self._known_until_s()
        effort.expect(Work.SEARCH, sum(self._latencies.to_search_s(run) for run in runs))
        effort.expect(Work.ROWS, max(until_s - self._resume_s, 0.0))
        found = [self._latencies.of(run, effort) for run in runs]
        self._drop_moved(runs, found)
        in_use = [self._in_use[run.start_s] for run in runs]
        spans = [step_span(self._reader, step, runs, in_use) for step in steps]
        self._drop_changed(spans)
        effort.expect(Work.ROWS, max(until_s - self._resume_s, 0.0))
        for run, latency in zip(runs, in_use, strict=True):
            end_s = min(run.end_s, until_s)
            if end_s > self._resume_s:
                self._pass_through(Span(max(run.start_s, self._resume_s), end_s), latency, effort)
        while len(self._tallies) < len(spans):
            self._begin_tally()
        if self._tallies and self._reader.ending is not None:
            self._tallies[-1].close()  # or a day's rows would be held twice
            self._make_room()
        return Gathered(steps, tuple(spans), tuple(self._tallies), tuple(runs), tuple(found), self._resume_s)

    def _known_until_s(self) -> float:
        """Audio before this is whole: every burst that could be heard in it is in the journal."""
        growing = self._reader.ending is None and held(self._reader.folder)
        return told_until(self._reader, growing=growing) / self._rate_hz

    # ---- what is kept

    def _drop_moved(self, runs: Sequence[Span], found: Sequence[Latency | None]) -> None:
        """Go back to the beginning of the first run whose rows were cut at another latency."""
        moved = None
        for run, latency in zip(runs, found, strict=True):
            known = run.start_s in self._in_use
            if not known or _differ(self._in_use[run.start_s], latency, run):
                self._in_use[run.start_s] = latency
                if known and run.start_s < self._resume_s and moved is None:
                    moved = run.start_s
        if moved is not None:
            self._go_back(next((k for k, span in enumerate(self._spans) if span.end_s > moved), 0))

    def _drop_changed(self, spans: list[Span]) -> None:
        """Go back to the first step whose borders are others than when its rows were gathered."""
        for index, (known, span) in enumerate(zip(self._spans, spans, strict=False)):
            grew = span.end_s > known.end_s and known.end_s >= self._resume_s
            cut = span.end_s < known.end_s and span.end_s >= self._resume_s
            same = abs(span.end_s - known.end_s) < MOVED_S
            if abs(span.start_s - known.start_s) >= MOVED_S or not (same or grew or cut):
                self._go_back(index)
                break
        else:
            if len(spans) < len(self._tallies):
                self._go_back(len(spans))
        self._spans = spans

    def _go_back(self, index: int) -> None:
        """Forget what was gathered from a step on."""
        if index < len(self._tallies):
            self._resume_s = max(0.0, min(self._resume_s, self._spans[index].start_s - BEFORE_S))
            del self._tallies[index:]

    # ---- the pass

    def _pass_through(self, stretch: Span, latency: Latency | None, effort: Effort) -> None:
        """Rows of a stretch of one run, a minute of audio in memory at a time."""
        at_s = stretch.start_s
        while at_s < stretch.end_s:
            end_s = min(stretch.end_s, at_s + CHUNK_S)
            rows = self._measure(Span(at_s, end_s), latency)
            self._share_out(rows)
            resume_s = rows.resume_s
            self._resume_s = max(self._resume_s, resume_s)
            effort.done(Work.ROWS, end_s - at_s)
            time.sleep(0)  # the screen's thread goes first
            if end_s >= stretch.end_s:
                return
            at_s = resume_s if resume_s > at_s else end_s

    def _measure(self, chunk: Span, latency: Latency | None) -> PollRows:
        gate = gate_near(self._reader, chunk.start_s, chunk.end_s, texts=False)
        if latency is not None:
            gate = gate.shifted(latency.shift_s(gate.start_s))
        first, end = int(chunk.start_s * self._rate_hz), int(chunk.end_s * self._rate_hz)
        return measure_rows(self._reader.audio.read(first, end - first), first, self._rate_hz, gate)

    def _share_out(self, rows: PollRows) -> None:
        """Give each row to the step that it lies in; what is measured in hands-on time is nobody's."""
        if not len(rows.poll):
            return
        starts = np.array([span.start_s for span in self._spans])
        first = max(0, int(np.searchsorted(starts, rows.start_s[0], side="right")) - 1)
        last = int(np.searchsorted(starts, rows.end_s[-1], side="right"))
        for index in range(first, last):
            while len(self._tallies) <= index:
                if self._tallies:
                    self._tallies[-1].close()
                self._begin_tally()
            span = self._spans[index]
            self._tallies[index].add(rows.between(span.start_s, span.end_s))
        self._make_room()

    def _begin_tally(self) -> None:
        start_s = self._spans[len(self._tallies)].start_s
        runs = capture_runs(self._reader)
        latency = self._in_use.get(runs[run_at(runs, start_s)].start_s) if runs else None
        self._tallies.append(StepTally(start_s, latency))

    def _make_room(self) -> None:
        """Let go of the first half of the rows where they are more than a day's.

        They grow ten minutes at a time, so that it does not matter in which pieces the audio came. Steps that
        are over go as a whole.
        """
        held = sum(tally.held for tally in self._tallies)
        if held <= MOST_HELD:
            return
        to_go = held - MOST_HELD // 2
        for tally in self._tallies:
            if tally.held >= FEWEST_LET_GO and to_go > 0:
                over = tally is not self._tallies[-1]
                count = tally.held if over else min(max(to_go, FEWEST_LET_GO), tally.held)
                tally.let_go_of(count)
                to_go -= count
        give_back_what_is_free()


def _differ(known: Latency | None, found: Latency | None, run: Span) -> bool:
    """Whether two latencies put the gate elsewhere somewhere in a run."""
    return any(
        abs(shift_s(known, at_s) - shift_s(found, at_s)) > MOVED_S for at_s in (run.start_s, run.end_s)
    )
