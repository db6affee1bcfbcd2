"""How much the mean power of noise over frames and bins fluctuates: the shape nu of its gamma distribution.

Neighbouring Hann frames share samples, and neighbouring bins share the window's main lobe, so n frames of m
bins are worth fewer than n m independent values.
"""

from __future__ import annotations

import numpy as np

from telltick.model.clock import Floats

# Correlation of power between Hann frames 1, 2, 3 hops of a quarter frame apart: squares of 65.9 %, 16.7 %
# and 0.75 % (Harris 1978, "overlap correlation"), and between bins 1, 2 apart: squares of 2/3 and 1/6.
TIME_CORRELATION = (0.4342, 0.0278, 0.0001)
BIN_CORRELATION = (0.4444, 0.0278)


def mean_shape(frames: Floats | float, bins: float | None = None) -> Floats:
    """Shape nu of the mean power of noise: its squared coefficient of variation is 1 / nu.

    Args:
        frames: successive frames averaged.
        bins: effective number of bins summed; None for a single bin.
    """
    n = np.asarray(frames, dtype=np.float64)
    each = 1 / np.maximum(n, 1)
    in_time = 1 + sum(2 * r * np.maximum(0, 1 - k * each) for k, r in enumerate(TIME_CORRELATION, start=1))
    in_frequency = 1.0 if bins is None else (1 + 2 * sum(BIN_CORRELATION)) / bins
    return np.asarray(n / (in_time * in_frequency))


def effective_bins(level: Floats) -> float:
    """Number of equally strong bins that would fluctuate as much: (sum S)^2 / sum S^2; 1 for silence."""
    return max(float(level.sum() ** 2 / max(np.sum(level**2), 1e-300)), 1.0)
