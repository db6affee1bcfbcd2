"""One side of a comparison: N, I and the excess of some steps, each as a power with its error.

A reading tells levels in dB and no interference where none is sure. To set two sides against each other one
needs I on a linear scale, below zero too where chance makes it so: only then can "gone" be told from "not
heard for want of data". All sides are measured over the same bins, since tones may come and go.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from telltick.measure.account import MIN_POLLS
from telltick.measure.equivalence import Mean
from telltick.measure.excess import Excess, Method, measure_excess
from telltick.measure.pollwise import Pollwise, Window
from telltick.measure.robust import bisquare_mean, clustered_error, sum_by, time_blocks
from telltick.measure.rows import PollRows
from telltick.model.clock import Floats

LN_TO_DB = 10 / np.log(10)
CLEAR = 4.0  # standard errors above zero from which an interference is there
_FLOOR_BLOCK_S = 1.0
_FILLED_IN_ERROR, _FILLED_IN_DOF = 0.75, 20.0  # standard error in units of the share filled in
_LEAST_ERROR_DB = 0.02  # what the method itself may be off by
_SKEW = 0.19  # of a bisquare mean of gamma values, in units of mean / shape: 0.17-0.20 for shapes of 30-120


@dataclass(frozen=True)
class Side:
    """What was measured of one setup, or of one step.

    Attributes:
        polls: polls in it.
        seconds: audio in it.
        noise: N, re a full-scale sine; None without quiet audio.
        interference: I, may come out below zero; None with too few polls or without a latency.
        excess_db: 10 log10((I + N) / N) in dB; None likewise.
        gain_reacts: the receiver's gain gives way to the bursts.
        filled_in: share of the band that held tones and was taken to be as the rest, where rows come with
            their bins added up; 0 where all sides leave out the same bins.
    """

    polls: int
    seconds: float
    noise: Mean | None
    interference: Mean | None
    excess_db: Mean | None
    gain_reacts: bool = False
    filled_in: float = 0.0

    @property
    def heard(self) -> bool:
        """Is there interference beyond doubt?"""
        return self.interference is not None and self.interference.value > CLEAR * self.interference.error


def measure_side(rows: PollRows, use: npt.NDArray[np.bool_], *, aligned: bool) -> Side:
    """Measure one side over the bins `use`.

    Args:
        rows: all its rows, in order of time.
        use: shape (bins,), the bins to measure.
        aligned: a latency is known, so that the gate lies where the bytes are heard.
    """
    return side_of(rows, use, measure_excess(rows, use) if aligned and rows.polls >= MIN_POLLS else None)


def side_of(rows: PollRows, use: npt.NDArray[np.bool_], found: Excess | None) -> Side:
    """The same where the excess over these bins has been worked out, or cannot be."""
    noise = _noise(rows, use)
    filled_in = rows.summed.lost if rows.summed is not None else 0.0
    if found is None or not np.isfinite(found.error_db):
        return Side(rows.polls, rows.seconds, noise, None, None, filled_in=filled_in)
    excess = Mean(found.excess_db, found.error_db, max(found.dof, 1))
    reacts = found.polls is not None and found.polls.gain.reacts
    return Side(rows.polls, rows.seconds, noise, _interference(found), excess, reacts, filled_in)


def unaligned(side: Side) -> Side:
    """A side where no latency is known, so that the gate may lie elsewhere than what is heard."""
    return replace(side, interference=None, excess_db=None, gain_reacts=False)


def common_errors(means: Sequence[Mean], noise: Sequence[float] = ()) -> list[float]:
    """What the method itself may be off by in each of several powers.

    Args:
        means: powers.
        noise: of each the floor that it was held against, where it is an interference.
    """
    floors = noise or [0.0] * len(means)
    share = _LEAST_ERROR_DB / LN_TO_DB
    return [share * (floor + max(one.value, 0.0)) for one, floor in zip(means, floors, strict=True)]


def beside(side: Side, other: Side) -> Side:
    """A side whose levels are as uncertain as they must be when held against another.

    What one of them was filled in for and the other measured may be anything up to twice what was filled in:
    the receiver's passband is not flat, least of all at its ends, where hum lies.
    """
    share = _FILLED_IN_ERROR * abs(side.filled_in - other.filled_in)
    if not share:
        return side
    noise, interference = (
        None if power is None else power.widened(share * abs(power.value), _FILLED_IN_DOF)
        for power in (side.noise, side.interference)
    )
    return replace(side, noise=noise, interference=interference)


def in_db(power: Mean) -> Mean:
    """A clear power in dB, its error carried over."""
    error = LN_TO_DB * power.error / power.value
    return Mean(float(10 * np.log10(power.value)), float(error), power.dof)


def _noise(rows: PollRows, use: npt.NDArray[np.bool_]) -> Mean | None:
    """Mean floor over whole seconds, wild ones left aside; the same with and without polls."""
    has = rows.quiet_frames > 0
    if np.count_nonzero(has) < 3:
        return None
    quiet = rows.quiet[has][:, use].sum(axis=1, dtype=np.float64)
    block = np.floor((rows.start_s[has] - rows.start_s[has][0]) / _FLOOR_BLOCK_S).astype(np.int64)
    power, frames = sum_by(block, quiet, rows.quiet_frames[has].astype(np.float64))
    level = power[frames > 0] / frames[frames > 0]
    if len(level) < 3:
        return None
    mean, influence = bisquare_mean(level)
    error, dof = clustered_error(influence, np.arange(len(level)))
    return Mean(mean, float(np.hypot(error, _LEAST_ERROR_DB / LN_TO_DB * mean)), dof)


def _interference(found: Excess) -> Mean:
    """I as a power. It does not mind a floor that changes, as the mean of ratios does."""
    polls = found.polls
    if found.method is not Method.ROBUST or polls is None:
        return Mean(found.noise * found.ratio, found.noise * found.ratio_error, max(found.dof, 1))
    value, influence = _above_floor(polls.inner, polls)
    error, dof = clustered_error(influence, time_blocks(polls.at_s[polls.counts]))
    base = _LEAST_ERROR_DB / LN_TO_DB * (found.noise + max(value, 0.0))
    return Mean(value, float(np.hypot(error, base)), max(dof, 1))


def _above_floor(window: Window, polls: Pollwise) -> tuple[float, Floats]:
    """Mean of (P_k - N_k) / fill over the polls that count, and each poll's influence on it."""
    use = polls.counts
    fill = np.maximum(window.fill[use], 1e-3)
    over = (window.power[use] - polls.floor[use]) / fill
    mean, influence = bisquare_mean(over)
    # Noise power is skewed; a mean that shuns wild values lies below the plain one by this share of N / nu.
    skewed = float(np.mean(polls.floor[use] / fill / window.shape[use]))
    return mean + _SKEW * skewed, influence - polls.floor_deviation[use] * polls.floor[use] / fill
