"""Audio into the session: blocks to segments, arrivals to clock anchors, losses to gaps."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable
from typing import Protocol

import numpy as np

from telltick.engine.line_channel import LineChannel, PlannedAnchors
from telltick.model.clock import NS, Anchor, ArrivalFilter
from telltick.model.errors import DeviceError, StorageError
from telltick.model.session import Gap, GapKind, HealthNote
from telltick.sources.audio import FIRST_BLOCK_S, AudioBlock, AudioSource, Samples
from telltick.store.segments import AudioWriter

ANCHOR_EVERY_NS = NS
RETRY_EVERY_NS = NS
WAKE_NS = round(FIRST_BLOCK_S * NS)  # how long a source that says nothing is wrong may take to deliver
SAY_AGAIN_NS = 600 * NS  # a source that stays away is not told of at every attempt
DEFICIT_NS = NS // 5  # a block this much later than its samples say raises doubt
DOUBT_NS = NS // 4  # ... and when the blocks after it have not caught up by then, samples were lost
FULL_SCALE = 32767


class Notebook(Protocol):
    """Whoever journals what is known of the audio: a `Journal`, or a `Ledger` before one."""

    def add_anchor(self, anchor: Anchor) -> None:
        """Note where the audio clock met the session clock."""

    def open_gap(self, gap: Gap) -> int:
        """Note that audio stopped; returns the gap's number."""

    def close_gap(self, number: int, sample: int, end_ns: int) -> None:
        """Note that audio came back."""

    def add_health(self, note: HealthNote) -> None:
        """Note an observation about the inputs."""


class AudioCapture:
    """One audio source written to one session, run after run.

    A *run* is a stretch of audio without loss. Whatever is lost between two runs is journalled as a gap.
    """

    def __init__(
        self,
        source: AudioSource,
        writer: AudioWriter,
        journal: Notebook,
        sink: Callable[[AudioBlock], None],
        *,
        now_ns: Callable[[], int],
        zero_ns: int,
        wall_ns: Callable[[], int] = time.time_ns,
        line: LineChannel | None = None,
    ) -> None:
        """Prepare to record.

        Args:
            source: where audio comes from.
            writer: where it goes.
            journal: told of anchors, gaps and clipping.
            sink: takes blocks from the source's thread; its owner hands them to `take`.
            now_ns: session time.
            zero_ns: monotonic time of session time 0, which the blocks' stamps are on.
            wall_ns: wall-clock time.
            line: takes the channel of the data line, where the source delivers one.
        """
        self._source = source
        self._writer = writer
        self._journal = journal
        self._sink = sink
        self._now_ns = now_ns
        self._zero_ns = zero_ns
        self._wall_ns = wall_ns
        self._line = line
        self._planned: PlannedAnchors | None = None  # with a line: within runs
        self._run = 0
        self._filter: ArrivalFilter | None = None  # None between runs
        self._last_arrival_ns = 0
        self._held: list[AudioBlock] = []  # late blocks: after a loss, or about to catch up
        self._next_anchor_ns = 0
        self._open_gap: int | None = None
        self._retry_at_ns = 0  # for a source that says it is lost
        self._awake_by_ns = 0  # for one that is only silent
        self._clipped = 0
        self._paused = False
        self._refusal = ("", 0)  # words of the last failed attempt to get the source back, and when told

    def start(self) -> None:
        """Start the source.

        Raises:
            DeviceError: it cannot be opened.
        """
        self._source.start(self._sink)
        self._last_arrival_ns = self._now_ns()

    def take(self, block: AudioBlock) -> None:
        """Write one block and keep the clock.

        A block that comes late is held for a moment. A busy machine hands the next ones over at once and the
        run goes on; where they stay late, samples are missing before the first of them.
        """
        if self._paused:
            return
        if block.overflow:
            self._decide_held()
            if self._filter is not None:
                self._lose(GapKind.OVERFLOW, "the sound system dropped samples")
        elif self._late(block):
            self._held.append(block)
            if block.arrival_ns - self._held[0].arrival_ns > DOUBT_NS:
                self._decide_held()
            return
        held, self._held = self._held, []
        for one in (*held, block):
            self._write(one)

    def _late(self, block: AudioBlock) -> bool:
        """Whether it came later than the samples of its run say."""
        if self._filter is None:
            return False
        end = self._writer.samples + sum(len(one.samples) for one in (*self._held, block))
        return block.arrival_ns - self._zero_ns - self._filter.t_ns(end) > DEFICIT_NS

    def _decide_held(self) -> None:
        """The blocks that are held did not catch up: they begin a run of their own."""
        if not self._held:
            return
        held, self._held = self._held, []
        self._lose(GapKind.STALLED, "fewer samples came than the clock says")
        for one in held:
            self._write(one)

    def _write(self, block: AudioBlock) -> None:
        arrival_ns = block.arrival_ns - self._zero_ns
        if self._open_gap is not None:
            start_ns = arrival_ns - len(block.samples) * NS // self._source.rate_hz
            # Arrivals jitter: a loss of a few samples may seem to end before it began.
            start_ns = max(start_ns, self._last_arrival_ns)
            self._journal.close_gap(self._open_gap, self._writer.samples, start_ns)
            self._open_gap, self._refusal = None, ("", 0)
        if self._filter is None:
            self._filter = ArrivalFilter(self._source.rate_hz)
            self._next_anchor_ns = arrival_ns
        first = self._writer.samples
        self._writer.write(block.samples)
        self._filter.add(self._writer.samples, arrival_ns)
        self._last_arrival_ns = arrival_ns
        self._clipped += int(np.count_nonzero(np.abs(block.samples.astype(np.int32)) >= FULL_SCALE))
        if self._line is not None:
            self._write_line(self._line, first, block.line)
        elif arrival_ns >= self._next_anchor_ns:
            self._next_anchor_ns = arrival_ns + ANCHOR_EVERY_NS
            self._anchor(first, self._filter.t_ns(first))

    def _write_line(self, line: LineChannel, first: int, samples: Samples | None) -> None:
        """Take the line's channel, on anchors that are known before they are written."""
        assert self._filter is not None
        if self._planned is None:
            self._planned = PlannedAnchors(self._source.rate_hz, first, self._filter.t_ns(first))
            self._anchor(first, self._planned.anchor_ns)
        if samples is not None:
            line.take(first, samples, self._planned.t_ns)
        while self._planned.due(self._writer.samples):
            self._planned.step(self._filter.t_ns(self._planned.sample + self._source.rate_hz))
            self._anchor(self._planned.sample, self._planned.anchor_ns)

    def watch(self) -> None:
        """Notice a lost or stalled source, and try to get it back."""
        if self._source.over or self._paused:
            return
        problem = self._source.problem()
        if self._open_gap is not None:
            now_ns = self._now_ns()
            if now_ns >= (self._awake_by_ns if problem is None else self._retry_at_ns):
                self._reopen()
        elif problem is not None:
            self._decide_held()
            self._lose(GapKind.DEVICE_LOST, problem)

    def break_off(self, note: str) -> None:
        """Part what comes from what came: time has passed that no clock of the session saw."""
        self._decide_held()
        if self._filter is not None:
            self._lose(GapKind.PAUSED, note)

    def pause(self, kind: GapKind, note: str) -> None:
        """Write no more until `resume`; blocks are let go, and a gap says why.

        Raises:
            StorageError: the gap could not be journalled. Nothing is written all the same; try again later.
        """
        self._paused = True
        self._held = []
        with contextlib.suppress(StorageError):  # the header can wait: readers go by the file's size
            self._writer.sync()
        if self._open_gap is None:
            self._lose(kind, note)

    def resume(self) -> None:
        """Write again; the next block ends the gap."""
        self._paused = False
        self._be_patient()

    @property
    def over(self) -> bool:
        """Nothing more will come."""
        return self._source.over

    def end_run(self) -> None:
        """Write what is held and tell of what the data line was saying: nothing more will come."""
        self._decide_held()
        self._end_line()

    def stop_source(self) -> None:
        """Stop the source; blocks already handed over may still be taken."""
        self._source.stop()

    def close(self) -> None:
        """Write what is still held, and close the audio file; a gap that is open stays open."""
        try:
            self._decide_held()
            self._end_line()
            self._note_clipping()
        finally:
            self._writer.close()

    def _lose(self, kind: GapKind, note: str) -> None:
        """End the run and open a gap."""
        self._be_patient()
        gap = Gap(kind, self._writer.samples, self._last_arrival_ns, None, note)
        self._open_gap = self._journal.open_gap(gap)
        self._end_line()
        if self._filter is not None:
            self._filter = None
            self._run += 1

    def _end_line(self) -> None:
        """What the line says next does not follow what it said."""
        if self._line is not None and self._planned is not None:
            self._line.end_run(self._planned.t_ns)
            last = self._writer.samples - 1
            if last > self._planned.sample:  # up to here the mapping was as planned, not level
                self._anchor(last, self._planned.t_ns(last))
        self._planned = None

    def _be_patient(self) -> None:
        """Leave the source time before it is opened anew: an idle input wakes slowly."""
        now_ns = self._now_ns()
        self._retry_at_ns, self._awake_by_ns = now_ns + RETRY_EVERY_NS, now_ns + WAKE_NS

    def _reopen(self) -> None:
        self._be_patient()
        self._source.stop()
        try:
            self._source.start(self._sink)
        except DeviceError as why:
            self._tell_refusal(str(why))

    def _tell_refusal(self, words: str) -> None:
        """Say why the source does not come back: when the words change, and now and then all night."""
        before, told_ns = self._refusal
        now_ns = self._now_ns()
        if words != before or now_ns - told_ns >= SAY_AGAIN_NS:
            self._refusal = words, now_ns
            self._journal.add_health(HealthNote(now_ns, "audio not back", 0.0, words))

    def _anchor(self, sample: int, t_ns: int) -> None:
        """Journal where the audio clock stands; a run's first anchor is at its first sample."""
        self._journal.add_anchor(Anchor(self._run, sample, t_ns, self._wall_ns()))
        self._note_clipping()

    def _note_clipping(self) -> None:
        if self._clipped:
            self._journal.add_health(HealthNote(self._now_ns(), "clipping", float(self._clipped)))
            self._clipped = 0
