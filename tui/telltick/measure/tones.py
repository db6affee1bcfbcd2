"""Steady tones and hum: bins that would be counted as noise floor but are not noise."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from telltick.measure.cells import running_median
from telltick.measure.rows import PollRows
from telltick.model.clock import Floats
from telltick.model.readings import Band

_LEVEL = 1.5  # a bin this far above the level around it holds a tone at least half as strong as the noise
_STEADY = 0.8  # noise power has a squared coefficient of variation of 1, a steady tone of 0
_REACH = 10  # bins on each side that tell the level around a bin
_MOST = 0.5  # level alone may not condemn more than this share of the band: then it is the filter's shape


def band_bins(rows: PollRows, band: Band) -> npt.NDArray[np.bool_]:
    """Shape (bins,), True for bins whose centre lies in the band."""
    return (rows.freq_hz >= band.low_hz) & (rows.freq_hz <= band.high_hz)


def tonal_bins(rows: PollRows, band: Band) -> npt.NDArray[np.bool_]:
    """Shape (bins,), True for bins of the band that hold a steady tone, and the bins next to them."""
    inside = np.flatnonzero(band_bins(rows, band))
    tonal = np.zeros(len(rows.freq_hz), dtype=bool)
    frames = rows.quiet_frames.sum()
    if frames < 30 or len(inside) < 5:
        return tonal
    has = rows.quiet_frames > 0
    level = np.median(rows.quiet[has][:, inside] / rows.quiet_frames[has, None], axis=0)
    mean = rows.quiet[:, inside].sum(axis=0, dtype=np.float64) / frames
    square = rows.quiet_squares[:, inside].sum(axis=0, dtype=np.float64) / frames
    steady = square / np.maximum(mean, 1e-30) ** 2 - 1 < _STEADY
    loud = level > _LEVEL * running_median(level, _REACH)
    if loud.mean() > _MOST:
        loud[:] = False
    found = loud | steady
    if found.all():
        return tonal
    tonal[inside] = found | np.roll(found, 1) | np.roll(found, -1)
    return tonal


def floor_of(level: Floats, tonal: npt.NDArray[np.bool_]) -> Floats:
    """A spectrum with its tonal bins replaced by the running median around them."""
    return np.where(tonal, running_median(level, _REACH), level)
