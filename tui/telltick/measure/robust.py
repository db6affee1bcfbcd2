"""Statistics that a few wild values cannot spoil, and intervals without assumptions about the noise."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from telltick.model.clock import Floats
from telltick.model.readings import Estimate
from telltick.model.traffic import Ints


def jackknife_error(deleted: Floats) -> float:
    """Standard error from delete-one-block values: sqrt((B-1)/B sum (x_b - mean)^2) (Efron 1982, ch. 3)."""
    blocks = len(deleted)
    if blocks < 2:
        return float("inf")
    return float(np.sqrt((blocks - 1) / blocks * np.sum((deleted - deleted.mean()) ** 2)))


def student_t(share: float, dof: float) -> float:
    """Quantile of Student's t distribution."""
    from scipy.special import stdtrit

    return float(stdtrit(dof, share))


def interval(value: float, error: float, dof: float) -> Estimate:
    """Two-sided 95 % interval."""
    half = student_t(0.975, dof) * error
    return Estimate(value, value - half, value + half)


def sum_by(blocks: Ints, *values: Floats) -> tuple[Floats, ...]:
    """Sum of each array within blocks numbered from 0."""
    count = int(blocks.max(initial=-1)) + 1
    return tuple(np.bincount(blocks, weights=v, minlength=count).astype(np.float64) for v in values)


def with_deleted(function: Callable[..., Floats], sums: tuple[Floats, ...]) -> tuple[float, Floats]:
    """A function of block sums: its value for all blocks, and with each block left out in turn."""
    totals = [s.sum() for s in sums]
    left = [t - s for t, s in zip(totals, sums, strict=True)]
    return float(function(*(np.asarray(t) for t in totals))), np.asarray(function(*left))
