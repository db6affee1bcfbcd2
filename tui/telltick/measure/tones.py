"""Steady tones and hum: bins that would be counted as noise floor but are not noise.

A tone raises a bin above its neighbours and makes it fluctuate less. Noise power has a squared coefficient of
variation of 1; a steady tone of r - 1 times the noise beside it lowers that to (2 r - 1) / r^2.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from telltick.measure.cells import running_median
from telltick.measure.robust import median, quantile, row_medians
from telltick.measure.rows import PollRows
from telltick.measure.shapes import mean_shape
from telltick.model.clock import Floats
from telltick.model.readings import Band
from telltick.model.traffic import Ints

_LEVEL = 1.25  # a bin this far above its surroundings holds a tone a quarter as strong as the noise
_STRONG = 4.0  # a bin this far above is left out however it varies: tones may beat
_STEADY = 0.8
_RESTLESS = 1.5  # a bin that varies this much more than its neighbours holds speech or the like, not a tone
_REACH = 10  # bins on each side that tell the level around a bin
_MOST = 0.7  # level alone may not condemn more than this share of the band: then it is the filter's shape
_CALM = 1.5  # pieces this far above the quieter ones are left out: crashes and speech hide tones
_ALIKE = 0.1  # pieces of other lengths vary more or less than the rest by themselves
_FEW, _MANY = 30, 1200  # pieces
_PASSES = 4


def band_bins(rows: PollRows, band: Band) -> npt.NDArray[np.bool_]:
    """Shape (bins,), True for bins whose centre lies in the band."""
    return (rows.freq_hz >= band.low_hz) & (rows.freq_hz <= band.high_hz)


def tonal_bins(rows: PollRows, band: Band) -> npt.NDArray[np.bool_]:
    """Shape (bins,), True for bins of the band that hold a steady tone, and the bins next to them."""
    inside = np.flatnonzero(band_bins(rows, band))
    tonal = np.zeros(len(rows.freq_hz), dtype=bool)
    if len(inside) < 5:  # or the bins were added up
        return tonal
    pieces, frames, shape = _quiet_pieces(rows, inside)
    if len(pieces) < 8 or len(pieces) * frames < _FEW:
        return tonal
    calm, relative = _calm(pieces)
    chance = np.sqrt(2 / len(calm))
    level = np.median(relative, axis=0)
    # Where the noise fades a tone is steady as it stands; where everything fades, beside the other bins.
    variation = np.minimum(_variation(calm), _variation(relative))
    steady = variation * shape < _STEADY * (1 - 3 * chance)
    found = steady | _loud(calm, relative, level, steady, _LEVEL + 4 * chance / float(np.sqrt(shape)))
    if found.mean() > _MOST:
        found = steady
    found |= np.roll(found, 1) | np.roll(found, -1)
    if not found.all():
        tonal[inside] = found
    return tonal


def _loud(
    calm: Floats, relative: Floats, level: Floats, steady: npt.NDArray[np.bool_], threshold: float
) -> npt.NDArray[np.bool_]:
    """Bins that stand out from their surroundings and are no more restless than these."""
    loud = level > threshold * _around(level, steady)
    if not loud.any():
        return loud
    unrest = np.minimum(_spread(calm), _spread(relative))
    for _ in range(_PASSES):  # tones beside a bin must not raise what it is held against
        found = steady | loud
        around = _around(level, found)
        calm_enough = unrest < _RESTLESS * _around(unrest, found)
        loud = (level > threshold * around) & (calm_enough | (level > _STRONG * around))
    return loud


def _around(values: Floats, leave_out: npt.NDArray[np.bool_]) -> Floats:
    """Running median over the bins near each bin, some left out; the median of all where few are near."""
    kept = np.where(leave_out, np.nan, values)
    if np.all(leave_out):
        return np.full(len(values), np.median(values))
    padded = np.pad(kept, _REACH, constant_values=np.nan)
    near = np.lib.stride_tricks.sliding_window_view(padded, 2 * _REACH + 1)
    few = np.isfinite(near).sum(axis=1) < _REACH // 2
    return np.where(few, np.nanmedian(kept), row_medians(near))


def _quiet_pieces(rows: PollRows, inside: Ints) -> tuple[Floats, float, float]:
    """Mean power of quiet pieces of time, shape (pieces, bins), frames in each, and the shape nu of noise.

    Pieces are slots, else rows, whose quiet lies in two runs: before the poll and after it.
    """
    if len(rows.slots) >= _FEW:
        every = -(-len(rows.slots) // _MANY)
        frames = median(rows.core_frames[rows.slot_row])
        return (
            np.maximum(rows.slots[::every, inside].astype(np.float64), 1e-30),
            frames,
            float(mean_shape(frames)),
        )
    has = np.flatnonzero(rows.quiet_frames > 0)
    if not len(has):
        return np.zeros((0, len(inside))), 0.0, 0.0
    frames = median(rows.quiet_frames[has])
    has = has[np.abs(rows.quiet_frames[has] - frames) <= _ALIKE * frames]
    pieces = np.maximum(rows.quiet[np.ix_(has, inside)] / rows.quiet_frames[has, None], 1e-30)
    return pieces, frames, float(max(2 * mean_shape(frames / 2), mean_shape(frames)))


def _calm(pieces: Floats) -> tuple[Floats, Floats]:
    """The quieter pieces, as they are and relative to their own level."""
    level = row_medians(pieces)[:, None]
    calm = level[:, 0] <= _CALM * quantile(level[:, 0], 0.25)
    return pieces[calm], np.asarray(pieces[calm] / level[calm])


def _variation(pieces: Floats) -> Floats:
    """Squared coefficient of variation of each bin over time."""
    return np.asarray(pieces.var(axis=0) / np.maximum(pieces.mean(axis=0), 1e-30) ** 2)


def _spread(pieces: Floats) -> Floats:
    """Squared robust spread of each bin's log power over time."""
    logs = np.log(pieces)
    return np.asarray(np.median(np.abs(logs - np.median(logs, axis=0)), axis=0) ** 2 + 1e-6)


def floor_of(level: Floats, tonal: npt.NDArray[np.bool_]) -> Floats:
    """A spectrum with its tonal bins replaced by the running median around them."""
    if not tonal.any():
        return level
    return np.where(tonal, running_median(level, _REACH), level)


def clear_share(rows: PollRows, band: Band, tonal: npt.NDArray[np.bool_]) -> float:
    """Share of the band's noise floor that lies in bins without tones: what a sum over them is divided by.

    Beneath a tone the floor is taken to be as around it, so that levels with and without tones compare.
    """
    inside = band_bins(rows, band)
    floor = floor_of(rows.quiet.sum(axis=0, dtype=np.float64), tonal)
    total = float(floor[inside].sum())
    return float(floor[inside & ~tonal].sum()) / total if total > 0 else 1.0
