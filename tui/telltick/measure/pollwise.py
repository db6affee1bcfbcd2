"""The robust meter: each poll against the quiet around it, then a mean that wild polls cannot spoil.

Static crashes, speech and fading make the floor unsteady; the energy balance, which takes plain means, is
then carried away. Here each poll k has a floor of its own,

    N_k = clipped mean of the quiet slots within 3 s,
    d_k = ln(P_k / N_k) + 1 / (2 nu),   P_k the mean power of its active frames,
    excess = 10 log10(1 + (exp(d) - 1) / a),   d the bisquare mean of d_k,

with a the share of the active frames that the bytes fill, and nu the shape of P_k's gamma distribution (the
second term takes out the bias of the logarithm). Polls with a crash beside them do not count.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from telltick.measure.gating import IDLE
from telltick.measure.robust import bisquare_mean, clustered_error
from telltick.measure.rows import PollRows
from telltick.model.clock import Floats

FLOOR_REACH_S = 3.0
TREND_REACH_S = 1.0
GRID_S = 0.5  # the floor is worked out this often and read between
CLIP = 2.5  # standard deviations above the floor that still count as noise
BLOCK_S = 2.0
JUMPY = 2.0  # floors that change this much faster than noise does are speech-like: do not follow them
_TIME_CORRELATION = (0.4342, 0.0278, 0.0001)  # power of Hann frames 1, 2, 3 hops (a quarter of a frame) apart
_BIN_CORRELATION = (0.4444, 0.0278)  # and of bins 1, 2 apart (squared window transform: Harris 1978)


def mean_shape(frames: Floats | float, bins: float) -> Floats:
    """Gamma shape nu of the mean power of noise over frames and bins: 1 / nu is its squared variation.

    Args:
        frames: successive frames averaged.
        bins: effective number of bins summed.
    """
    n = np.asarray(frames, dtype=np.float64)
    in_time = sum(2 * np.maximum(0, 1 - k / n) * r for k, r in enumerate(_TIME_CORRELATION, start=1))
    in_frequency = 1 + 2 * sum(_BIN_CORRELATION)
    return np.asarray(n * bins / ((1 + in_time) * in_frequency))


def effective_bins(level: Floats) -> float:
    """Number of equally strong bins that would fluctuate as much: (sum S)^2 / sum S^2."""
    return float(level.sum() ** 2 / max(np.sum(level**2), 1e-300))


@dataclass(frozen=True)
class Pollwise:
    """What the robust meter knows of each poll; all shapes (polls,).

    Attributes:
        at_s: time of the poll.
        power: mean power of its active frames.
        floor: N_k.
        fill: share of the active frames that bytes fill.
        counts: poll has a floor and no crash beside it.
        shape: nu of `power`.
        jumpiness: how much faster the floor changes than noise would make it seem to.
        gain_drop: median ln(power just before / just after a poll): above 0 when gain control reacts.
    """

    at_s: Floats
    power: Floats
    floor: Floats
    fill: Floats
    counts: npt.NDArray[np.bool_]
    shape: Floats
    jumpiness: float
    gain_drop: float


@dataclass(frozen=True)
class RobustExcess:
    """Bisquare mean over polls.

    Attributes:
        excess_db: 10 log10((I + N) / N).
        error_db: its standard error.
        dof: degrees of freedom of the error.
        noise: mean floor, re a full-scale sine.
        polls: polls that count.
    """

    excess_db: float
    error_db: float
    dof: int
    noise: float
    polls: int


def robust_excess(polls: Pollwise) -> RobustExcess | None:
    """The robust meter's reading; None with fewer than eight polls that count."""
    use = polls.counts
    if np.count_nonzero(use) < 8:
        return None
    d = np.log(polls.power[use] / polls.floor[use]) + 0.5 / polls.shape[use]
    mean, influence = bisquare_mean(d)
    blocks = np.floor((polls.at_s[use] - polls.at_s[use][0]) / BLOCK_S).astype(np.int64)
    error, dof = clustered_error(influence, blocks)
    fill = float(np.mean(polls.fill[use]))
    slope = 4.343 * np.exp(mean) / fill / max(1 + (np.exp(mean) - 1) / fill, 1e-3)
    excess = 10 * np.log10(max(1 + (np.exp(mean) - 1) / fill, 1e-3))
    noise = float(np.mean(polls.floor[use]))
    return RobustExcess(float(excess), float(slope * error), dof, noise, int(np.count_nonzero(use)))


def poll_by_poll(rows: PollRows, use: npt.NDArray[np.bool_]) -> Pollwise | None:
    """Set each poll against the quiet around it, over the bins `use`; None without slots."""
    polled = np.flatnonzero((rows.poll != IDLE) & (rows.active_frames > 0))
    if not len(rows.slot_row) or not len(polled):
        return None
    level = rows.quiet[:, use].sum(axis=0, dtype=np.float64)
    bins = effective_bins(level)
    slots = np.log(np.maximum(rows.slots[:, use].sum(axis=1, dtype=np.float64), 1e-30))
    slot_s = _slot_times(rows)
    spread = 1 / np.sqrt(mean_shape(np.median(rows.core_frames[polled]), bins))
    jumpiness = _jumpiness(rows, slots, float(spread))
    at_s = rows.core_s[polled]
    floor = _floors(slot_s, slots, at_s, float(spread), follow=jumpiness < JUMPY)
    power = rows.active[polled][:, use].sum(axis=1, dtype=np.float64) / rows.active_frames[polled]
    before, after = _beside(rows, slots, -1)[polled], _beside(rows, slots, 1)[polled]
    with np.errstate(invalid="ignore"):
        calm = (before < floor + CLIP * spread) & (after < floor + CLIP * spread)
    return Pollwise(
        at_s,
        power,
        np.exp(floor),
        rows.gate_share[polled] / rows.active_frames[polled],
        np.isfinite(floor) & calm & (power > 0),
        mean_shape(rows.active_frames[polled].astype(np.float64), bins),
        jumpiness,
        float(np.nanmedian(before - after)) if np.any(np.isfinite(before - after)) else 0.0,
    )


def _slot_times(rows: PollRows) -> Floats:
    """Shape (slots,): middle of each slot."""
    row = rows.slot_row
    away = rows.active_frames[row] / 2 + (np.abs(rows.slot_place) - 0.5) * rows.core_frames[row]
    return np.asarray(rows.core_s[row] + np.sign(rows.slot_place) * away * rows.hop_s)


def _beside(rows: PollRows, slots: Floats, place: int) -> Floats:
    """Shape (rows,): log power of the slot at a place; NaN without one."""
    out = np.full(len(rows.poll), np.nan)
    there = rows.slot_place == place
    out[rows.slot_row[there]] = slots[there]
    return out


def _jumpiness(rows: PollRows, slots: Floats, spread: float) -> float:
    """Median change of the floor from poll to poll over what noise alone would show (1: steady)."""
    starts = np.flatnonzero(np.diff(rows.slot_row, prepend=-1))
    counts = np.diff(np.append(starts, len(slots)))
    medians = np.array([np.median(part) for part in np.split(slots, starts[1:])])[counts >= 2]
    if len(medians) < 4:
        return 1.0
    expected = 0.6745 * np.sqrt(2) * 1.25 * spread / np.sqrt(np.median(counts[counts >= 2]))
    return float(np.median(np.abs(np.diff(medians))) / expected)


def _floors(slot_s: Floats, slots: Floats, at_s: Floats, spread: float, *, follow: bool) -> Floats:
    """Shape (polls,): log floor at each poll; slow changes are followed by a running median first."""
    order = np.argsort(slot_s, kind="stable")
    slot_s, slots = slot_s[order], slots[order]
    grid = np.unique(np.concatenate([np.floor(at_s / GRID_S), np.ceil(at_s / GRID_S)])) * GRID_S
    trend = np.zeros(len(grid))
    if follow:
        near = _windows(slot_s, slots, grid, TREND_REACH_S)
        trend = _filled(grid, np.nanmedian(near, axis=1) if near.size else trend)
    level = slots - np.interp(slot_s, grid, trend)
    floor = clipped_floor(_windows(slot_s, level, grid, FLOOR_REACH_S), spread)
    known = np.isfinite(floor)
    if not known.any():
        return np.full(len(at_s), np.nan)
    return np.interp(at_s, grid, trend) + np.interp(at_s, grid[known], floor[known])


def _windows(at: Floats, values: Floats, centres: Floats, reach: float) -> Floats:
    """Values within `reach` of each centre, one row per centre, padded with NaN."""
    low, high = np.searchsorted(at, centres - reach), np.searchsorted(at, centres + reach)
    width = int((high - low).max(initial=0))
    index = low[:, None] + np.arange(width)
    picked = values[np.minimum(index, len(values) - 1)]
    return np.where(index < high[:, None], picked, np.nan)


def _filled(grid: Floats, values: Floats) -> Floats:
    known = np.isfinite(values)
    return np.interp(grid, grid[known], values[known]) if known.any() else np.zeros(len(grid))


def clipped_floor(log_powers: Floats, spread: float, passes: int = 5) -> Floats:
    """Log of the mean of those powers that are not raised: one-sided clipping from the lower quartile up.

    Args:
        log_powers: shape (windows, values), NaN where there is none.
        spread: standard deviation of a log power when there is noise alone.
        passes: iterations.

    Returns:
        shape (windows,); NaN with fewer than three values.
    """
    if not log_powers.size:
        return np.full(len(log_powers), np.nan)
    with np.errstate(invalid="ignore"):
        enough = np.isfinite(log_powers).sum(axis=1) >= 3
        rows = log_powers[enough]
        centre = np.nanquantile(rows, 0.25, axis=1) + 0.674 * spread
        power = np.where(np.isfinite(rows), np.exp(rows), 0.0)
        for _ in range(passes):
            kept = (rows < centre[:, None] + CLIP * spread) & (rows > centre[:, None] - 4 * spread)
            mean = np.log(np.sum(power * kept, axis=1) / np.maximum(kept.sum(axis=1), 1))
            # Clipping a normal distribution at 2.5 lowers its mean by phi(2.5) / Phi(2.5) = 0.0176.
            centre = np.where(kept.sum(axis=1) >= 3, mean + 0.0175 * spread, centre)
    out = np.full(len(log_powers), np.nan)
    out[enough] = centre
    return out
