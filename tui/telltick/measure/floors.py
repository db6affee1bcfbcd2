"""The floor beside each poll, from pieces of quiet: a mean over some seconds that crashes do not lift."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from telltick.measure.gating import IDLE
from telltick.measure.ringing import quiet_sums
from telltick.measure.robust import median, row_medians
from telltick.measure.rows import PollRows
from telltick.measure.shapes import mean_shape
from telltick.model.clock import Floats
from telltick.model.traffic import Ints

FLOOR_REACH_S = 3.0
TREND_REACH_S = 1.0
GRID_S = 0.5  # the floor is worked out this often and read between
CLIP = 2.5  # standard deviations above the floor that still count as noise
RAISED = 3.5  # and from which a row's own quiet is left out: at 2.5 chance alone would lower it by 0.01 dB
_NEAR_ROWS = 4  # between two rows with quiet in them, for those between these to be told by them
_MOST_WINDOWS = 250
_PAUSES_REACH_S = 0.8
_LOWEST, _NEAR_LOWEST = 0.1, 3.0  # quantile of the lulls, and standard deviations above it that are pauses
_PAUSE_CLIP = 2.0


@dataclass(frozen=True)
class Lulls:
    """Pieces of quiet that tell the floor.

    Attributes:
        row: shape (lulls,), row of each.
        at_s: shape (lulls,), its time.
        level: shape (lulls,), its log power.
        spread: standard deviation of `level` in noise alone.
        before: shape (rows,), log power of what lies right before the poll; NaN without.
        after: shape (rows,), right after it.
        clip: standard deviations above the floor from which a poll beside it does not count.
    """

    row: Ints
    at_s: Floats
    level: Floats
    spread: float
    before: Floats
    after: Floats
    clip: float = CLIP


def raised_rows(lull: Lulls, floor: Floats) -> npt.NDArray[np.bool_]:
    """Shape (rows,): rows with a lull far above the floor."""
    out = np.zeros(len(floor), dtype=bool)
    with np.errstate(invalid="ignore"):
        out[lull.row[lull.level > floor[lull.row] + RAISED * lull.spread]] = True
    return out


def restless_share(lull: Lulls, floor: Floats) -> float:
    """Share of the lulls that lie far from the floor of their row; 0 where none is known."""
    away = np.abs(lull.level - floor[lull.row])
    away = away[np.isfinite(away)]
    return float(np.mean(away > RAISED * lull.spread)) if len(away) else 0.0


def floor_beside(lull: Lulls, at_s: Floats, polled: Ints, *, restless: float) -> tuple[Floats, Lulls]:
    """Shape (polls,): log floor at each poll; and the lulls, with a closer limit where pauses told it.

    Where speech fills most lulls, a mean over some seconds climbs from one to the next however it is clipped:
    1 dB at 10 polls a second. There the floor is that of the pauses.

    Args:
        lull: the lulls.
        at_s: shape (polls,), time of each poll.
        polled: shape (polls,), its row.
        restless: share of lulls away from the floor from which only pauses tell it. One crash a second makes
            0.12 of slots, and 0.2 of the little quiet between close polls.
    """
    floor = _floors_at(lull.at_s, lull.level, at_s, lull.spread)
    if restless_share(lull, at_rows(floor, polled, len(lull.before))) <= restless:
        return floor, lull
    kept = _pauses(lull)
    floor = _floors_at(lull.at_s[kept], lull.level[kept], at_s, lull.spread)
    return floor, replace(lull, clip=_PAUSE_CLIP)


def at_rows(floor: Floats, polled: Ints, rows: int) -> Floats:
    """Shape (rows,): the floor of each row's poll; NaN without one."""
    out = np.full(rows, np.nan)
    out[polled] = floor
    return out


def _pauses(lull: Lulls) -> npt.NDArray[np.bool_]:
    """Shape (lulls,): does a lull lie near the lowest ones within a second? So quickly no floor fades."""
    order = np.argsort(lull.at_s, kind="stable")
    at_s, level = lull.at_s[order], lull.level[order]
    grid = np.unique(np.rint(at_s / GRID_S)) * GRID_S
    parts = np.array_split(grid, max(1, len(grid) // _MOST_WINDOWS))
    lowest = np.concatenate(
        [np.nanquantile(_windows(at_s, level, part, _PAUSES_REACH_S), _LOWEST, axis=1) for part in parts]
    )
    return np.asarray(lull.level < np.interp(lull.at_s, grid, lowest) + _NEAR_LOWEST * lull.spread)


def slot_lulls(rows: PollRows, use: npt.NDArray[np.bool_], bins: float) -> Lulls:
    """The quiet slots, as long as the cores."""
    level = np.log(np.maximum(rows.slots[:, use].sum(axis=1, dtype=np.float64), 1e-30))
    frames = median(np.maximum(rows.core_frames[rows.poll != IDLE], 1))
    spread = 1 / np.sqrt(mean_shape(frames, bins))
    before, after = _beside(rows, level, -1), _beside(rows, level, 1)
    return Lulls(rows.slot_row, _slot_times(rows), level, float(spread), before, after)


def row_lulls(rows: PollRows, use: npt.NDArray[np.bool_], bins: float) -> Lulls:
    """The quiet frames of each poll's row, on both sides of it, as one lull; none if most rows have none.

    So few frames tell little of speech: the lulls of the rows before and after must be calm as well. They
    alone tell of a row that happens to hold no quiet frame.
    """
    has = np.flatnonzero((rows.poll != IDLE) & (rows.quiet_frames > 0))
    if 2 * len(has) < rows.polls:
        has = has[:0]
    frames = rows.quiet_frames[has]
    level = np.log(np.maximum(quiet_sums(rows, use)[has] / np.maximum(frames, 1), 1e-30))
    spread = 1 / np.sqrt(mean_shape(np.median(frames), bins)) if len(has) else np.nan
    before, after = np.full((2, len(rows.poll)), np.nan)
    before[has], after[has] = level, level
    before[has[1:]], after[has[:-1]] = np.maximum(level[1:], level[:-1]), np.maximum(level[1:], level[:-1])
    without = np.flatnonzero((rows.poll != IDLE) & (rows.quiet_frames == 0))
    following = np.searchsorted(has, without)
    told = (following > 0) & (following < len(has))
    without, following = without[told], following[told]
    near = has[following] - has[following - 1] <= _NEAR_ROWS
    before[without[near]], after[without[near]] = level[following[near] - 1], level[following[near]]
    return Lulls(has, rows.core_s[has], level, float(spread), before, after, RAISED)


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


def _floors_at(slot_s: Floats, slots: Floats, at_s: Floats, spread: float) -> Floats:
    """Shape (polls,): log floor at each poll; slow changes are followed by a running median first."""
    order = np.argsort(slot_s, kind="stable")
    slot_s, slots = slot_s[order], slots[order]
    grid = np.unique(np.concatenate([np.floor(at_s / GRID_S), np.ceil(at_s / GRID_S)])) * GRID_S
    parts = np.array_split(grid, max(1, len(grid) // _MOST_WINDOWS))  # hours at once would take much memory
    medians = [row_medians(_windows(slot_s, slots, part, TREND_REACH_S)) for part in parts]
    trend = _filled(grid, np.concatenate(medians))
    level = slots - np.interp(slot_s, grid, trend)
    floors = [clipped_floor(_windows(slot_s, level, part, FLOOR_REACH_S), spread) for part in parts]
    floor = np.concatenate(floors)
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
    with np.errstate(invalid="ignore", divide="ignore"):
        count = np.isfinite(log_powers).sum(axis=1)
        enough = count >= 3
        rows = log_powers[enough]
        quarter = count[enough] // 4
        centre = np.sort(rows, axis=1)[np.arange(len(rows)), quarter] + 0.674 * spread
        power = np.nan_to_num(np.exp(rows), copy=False)
        for _ in range(passes):
            kept = (rows < (centre + CLIP * spread)[:, None]) & (rows > (centre - 4 * spread)[:, None])
            many = kept.sum(axis=1)
            mean = np.log(np.einsum("ij,ij->i", power, kept) / np.maximum(many, 1))
            # Clipping a normal distribution at 2.5 lowers its mean by phi(2.5) / Phi(2.5) = 0.0176.
            before, centre = centre, np.where(many >= 3, mean + 0.0176 * spread, centre)
            if np.array_equal(before, centre):
                break
    out = np.full(len(log_powers), np.nan)
    out[enough] = centre
    return out
