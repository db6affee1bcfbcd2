"""Bins in which a receiver's filter still rings when the bytes are over.

A steep filter answers the end of a burst with a tone at its edge that takes tens of milliseconds to die.
Where interference is a thousand times the noise, the little of it that a guard of 8 ms lets through lifts the
floor by hundredths of a decibel. The tone fills a few bins at the filter's edges: there the floor is taken
from the frames that lie 20 ms clear of the bytes, and all others keep every quiet frame.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from telltick.measure.rows import PollRows
from telltick.model.clock import Floats

_SURE = 4.5  # standard errors: powers of few frames lean so far that at 3 one noisy bin in 150 would pass
_FEWEST = 12  # rows that have both


def quiet_sums(rows: PollRows, use: npt.NDArray[np.bool_]) -> Floats:
    """Shape (rows,): sum over quiet frames of the power in the bins `use`, freed of what rings there.

    In a bin that rings, the row's quiet frames all count as the mean of those clear of the rim. A row without
    such frames stays as it is.
    """
    quiet = np.asarray(rows.quiet[:, use].sum(axis=1, dtype=np.float64))
    rings = ringing_bins(rows) & use
    clear = rows.quiet_frames - rows.rim_frames
    if not rings.any():
        return quiet
    rim = rows.rim[:, rings].sum(axis=1, dtype=np.float64)
    rest = rows.quiet[:, rings].sum(axis=1, dtype=np.float64) - rim
    return np.asarray(quiet - np.where(clear > 0, rim - rest * rows.rim_frames / np.maximum(clear, 1), 0.0))


def ringing_bins(rows: PollRows) -> npt.NDArray[np.bool_]:
    """Shape (bins,): is the rim of the quiet surely louder than the rest of it, row against row?

    Student's t of the difference of the two means in each row; and the neighbours of such bins, into which
    the window spreads what rings. Rows whose bins were added up have been freed.
    """
    clear = rows.quiet_frames - rows.rim_frames
    both = np.flatnonzero((rows.rim_frames > 0) & (clear > 0))
    if rows.summed is not None or len(both) < _FEWEST:
        return np.zeros(len(rows.freq_hz), dtype=bool)
    rim, quiet = rows.rim[both].astype(np.float64), rows.quiet[both].astype(np.float64)
    louder = rim / rows.rim_frames[both, None] - (quiet - rim) / clear[both, None]
    error = louder.std(axis=0, ddof=1) / np.sqrt(len(both))
    sure = louder.mean(axis=0) > _SURE * np.maximum(error, 1e-30)
    return np.asarray(np.convolve(sure, np.ones(3), mode="same") > 0)
