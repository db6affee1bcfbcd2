"""Each poll against the quiet beside it: what the evidence of a tie (`evidence.tie_log_e`) is made of."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from telltick.measure.gating import IDLE
from telltick.measure.robust import median
from telltick.measure.rows import PollRows
from telltick.measure.shapes import effective_bins, mean_shape
from telltick.model.clock import Floats

_ROWS_AT_ONCE = 20_000  # a day at once would take much memory
FARTHEST = 2  # slots counted outwards from a poll; those farther away seldom fit between two polls


@dataclass(frozen=True)
class Contrasts:
    """Log power of each poll's core less that of equal stretches beside it.

    Attributes:
        by_turns: shape (polls,), against one stretch, now the one before and now the one after; NaN without
            any. Swapping the two stretches makes it symmetric about zero in any steady noise without a tie.
        sides: shape (polls, 2 * FARTHEST), against the slots before and after in pairs equally far away; NaN
            where a pair is not whole.
        spread: standard deviation of one difference in noise alone.
    """

    by_turns: Floats
    sides: Floats
    spread: float


def contrasts(rows: PollRows, use: npt.NDArray[np.bool_]) -> Contrasts:
    """The contrasts of all polls over the bins `use`.

    Where a poll has no slot on either side, a gap stands in, against a piece of the core as short.
    """
    places = [place for far in range(1, FARTHEST + 1) for place in (-far, far)]
    sides, near = np.empty((len(places), rows.polls)), np.empty((2, rows.polls))
    at = 0
    for first in range(0, len(rows.poll), _ROWS_AT_ONCE):
        some = rows.pick(slice(first, first + _ROWS_AT_ONCE))
        polled = some.poll != IDLE
        core = np.log(np.maximum(some.core[:, use].sum(axis=1, dtype=np.float64), 1e-30))
        here = slice(at, at + some.polls)
        for side, place in zip(sides, places, strict=True):
            side[here] = (core - _slot_level(some, use, place))[polled]
        gaps = _to_gaps(some, use)[:, polled]
        near[:, here] = np.where(np.isfinite(sides[:2, here]).any(axis=0), sides[:2, here], gaps)
        at = here.stop
    for pair in range(0, len(sides), 2):
        sides[pair : pair + 2, ~np.isfinite(sides[pair : pair + 2]).all(axis=0)] = np.nan
    turn = _turns(near.shape[1]).astype(np.bool_)
    mine, other = np.where(turn, near[1], near[0]), np.where(turn, near[0], near[1])
    return Contrasts(np.where(np.isfinite(mine), mine, other), sides.T, _spread(rows, use))


def _slot_level(rows: PollRows, use: npt.NDArray[np.bool_], place: int) -> Floats:
    """Shape (rows,): log power of the slot at a place; NaN without one."""
    out = np.full(len(rows.poll), np.nan)
    there = rows.slot_place == place
    power = rows.slots[there][:, use].sum(axis=1, dtype=np.float64)
    out[rows.slot_row[there]] = np.log(np.maximum(power, 1e-30))
    return out


def _to_gaps(rows: PollRows, use: npt.NDArray[np.bool_]) -> Floats:
    """Shape (2, rows): log power of a piece of the core less that of a gap as short, before and after."""
    out = np.full((2, len(rows.poll)), np.nan)
    for index, place in enumerate((-1, 1)):
        there = rows.pair_place == place
        core = rows.pair_core[there][:, use].sum(axis=1, dtype=np.float64)
        gap = rows.pair_gap[there][:, use].sum(axis=1, dtype=np.float64)
        out[index, rows.pair_row[there]] = np.log(np.maximum(core, 1e-30)) - np.log(np.maximum(gap, 1e-30))
    return out


def _spread(rows: PollRows, use: npt.NDArray[np.bool_]) -> float:
    """sqrt(2 / nu): that of the difference of the logarithms of two equal powers of noise."""
    frames = rows.core_frames[rows.poll != IDLE]
    if not len(frames):
        return float("inf")
    bins = (
        rows.summed.worth if rows.summed else effective_bins(rows.quiet[:, use].sum(axis=0, dtype=np.float64))
    )
    return float(np.sqrt(2 / mean_shape(median(np.maximum(frames, 1)), bins)))


def _turns(count: int) -> npt.NDArray[np.int64]:
    """Whose turn it is: the Thue-Morse sequence, balanced against drift of every order and never periodic."""
    bits = np.arange(count)
    for shift in (16, 8, 4, 2, 1):
        bits = bits ^ (bits >> shift)
    return bits & 1
