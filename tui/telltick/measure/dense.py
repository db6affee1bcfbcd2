"""Polls so close together that no quiet is left between them.

Frames half way between two polls still hold some of their energy. With the gate shares c of a poll's core
and g of the gap, R the mean ratio of their powers and s = I / N,

    R = (1 + s c) / (1 + s g),    s = (R - 1) / (c - R g).

That works while g is well below c / R; where interference is strong or the gap short, the small share g
decides everything, and its uncertainty (timing jitter of some milliseconds) is carried into the error.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from telltick.measure.gating import IDLE
from telltick.measure.robust import bisquare_mean, clustered_error, time_blocks
from telltick.measure.rows import PollRows

MIN_COUNT = 8
_CORE_ERROR = 0.02  # jitter of 2 ms moves this share of a core's energy out of it
_GAP_ERROR = (0.005, 0.2)  # and makes the gap's share uncertain by this, and by this part of itself
_LEAST_LEVER = 0.15  # c - R g, at its lowest, below this: the gap may be as full as the poll


@dataclass(frozen=True)
class DenseExcess:
    """The estimate for polls without quiet between them.

    Attributes:
        ratio: I / N.
        ratio_error: its standard error, the uncertain share included.
        noise: N, re a full-scale sine.
        dof: degrees of freedom of the error.
    """

    ratio: float
    ratio_error: float
    noise: float
    dof: int


def is_dense(rows: PollRows) -> bool:
    """Do most polls lack a quiet slot on one side?"""
    polled = rows.poll != IDLE
    return bool(np.mean(np.isfinite(rows.gap_share[polled])) > 0.5) if polled.any() else False


def dense_excess(rows: PollRows, use: npt.NDArray[np.bool_]) -> DenseExcess | None:
    """Cores against gaps over the bins `use`; None when the gaps are as full as the polls."""
    both = np.flatnonzero(np.isfinite(rows.gap_share) & np.isfinite(rows.core_share))
    if len(both) < MIN_COUNT:
        return None
    core = rows.core[both][:, use].sum(axis=1, dtype=np.float64)
    gap = rows.gap[both][:, use].sum(axis=1, dtype=np.float64)
    d = np.log(np.maximum(core, 1e-30) / np.maximum(gap, 1e-30))
    mean, influence = bisquare_mean(d)
    error, dof = clustered_error(influence, time_blocks(rows.core_s[both]))
    filled, leaked = float(np.mean(rows.core_share[both])), float(np.mean(rows.gap_share[both]))
    rise = float(np.exp(mean))
    lever = filled - rise * leaked
    gap_error = _GAP_ERROR[0] + _GAP_ERROR[1] * leaked
    if lever - 2 * rise * gap_error < _LEAST_LEVER:
        return None
    ratio = (rise - 1) / lever
    slope = (filled - leaked) / lever**2
    uncertain = ratio / lever * float(np.hypot(_CORE_ERROR, rise * gap_error))
    ratio_error = float(np.hypot(slope * rise * error, uncertain))
    level = float(np.exp(bisquare_mean(np.log(np.maximum(gap, 1e-30)))[0]))
    return DenseExcess(ratio, ratio_error, level / max(1 + ratio * leaked, 1e-3), dof)
