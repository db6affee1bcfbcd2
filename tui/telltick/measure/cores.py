"""Runs of frames in and around each poll: the core, quiet slots as long, and gaps between close polls."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from telltick.measure.frames import FrameSpec, Powers
from telltick.measure.gating import IDLE, Spans
from telltick.measure.kinds import QUIET
from telltick.model.traffic import Gate, Ints

INNER_REACH_S = 0.008  # holds all of a burst but a thousandth, with jitter of 2 ms too
SLOTS_A_SIDE = 8
_PLACES = np.array([*range(-SLOTS_A_SIDE, 0), *range(1, SLOTS_A_SIDE + 1)])
_CORE_FRAMES = 4  # at least: shorter runs share most of their samples with their neighbours


def core_bounds(frames: Ints, row: Ints, spec: FrameSpec, gate: Gate, spans: Spans) -> Ints:
    """Shape (rows, 2): first frame of each poll's core and the frame after its last; equal without a poll."""
    bounds = np.zeros((len(spans.poll), 2), dtype=np.int64)
    polled = np.flatnonzero(spans.poll != IDLE)
    poll = spans.poll[polled]
    middle_s = spec.centre_s(frames)
    start_s, end_s = gate.poll_start_s[poll], gate.poll_end_s[poll]
    first = np.searchsorted(middle_s, start_s)
    length = np.maximum(np.searchsorted(middle_s, end_s) - first, _CORE_FRAMES)
    short = np.searchsorted(middle_s, (start_s + end_s) / 2) - length // 2
    first = np.where(length == _CORE_FRAMES, short, first)
    low, high = np.searchsorted(row, polled), np.searchsorted(row, polled + 1)
    bounds[polled, 0] = np.clip(first, low, high)
    bounds[polled, 1] = np.clip(first + length, low, high)
    return bounds


def inner_bounds(frames: Ints, row: Ints, spec: FrameSpec, gate: Gate, spans: Spans, *, cores: Ints) -> Ints:
    """Shape (rows, 2): the run of frames whose middle lies within 8 ms of the poll, the core at least."""
    bounds = cores.copy()
    polled = np.flatnonzero(spans.poll != IDLE)
    poll = spans.poll[polled]
    middle_s = spec.centre_s(frames)
    low, high = np.searchsorted(row, polled), np.searchsorted(row, polled + 1)
    first = np.searchsorted(middle_s, gate.poll_start_s[poll] - INNER_REACH_S)
    last = np.searchsorted(middle_s, gate.poll_end_s[poll] + INNER_REACH_S)
    bounds[polled, 0] = np.minimum(cores[polled, 0], np.clip(first, low, high))
    bounds[polled, 1] = np.maximum(cores[polled, 1], np.clip(last, low, high))
    return bounds


def core_and_slots(
    power: Powers, row: Ints, kinds: npt.NDArray[np.int8], cores: Ints
) -> tuple[Powers, Ints, Ints, Powers]:
    """Mean power of each poll's core, and of runs of quiet frames as long, counted outwards from the poll."""
    has = np.flatnonzero(cores[:, 1] > cores[:, 0])
    length = (cores[has, 1] - cores[has, 0])[:, None]
    busy = np.flatnonzero(kinds != QUIET)
    first = busy[np.searchsorted(row[busy], has)][:, None]
    last = busy[np.searchsorted(row[busy], has + 1) - 1][:, None] + 1
    low, high = np.searchsorted(row, has)[:, None], np.searchsorted(row, has + 1)[:, None]
    start = np.where(_PLACES < 0, first + length * _PLACES, last + length * (_PLACES - 1))
    of_poll, place = np.nonzero((start >= low) & (start + length <= high))
    slot_start = start[of_poll, place]
    bounds = np.stack([slot_start, slot_start + length[of_poll, 0]], axis=1)
    return mean_over(power, cores), has[of_poll], _PLACES[place], mean_over(power, bounds)


def gap_bounds(cores: Ints, row: Ints, slot_row: Ints, slot_place: Ints) -> Ints:
    """Shape (rows, 4): two runs of frames, the outer halves of what lies before and after the core.

    Only for rows that lack a slot on a side; empty runs elsewhere. No run is longer than the core.
    """
    rows = np.arange(len(cores))
    low, high = np.searchsorted(row, rows), np.searchsorted(row, rows + 1)
    beside = np.bincount(slot_row[np.abs(slot_place) == 1], minlength=len(cores))
    length = np.where((beside < 2) & (cores[:, 1] > cores[:, 0]), cores[:, 1] - cores[:, 0], 0)
    before = np.minimum((cores[:, 0] - low + 1) // 2, length)
    after = np.minimum((high - cores[:, 1] + 1) // 2, length)
    return np.stack([low, low + before, high - after, high], axis=1)


def short_pairs(cores: Ints, gaps: Ints) -> tuple[Ints, Ints, Ints, Ints]:
    """Runs to set against each other where a poll lacks a quiet slot: a gap, and as many frames mid-core.

    Args:
        cores: shape (rows, 2), as `core_bounds` returned them.
        gaps: shape (rows, 4), as `gap_bounds` returned them.

    Returns:
        Row and place (-1 before the poll, +1 after it) of each pair, shape (pairs,); its gap and its piece of
        the core, shape (pairs, 2) each.
    """
    runs = gaps.reshape(-1, 2, 2)
    row, side = np.nonzero(runs[:, :, 1] > runs[:, :, 0])
    gap = runs[row, side]
    length = gap[:, 1] - gap[:, 0]
    start = (cores[row, 0] + cores[row, 1] - length) // 2
    return row, 2 * side - 1, gap, np.stack([start, start + length], axis=1)


def mean_over(values: Powers, runs: Ints) -> Powers:
    """Mean over the frames of each row's runs (pairs of first and after-last frame); NaN for none.

    Args:
        values: shape (frames, columns).
        runs: shape (rows, 2 * runs).
    """
    out = np.full((len(runs), values.shape[1]), np.nan, dtype=np.float32)
    begins, ends = runs[:, 0::2], runs[:, 1::2]
    count = (ends - begins).sum(axis=1)
    has = np.flatnonzero(count)
    if not len(has):
        return out
    if runs.shape[1] == 2:
        out[has] = _sum_runs(values, runs[has, 0], runs[has, 1]) / count[has, None].astype(np.float32)
        return out
    total = np.zeros((len(has), values.shape[1]), dtype=np.float32)
    for begin, end in zip(begins[has].T, ends[has].T, strict=True):
        filled = end > begin
        if filled.any():
            total[filled] += _sum_runs(values, begin[filled], end[filled])
    out[has] = total / count[has, None].astype(np.float32)
    return out


def _sum_runs(values: Powers, begin: Ints, end: Ints) -> Powers:
    """Shape (runs, columns): sums over frames [begin, end), none of them empty."""
    length = end - begin
    starts = np.cumsum(length) - length
    every = np.arange(int(length.sum())) - np.repeat(starts - begin, length)
    return np.asarray(np.add.reduceat(values[every], starts, axis=0))
