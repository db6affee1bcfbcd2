"""Audio reduced to one row per poll cycle: all that readings, spectra and tests need.

A row is a poll and the quiet time on both sides of it (each side at most one second, or half way to the
neighbouring poll), or one second without polls. Rows do not depend on how the audio was cut into chunks, so a
live view fed with seconds and an offline pass fed with minutes yield identical digits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from telltick.measure.cores import (
    core_and_slots,
    core_bounds,
    gap_bounds,
    inner_bounds,
    mean_over,
    short_pairs,
)
from telltick.measure.frames import FrameSpec, Powers, Samples, power_frames
from telltick.measure.gating import IDLE, Spans, row_spans
from telltick.measure.kinds import ACTIVE, floor_frames, kinds_of
from telltick.measure.verge import verge_power
from telltick.model.clock import Floats
from telltick.model.columns import Column
from telltick.model.traffic import Gate, Ints

_GROUP_ROWS = 64  # rows whose frames are held in memory at once


@dataclass(frozen=True)
class Summed:
    """What is still known of bins that were added up.

    Attributes:
        worth: equally strong bins that would fluctuate as much as the sum does.
        lost: share of the band left out of the sum as steady tones.
    """

    worth: float
    lost: float


@dataclass(frozen=True)
class PollRows:
    """Sums over the frames of each row. Powers are re a full-scale sine (0 dBFS), one value per bin.

    Active frames touch the gate within 8 ms; quiet frames lie 4 ms clear of every poll (the silence between a
    request and its reply is neither). The core is the run of frames whose middle lies within the poll; a slot
    is a run of frames of the same length, 8 ms clear of polls, so that core and slots are alike but for what
    polling does to them.

    Attributes:
        freq_hz: shape (bins,), bin centres.
        hop_s: time from frame to frame, in seconds.
        start_s: shape (rows,), in seconds of audio.
        end_s: shape (rows,).
        poll: shape (rows,), number of the poll in the gate it was measured with; -1 without a poll.
        on_s: shape (rows,), time during which bytes flow.
        core_s: shape (rows,), middle of the core in seconds of audio; NaN without a poll.
        core_frames: shape (rows,), frames in the core.
        inner_frames: shape (rows,), frames whose middle lies within 8 ms of the poll.
        core_share: shape (rows,), mean gate share of the core; NaN without a poll.
        inner_share: shape (rows,), mean gate share of those frames.
        gap_share: shape (rows,), mean gate share of the frames of `gap`; NaN where there are none.
        gate_share: shape (rows,), sum over active frames of the share of their energy inside the gate.
        active_frames: shape (rows,).
        quiet_frames: shape (rows,); halves where short frames count among them.
        rim_frames: shape (rows,), quiet frames within 20 ms of a poll.
        close_frames: shape (rows,), frames that are not quiet, but touch no poll by more than 1 ms.
        verge_frames: shape (rows,), short frames right beside the poll (`measure.verge`).
        active: shape (rows, bins), sum of power over active frames.
        core: shape (rows, bins), mean power over the core; NaN without a poll.
        inner: shape (rows, bins), mean power of the frames within 8 ms of the poll; NaN without a poll.
        gap: shape (rows, bins), where polls follow each other so closely that a side has no slot: mean power
            of the frames half way to the next polls, quiet or not; NaN elsewhere.
        quiet: shape (rows, bins), sum of power over quiet frames.
        rim: shape (rows, bins), sum of power over those within 20 ms of a poll.
        close: shape (rows, bins), sum of power over close frames.
        verge: shape (rows, bins), sum of power over those short frames.
        slot_row: shape (slots,), row of each slot, non-decreasing.
        slot_place: shape (slots,), -1, -2, ... before the poll, +1, +2, ... after it; 1 is adjacent.
        slots: shape (slots, bins), mean power over the slot's frames.
        pair_row: shape (pairs,), row of each short pair, non-decreasing: only where a side has no slot.
        pair_place: shape (pairs,), -1 before the poll, +1 after it.
        pair_gap: shape (pairs, bins), mean power of the frames half way to the next poll on that side.
        pair_core: shape (pairs, bins), mean power of as many frames in the middle of the core.
        resume_s: audio time from which the next chunk must start.
        summed: set where the bins of a band were added up into one (`measure.banded`).
    """

    freq_hz: Floats
    hop_s: float
    start_s: Floats
    end_s: Floats
    poll: Ints
    on_s: Floats
    core_s: Floats
    core_frames: Ints
    inner_frames: Ints
    core_share: Floats
    inner_share: Floats
    gap_share: Floats
    gate_share: Floats
    active_frames: Ints
    quiet_frames: Ints | Floats
    rim_frames: Ints | Floats
    close_frames: Ints
    verge_frames: Ints
    active: Powers
    core: Powers
    inner: Powers
    gap: Powers
    quiet: Powers
    rim: Powers
    close: Powers
    verge: Powers
    slot_row: Ints
    slot_place: Ints
    slots: Powers
    pair_row: Ints
    pair_place: Ints
    pair_gap: Powers
    pair_core: Powers
    resume_s: float
    summed: Summed | None = None

    @property
    def polls(self) -> int:
        """Number of rows with a poll."""
        return int(np.count_nonzero(self.poll != IDLE))

    @property
    def seconds(self) -> float:
        """Audio covered by the rows, in seconds."""
        return float(np.sum(self.end_s - self.start_s))

    def with_close(self) -> PollRows:
        """The same rows with the close frames counted as quiet: right where polls are weak."""
        return replace(
            self,
            quiet=self.quiet + self.close,
            quiet_frames=self.quiet_frames + self.close_frames,
            rim=self.rim + self.close,
            rim_frames=self.rim_frames + self.close_frames,
        )

    def with_verge(self, scale: float) -> PollRows:
        """The same rows with the short frames beside the polls counted as quiet, as half a frame each.

        Args:
            scale: what makes their power that of long frames in the same noise (`measure.verge`).
        """
        verge, frames = self.verge * np.float32(scale / 2), self.verge_frames / 2
        return replace(
            self,
            quiet=self.quiet + verge,
            quiet_frames=self.quiet_frames + frames,
            rim=self.rim + verge,
            rim_frames=self.rim_frames + frames,
        )

    def between(self, start_s: float, end_s: float) -> PollRows:
        """The rows that lie wholly within [start_s, end_s]."""
        first = int(np.searchsorted(self.start_s, start_s, side="left"))
        last = max(first, int(np.searchsorted(self.end_s, end_s, side="right")))
        return self.pick(slice(first, last))

    def pick(self, rows: slice) -> PollRows:
        """A run of rows."""
        first, last, _ = rows.indices(len(self.poll))
        slots = slice(*np.searchsorted(self.slot_row, [first, last]))
        pairs = slice(*np.searchsorted(self.pair_row, [first, last]))
        picked = {name: getattr(self, name)[rows] for name in _BY_ROW}
        picked |= {name: getattr(self, name)[slots] for name in _BY_SLOT}
        picked |= {name: getattr(self, name)[pairs] for name in _BY_PAIR}
        return PollRows(
            self.freq_hz,
            self.hop_s,
            **picked,
            slot_row=self.slot_row[slots] - first,
            pair_row=self.pair_row[pairs] - first,
            resume_s=self.resume_s,
            summed=self.summed,
        )

    @classmethod
    def join(cls, parts: Sequence[PollRows]) -> PollRows:
        """Rows of successive chunks as one.

        Raises:
            ValueError: nothing to join, or the parts have different frames.
        """
        if not parts:
            raise ValueError("there are no rows to join")
        if any(part.hop_s != parts[0].hop_s for part in parts):
            raise ValueError("rows of different sample rates cannot be joined")
        if any((part.summed is None) != (parts[0].summed is None) for part in parts):
            raise ValueError("rows of a band and rows of bins cannot be joined")
        offsets = np.cumsum([0] + [len(part.poll) for part in parts[:-1]])
        joined = {
            name: np.concatenate([getattr(part, name) for part in parts])
            for name in (*_BY_ROW, *_BY_SLOT, *_BY_PAIR)
        }
        slot_row, pair_row = (
            np.concatenate([rows + rows.dtype.type(o) for rows, o in zip(of_part, offsets, strict=True)])
            for of_part in ([part.slot_row for part in parts], [part.pair_row for part in parts])
        )
        return cls(
            parts[0].freq_hz,
            parts[0].hop_s,
            **joined,
            slot_row=slot_row,
            pair_row=pair_row,
            resume_s=parts[-1].resume_s,
            summed=_mean_sums([part.summed for part in parts], [len(part.poll) for part in parts]),
        )


class GrowingRows:
    """Rows of successive chunks, each copied once and let go of: `PollRows.join` needs twice the room."""

    def __init__(self, first: PollRows) -> None:
        """Begin with a first chunk."""
        self._freq_hz, self._hop_s, self._resume_s = first.freq_hz, first.hop_s, first.resume_s
        self._sums, self._counts = [first.summed], [len(first.poll)]
        names = (*_BY_ROW, *_BY_SLOT, *_BY_PAIR, *_ROW_NUMBERS)
        self._columns = {name: Column(getattr(first, name)) for name in names}

    def add(self, rows: PollRows) -> None:
        """Append the rows of the next chunk; their bins are added up where those of the first are."""
        before = len(self._columns["poll"])
        for name, column in self._columns.items():
            new = getattr(rows, name)
            column.extend(new + new.dtype.type(before) if name in _ROW_NUMBERS else new)
        self._resume_s = rows.resume_s
        self._sums.append(rows.summed)
        self._counts.append(len(rows.poll))

    def rows(self) -> PollRows:
        """All rows so far, as `PollRows.join` would have them; they stay as they are when more come."""
        return PollRows(
            self._freq_hz,
            self._hop_s,
            **{name: column.values for name, column in self._columns.items()},
            resume_s=self._resume_s,
            summed=_mean_sums(self._sums, self._counts),
        )


def _mean_sums(sums: Sequence[Summed | None], counts: Sequence[int]) -> Summed | None:
    """Of successive chunks of so many rows: the mean over their rows."""
    told = [(one.worth, one.lost) for one in sums if one is not None]
    if not told:
        return None
    worth, lost = np.average(told, axis=0, weights=[max(count, 1) for count in counts])
    return Summed(float(worth), float(lost))


_BY_SLOT = ("slot_place", "slots")
_BY_PAIR = ("pair_place", "pair_gap", "pair_core")
_ROW_NUMBERS = ("slot_row", "pair_row")
_NOT_BY_ROW = {"freq_hz", "hop_s", "resume_s", "summed", *_ROW_NUMBERS, *_BY_SLOT, *_BY_PAIR}
_BY_ROW = tuple(f.name for f in fields(PollRows) if f.name not in _NOT_BY_ROW)


def measure_rows(samples: Samples, first_sample: int, rate_hz: int, gate: Gate) -> PollRows:
    """Reduce a stretch of audio without gaps to rows.

    Only rows that lie wholly inside the stretch, and that no poll still to come could alter, are returned;
    feed the audio from `resume_s` on with the next call.

    Args:
        samples: shape (n,), audio as recorded.
        first_sample: index of ``samples[0]`` in the recording.
        rate_hz: sample rate.
        gate: bursts in audio time, latency applied; it must hold the polls inside and next to the stretch.
    """
    spec = FrameSpec.for_rate(rate_hz)
    half_s = spec.length_s / 2
    start_s, end_s = first_sample / rate_hz, (first_sample + len(samples)) / rate_hz
    spans = row_spans(gate, start_s + half_s, end_s - half_s)
    groups = [
        _measure_group(samples, first_sample, spec, gate, _rows_of(spans, slice(i, i + _GROUP_ROWS)))
        for i in range(0, len(spans.poll), _GROUP_ROWS)
    ]
    resume_s = start_s if not len(spans.end_s) else float(spans.end_s[-1]) - half_s - 1 / rate_hz
    if not groups:
        return _no_rows(spec, resume_s)
    return replace(groups[0] if len(groups) == 1 else PollRows.join(groups), resume_s=resume_s)


def _rows_of(spans: Spans, rows: slice) -> Spans:
    return Spans(spans.start_s[rows], spans.end_s[rows], spans.poll[rows])


def _no_rows(spec: FrameSpec, resume_s: float) -> PollRows:
    nobody = Gate(np.zeros(0), np.zeros(0), np.zeros(0, dtype=bool), np.zeros(0, dtype=np.int64))
    spans = Spans(np.zeros(0), np.zeros(0), np.zeros(0, dtype=np.int64))
    return _measure_group(np.zeros(0, dtype=np.int16), 0, spec, nobody, spans, resume_s=resume_s)


def _measure_group(
    samples: Samples, first_sample: int, spec: FrameSpec, gate: Gate, spans: Spans, *, resume_s: float = 0.0
) -> PollRows:
    frames, row = _frames_of(spans, spec)
    power = _power_of(samples, first_sample, spec, frames)
    kinds, share = kinds_of(frames, spec, gate)
    count = len(spans.poll)
    cores = core_bounds(frames, row, spec, gate, spans)
    inner = inner_bounds(frames, row, spec, gate, spans, cores=cores)
    core, slot_row, slot_place, slots = core_and_slots(power, row, kinds, cores)
    gaps = gap_bounds(cores, row, slot_row, slot_place)
    pair_row, pair_place, pair_gap, pair_core = short_pairs(cores, gaps)
    is_active = kinds == ACTIVE
    floor = floor_frames(frames, spec, gate)
    some = {"active": is_active, "quiet": floor.quiet, "rim": floor.rim, "close": floor.close}
    verge, verge_frames = verge_power(samples, first_sample, spec, gate, spans)
    on_s, core_s = _poll_times(gate, spans)
    return PollRows(
        freq_hz=spec.freq_hz,
        hop_s=spec.hop_s,
        start_s=spans.start_s,
        end_s=spans.end_s,
        poll=spans.poll,
        on_s=on_s,
        core_s=core_s,
        core_frames=np.diff(cores, axis=1)[:, 0],
        inner_frames=np.diff(inner, axis=1)[:, 0],
        core_share=_mean_share(share, cores),
        inner_share=_mean_share(share, inner),
        gap_share=_mean_share(share, gaps),
        gate_share=np.bincount(row, weights=share * is_active, minlength=count).astype(np.float64),
        core=core,
        inner=mean_over(power, inner),
        gap=mean_over(power, gaps),
        slot_row=slot_row,
        slot_place=slot_place,
        slots=slots,
        pair_row=pair_row,
        pair_place=pair_place,
        pair_gap=mean_over(power, pair_gap),
        pair_core=mean_over(power, pair_core),
        verge=verge,
        verge_frames=verge_frames,
        resume_s=resume_s,
        **_sums_by_row(power, row, count, some),
    )


def _power_of(samples: Samples, first_sample: int, spec: FrameSpec, frames: Ints) -> Powers:
    """Shape (frames, bins): power of some frames of the recording."""
    if not len(frames):
        return np.zeros((0, spec.bins), dtype=np.float32)
    begin, end = int(frames[0]) * spec.hop, int(frames[-1]) * spec.hop + spec.length
    power = power_frames(samples[begin - first_sample : end - first_sample], spec, begin)
    return power if len(power) == len(frames) else power[frames - frames[0]]


def _mean_share(share: Floats, runs: Ints) -> Floats:
    return np.asarray(mean_over(share[:, None].astype(np.float32), runs)[:, 0], dtype=np.float64)


def _poll_times(gate: Gate, spans: Spans) -> tuple[Floats, Floats]:
    """Shape (rows,) each: time during which bytes flow, and the middle of the poll (NaN without one)."""
    polled = spans.poll != IDLE
    poll = spans.poll[polled]
    on_s, core_s = np.zeros(len(polled)), np.full(len(polled), np.nan)
    on_s[polled] = gate.on_s[poll]
    core_s[polled] = (gate.poll_start_s + gate.poll_end_s)[poll] / 2
    return on_s, core_s


def _frames_of(spans: Spans, spec: FrameSpec) -> tuple[Ints, Ints]:
    """Frames whose middle lies in a row, and that row's index."""
    if not len(spans.poll):
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    first = spec.first_frame(int(spans.start_s[0] * spec.rate_hz) - spec.length // 2) - 1
    last = int(spans.end_s[-1] * spec.rate_hz) // spec.hop
    frames = np.arange(first, last + 1)
    middle = spec.centre_s(frames)
    row = np.searchsorted(spans.start_s, middle, side="right") - 1
    inside = (row >= 0) & (middle < spans.end_s[np.maximum(row, 0)])
    return frames[inside], row[inside]


def _sums_by_row(
    power: Powers, row: Ints, rows: int, some: dict[str, npt.NDArray[np.bool_]]
) -> dict[str, Any]:
    """Sums of frames of some kinds by their row (non-decreasing), and how many they are, by name."""
    out: dict[str, Any] = {}
    for name, of in some.items():
        out[name] = np.zeros((rows, power.shape[1]), dtype=np.float32)
        starts = np.flatnonzero(np.diff(row[of], prepend=-1))
        if len(starts):
            out[name][row[of][starts]] = np.add.reduceat(power[of], starts, axis=0)
        out[f"{name}_frames"] = np.bincount(row[of], minlength=rows).astype(np.int64)
    return out
