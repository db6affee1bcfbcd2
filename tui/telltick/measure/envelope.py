"""Sound level column by column, for a strip that grows by a few columns at a time.

Only frames that lie wholly in a column are worked out, and only their power within the band: a strip asks for
a fifth of a second of sound five times a second, so what a call costs beside its arithmetic counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import accumulate, pairwise

import numpy as np

from telltick.measure.frames import FrameSpec, Powers, Samples
from telltick.model.clock import Floats
from telltick.model.readings import Band

_BLOCK_FRAMES = 256


def column_power(samples: Samples, edges: Sequence[int], spec: FrameSpec, band: Band) -> Floats:
    """Mean in-band power of columns, each from the frames that lie wholly in it; NaN where none does.

    Args:
        samples: shape (n,), audio from ``edges[0]`` on, up to ``edges[-1]`` at least.
        edges: columns + 1 sample indices in the recording, rising.
        spec: frames to use.
        band: the band.

    Returns:
        shape (columns,), power re a full-scale sine.
    """
    hop, length = spec.hop, spec.length
    whole = [range(-(-begin // hop) * hop, end - length + 1, hop) for begin, end in pairwise(edges)]
    filled = [at for at, frames in enumerate(whole) if frames]
    out = np.full(len(whole), np.nan)
    if filled:
        power = _band_power(samples, [at - edges[0] for frames in whole for at in frames], spec, band)
        counts = [len(whole[at]) for at in filled]
        firsts = [0, *accumulate(counts[:-1])]
        out[filled] = np.add.reduceat(power, firsts, dtype=np.float64) / counts
    return out


def _band_power(samples: Samples, starts: Sequence[int], spec: FrameSpec, band: Band) -> Powers:
    """Shape (frames,): power within a band of the frames that start at some places in the samples."""
    from scipy.fft import rfft  # single precision, several frames at a time

    low, high = _bins_of(spec, band)
    samples = np.ascontiguousarray(samples)
    # Every place a frame may start at, without copying; one such array is made faster than two views.
    views = np.ndarray(
        (len(samples) - spec.length + 1, spec.length), samples.dtype, samples, 0, 2 * samples.strides
    )
    out = np.empty(len(starts), dtype=np.float32)
    for first in range(0, len(starts), _BLOCK_FRAMES):
        some = starts[first : first + _BLOCK_FRAMES]
        lines = rfft(views[some] * spec.scaled_window, axis=1)[:, low:high].view(np.float32)
        np.einsum("ij,ij->i", lines, lines, out=out[first : first + len(some)])
    return out


@lru_cache(maxsize=8)
def _bins_of(spec: FrameSpec, band: Band) -> tuple[int, int]:
    """First bin within a band, and the one after the last."""
    low, high = np.searchsorted(spec.freq_hz, [band.low_hz, np.nextafter(band.high_hz, np.inf)])
    return int(low), int(high)
