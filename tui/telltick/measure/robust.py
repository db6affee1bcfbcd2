"""Statistics that a few wild values cannot spoil, and intervals without assumptions about the noise."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from telltick.model.clock import Floats
from telltick.model.readings import Estimate
from telltick.model.traffic import Ints

BISQUARE = 4.685  # 95 % efficient for normal values (Beaton and Tukey 1974)


def median(values: Floats | Ints) -> float:
    """Median of one or more values without NaNs, as NumPy's, in a third of its time: a look takes a dozen."""
    middle = len(values) // 2
    if len(values) % 2:
        return float(np.partition(values, middle)[middle])
    low, high = np.partition(values, (middle - 1, middle))[middle - 1 : middle + 1].tolist()
    return float((low + high) / 2)


def quantile(values: Floats, share: float) -> float:
    """Quantile of one or more values without NaNs, as NumPy's, in a tenth of its time."""
    at = share * (len(values) - 1)
    low = int(at)
    high, part = min(low + 1, len(values) - 1), at - low
    ordered = np.partition(values, (low, high))
    here, there = float(ordered[low]), float(ordered[high])
    return here + (there - here) * part if part < 0.5 else there - (there - here) * (1 - part)


def row_medians(table: Floats) -> Floats:
    """Median of each row, NaNs aside; NaN for a row without values."""
    if not table.size:
        return np.full(len(table), np.nan)
    ordered = np.sort(table, axis=1)  # NaNs go last
    count = np.isfinite(ordered).sum(axis=1)
    every = np.arange(len(ordered))
    upper = np.minimum(count // 2, table.shape[1] - 1)
    return np.asarray((ordered[every, np.maximum(count - 1, 0) // 2] + ordered[every, upper]) / 2)


def jackknife_error(deleted: Floats) -> float:
    """Standard error from delete-one-block values: sqrt((B-1)/B sum (x_b - mean)^2) (Efron 1982, ch. 3)."""
    blocks = len(deleted)
    if blocks < 2:
        return float("inf")
    return float(np.sqrt((blocks - 1) / blocks * np.sum((deleted - deleted.mean()) ** 2)))


def bisquare_mean(values: Floats, iterations: int = 30) -> tuple[float, Floats]:
    """Mean with redescending weights (1 - u^2)^2, u = (x - m) / (4.685 s), below 1 only; s from the MAD.

    Returns:
        the mean, and each value's influence on it (how far the mean moves per value, times their number).
    """
    centre = median(values)
    scale = BISQUARE * (1.4826 * median(np.abs(values - centre)) + 1e-9)
    for _ in range(iterations):
        u = (values - centre) / scale
        weight = np.maximum(0.0, 1 - u * u)
        weight *= weight
        moved = float(weight @ values) / float(weight.sum())
        if abs(moved - centre) < 1e-7 * scale:
            break
        centre = moved
    u2 = np.minimum(1.0, ((values - centre) / scale) ** 2)
    left = 1 - u2
    slope = float((left * (1 - 5 * u2)).sum()) / len(values)
    return centre, (values - centre) * (left * left) / max(slope, 0.2)


def clustered_error(influence: Floats, blocks: Ints) -> tuple[float, int]:
    """Standard error of a mean from its influence values summed over blocks, and its degrees of freedom.

    The infinitesimal jackknife with clusters: sqrt(B/(B-1) sum_b (sum of influences in b)^2) / n.
    """
    (sums,) = sum_by(blocks, influence)
    sums = sums[np.bincount(blocks) > 0]
    count = len(sums)
    if count < 2:
        return float("inf"), 1
    return float(np.sqrt(count / (count - 1) * np.sum(sums**2)) / len(influence)), count - 1


def time_blocks(at_s: Floats, length_s: float = 2.0) -> Ints:
    """Blocks of two seconds, shorter in short stretches so that at least a dozen remain."""
    length_s = min(length_s, float(at_s[-1] - at_s[0]) / 12 + 1e-9)
    return np.asarray(np.floor((at_s - at_s[0]) / length_s), dtype=np.int64)


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
