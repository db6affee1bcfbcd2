"""The robust meter: each poll against the quiet around it, then a mean that wild polls cannot spoil.

Static crashes, speech and fading make the floor unsteady; the energy balance, which takes plain means, is
then carried away. Here each poll k has a floor of its own,

    N_k = clipped mean of the quiet slots within 3 s, then corrected by all quiet of the undisturbed rows,
    d   = bisquare mean of ln(P_k / N_k),   P_k the mean power of the poll's frames,
    excess = 10 log10(1 + (exp(d + b) - 1) / a),   b = `_log_bias(x)` / nu,   x = exp(d) - 1,

with a the share of those frames that the bytes fill, nu the shape of P_k's gamma distribution in noise
alone, and b the bias of the logarithm and of the robust mean for a waveform that repeats. Polls with a
crash beside them do not count. Where polls lie too close for slots, the quiet of each row stands in for them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from itertools import chain, pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from telltick.measure.dense import is_dense
from telltick.measure.floors import (
    RAISED,
    at_rows,
    floor_beside,
    raised_rows,
    restless_share,
    row_lulls,
    slot_lulls,
)
from telltick.measure.frames import Powers
from telltick.measure.gain import GainDrop, gain_drop, joined_drops
from telltick.measure.gating import IDLE
from telltick.measure.ringing import quiet_sums
from telltick.measure.robust import (
    BISQUARE,
    bisquare_mean,
    clustered_error,
    median,
    time_blocks,
)
from telltick.measure.rows import PollRows
from telltick.measure.shapes import effective_bins, mean_shape
from telltick.measure.verge import verge_scale
from telltick.model.clock import Floats
from telltick.model.traffic import Ints

_LEAN = 0.093  # third derivative of the bisquare's psi over six times its first, means at a normal value
MIN_COUNT = 8
_RESTLESS = (0.165, 0.1)  # share of lulls away from the floor from which it is that of pauses; of close polls
_WEAK = 6.0  # times the floor, up to which what comes across into close frames is nothing
_STRONG = 30.0  # and into the short frames beside the polls
_WINDOWS = ("inner", "whole")
_MOST_ROWS = 20_000
LOUD_DB, VERY_LOUD_DB = 10.0, 15.0  # below: inner frames alone; above: all active frames


@dataclass(frozen=True)
class Window:
    """Frames of each poll taken together; all shapes (polls,).

    Attributes:
        power: their mean power.
        fill: share of them that bytes fill.
        shape: nu of `power` when there is noise alone.
    """

    power: Floats
    fill: Floats
    shape: Floats


@dataclass(frozen=True)
class Pollwise:
    """What the robust meter knows of each poll; all shapes (polls,).

    Attributes:
        at_s: time of the poll.
        floor: N_k.
        floor_deviation: relative deviation of the quiet in the poll's own row from N_k; 0 where it is
        disturbed.
        inner: the frames within 8 ms of the poll: timing jitter moves hardly any energy out of them.
        whole: all active frames, for strong interference, of which jitter and ringing carry a part out of the
            inner ones.
        counts: poll has a floor and no crash beside it.
        restless: share of the quiet lulls that lie far from the floor, above or below it.
        gain: whether gain control gives way to the bursts.
    """

    at_s: Floats
    floor: Floats
    floor_deviation: Floats
    inner: Window
    whole: Window
    counts: npt.NDArray[np.bool_]
    restless: float
    gain: GainDrop


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
    """The robust meter's reading; None with fewer than eight polls that count.

    Weak interference is read from the inner frames, strong from all active ones, with a smooth passage
    between: wider windows hold more noise, but of a burst of 5 ms jitter moves a hundredth of the energy out
    of the inner frames. Cores alone would hold a little less noise yet (3 % at 1 dB), but where short bursts
    are weak the latency is off by some milliseconds, which moves several hundredths out of them.
    """
    use = polls.counts
    if np.count_nonzero(use) < MIN_COUNT:
        return None
    excess, influence = _excess_of(polls.inner, polls, use)
    least = _least_error(polls.inner, excess, use)
    weight = float(np.clip((excess - LOUD_DB) / (VERY_LOUD_DB - LOUD_DB), 0.0, 1.0))
    if weight:
        whole, whole_influence = _excess_of(polls.whole, polls, use, loud=True)
        excess += weight * (whole - excess)
        influence = influence + weight * (whole_influence - influence)
        least += weight * (_least_error(polls.whole, whole, use) - least)
    error, dof = clustered_error(influence, time_blocks(polls.at_s[use]))
    error = max(error, least)
    noise = float(np.mean(polls.floor[use]))
    return RobustExcess(excess, error, dof, noise, int(np.count_nonzero(use)))


def _excess_of(
    window: Window, polls: Pollwise, use: npt.NDArray[np.bool_], *, loud: bool = False
) -> tuple[float, Floats]:
    """Excess in dB over the polls `use`, and each poll's influence on it, that on the floor included.

    The floors of neighbouring polls share their data; what a poll's row does to them is told by its own
    quiet. Loud polls are also freed of what their own unevenness takes off a mean of logarithms.
    """
    levels = _levelled(window, polls, use)
    mean, influence = bisquare_mean(levels)
    x, shape = max(np.expm1(mean), 0.0), median(window.shape[use])
    mean += _log_bias(x) / shape
    if loud:
        mean += _uneven_bias(levels, (1 + 2 * x) / (1 + x) ** 2 / shape)
    fill = float(np.mean(window.fill[use]))
    rise = max(1 + np.expm1(mean) / fill, 1e-3)
    slope = 10 / np.log(10) * np.exp(mean) / fill / rise
    return float(10 * np.log10(rise)), (influence - polls.floor_deviation[use]) * slope


def _uneven_bias(levels: Floats, noise_variance: float) -> float:
    """How far a bisquare mean of ln P lies below ln of the mean P where polls themselves are unlike.

    As in `_log_bias`, (1 / 2 - `_LEAN` k) v, with v the variance of ln P, and k = 1 for a gamma and 3 for a
    normal distribution of P: two is taken. Bytes that differ, or a phase of its own in each burst, make
    neighbours unlike: v is that of the differences between successive polls, in which slow fading, whose mean
    is one of dB, has no part.

    Args:
        levels: shape (polls,), ln P of the polls in order of time.
        noise_variance: what noise alone makes of it, which `_log_bias` has taken care of.
    """
    apart = 1.4826 * median(np.abs(np.diff(levels)))
    return (0.5 - 2 * _LEAN) * max(apart**2 / 2 - noise_variance, 0.0)


def _log_bias(x: float) -> float:
    """How far a bisquare mean of ln P lies below ln of the mean P, in units of 1 / nu; x = a I / N.

    With P the power of a waveform s that repeats in noise n, |s + n|^2, its second and third cumulants are
    (1 + 2 x) / nu and 2 (1 + 3 x) / nu^2 in units of N. The logarithm lowers the mean by half its variance
    v = (1 + 2 x) / (1 + x)^2. It also leans ln P to the left, by a third cumulant of -k v / nu^2 with

        k = (3 (1 + 2 x)^2 - 2 (1 + 3 x) (1 + x)) / ((1 + x)^2 (1 + 2 x)),

    and a mean that shuns wild values goes the other way, by `_LEAN` of the skewness times the spread.
    """
    lean = (3 * (1 + 2 * x) ** 2 - 2 * (1 + 3 * x) * (1 + x)) / ((1 + x) ** 2 * (1 + 2 * x))
    return 0.5 * (1 + 2 * x) / (1 + x) ** 2 - _LEAN * lean


def _least_error(window: Window, excess_db: float, use: npt.NDArray[np.bool_]) -> float:
    """Standard error in dB that steady noise alone causes: a few polls may happen to differ by less.

    The variance of ln P_k is (1 + 2 x) / (1 + x)^2 / nu_k for a waveform that repeats, x = a I / N; the
    floor's own part is left out.
    """
    rise, fill = 10 ** (excess_db / 10), float(np.mean(window.fill[use]))
    x = max(fill * (rise - 1), 0.0)
    spread = float(np.sqrt(np.sum(1 / window.shape[use]))) / int(np.count_nonzero(use))
    return float(10 / np.log(10) * np.sqrt(1 + 2 * x) / (fill * rise) * spread)


def _levelled(window: Window, polls: Pollwise, use: npt.NDArray[np.bool_]) -> Floats:
    """Shape (polls used,): ln(P_k / N_k) of each poll, moved to where it would be at the mean fill.

    One frame more or less fits around a poll, as it lies on the frames' grid: equal polls then differ by some
    percent in mean power, which at a strong excess is all their spread, and a robust mean would side with the
    commoner number of frames. With the median ratio x of I to N, ln((1 + x a_k) / (1 + x a)) is taken off.
    """
    ratio, fill = window.power[use] / polls.floor[use], window.fill[use]
    x = max(median((ratio - 1) / np.maximum(fill, 1e-3)), 0.0)
    return np.asarray(np.log(ratio) - np.log1p(x * fill) + np.log1p(x * float(np.mean(fill))))


def uneven_share(polls: Pollwise) -> float:
    """Share of the polls that count which lie so far above the others that the bisquare mean drops them."""
    use = polls.counts
    if not use.any():
        return 0.0
    d = _levelled(polls.inner, polls, use)
    away = d - median(d)
    return np.count_nonzero(away > BISQUARE * 1.4826 * median(np.abs(away))) / len(away)


def poll_by_poll(rows: PollRows, use: npt.NDArray[np.bool_]) -> Pollwise | None:
    """Set each poll against the quiet around it, over the bins `use`; None without slots.

    Hours are taken in pieces, so that a day needs little memory.
    """
    edges = np.linspace(0, len(rows.poll), -(-max(len(rows.poll), 1) // _MOST_ROWS) + 1).astype(int).tolist()
    pieces = (_piece(rows.pick(slice(*two)), use) for two in pairwise(edges))
    return _joined((piece for piece in pieces if piece is not None), rows.polls)


def _joined(pieces: Iterator[Pollwise], most: int) -> Pollwise | None:
    """Pieces that follow each other as one, none held beside it; None for no piece.

    Args:
        pieces: in order of time.
        most: polls that they hold together at most.
    """
    first = next(pieces, None)
    if first is None or len(first.at_s) == most:
        return first
    columns = {name: np.empty(most, dtype=values.dtype) for name, values in _by_poll(first)}
    counts: list[int] = []
    restless: list[float] = []
    gains: list[GainDrop] = []
    for piece in chain([first], pieces):
        here = slice(sum(counts), sum(counts) + len(piece.at_s))
        for name, values in _by_poll(piece):
            columns[name][here] = values
        counts.append(len(piece.at_s))
        restless.append(piece.restless)
        gains.append(piece.gain)
    if len(counts) == 1:
        return first
    share = np.array(counts) / sum(counts)
    held = {name: values[: sum(counts)] for name, values in columns.items()}
    inner, whole = (Window(*(held[f"{window}.{of.name}"] for of in fields(Window))) for window in _WINDOWS)
    return Pollwise(
        held["at_s"],
        held["floor"],
        held["floor_deviation"],
        inner,
        whole,
        held["counts"],
        float(share @ restless),
        joined_drops(gains, share),
    )


def _by_poll(piece: Pollwise) -> Iterator[tuple[str, npt.NDArray[Any]]]:
    """Everything that is known of each poll, by name."""
    for name in ("at_s", "floor", "floor_deviation", "counts"):
        yield name, getattr(piece, name)
    for window in _WINDOWS:
        for of in fields(Window):
            yield f"{window}.{of.name}", getattr(getattr(piece, window), of.name)


def _piece(rows: PollRows, use: npt.NDArray[np.bool_]) -> Pollwise | None:
    """The same of rows that are few enough to be held against each other at once."""
    rise = _rise(rows, use)
    rows = rows.with_close() if rise < _WEAK else rows
    rows = _with_verge(rows, use) if rise < _STRONG else rows
    polled = np.flatnonzero((rows.poll != IDLE) & (rows.active_frames > 0))
    if not len(polled):
        return None
    level = rows.quiet[:, use].sum(axis=0, dtype=np.float64)
    bins = rows.summed.worth if rows.summed else effective_bins(level)
    dense = is_dense(rows)
    lull = row_lulls(rows, use, bins) if dense else slot_lulls(rows, use, bins)
    if not len(lull.row):
        return None
    at_s = rows.core_s[polled]
    floor, lull = floor_beside(lull, at_s, polled, restless=_RESTLESS[dense])
    active_frames = rows.active_frames[polled]
    whole_power = rows.active[polled] / active_frames[:, None]
    inner = _window(rows.inner[polled][:, use], rows.inner_share[polled], rows.inner_frames[polled], bins)
    whole = _window(whole_power[:, use], rows.gate_share[polled] / active_frames, active_frames, bins)
    before, after = lull.before[polled], lull.after[polled]
    with np.errstate(invalid="ignore"):
        calm = np.maximum(before, after) < floor + lull.clip * lull.spread
    counts = np.isfinite(floor) & calm & (inner.power > 0) & (whole.power > 0)
    of_row = at_rows(floor, polled, len(rows.poll))
    frames = rows.quiet_frames[polled].astype(np.float64)
    quiet = quiet_sums(rows, use)[polled] / np.maximum(frames, 1)
    with np.errstate(invalid="ignore"):
        still = quiet < np.exp(floor + RAISED / np.sqrt(mean_shape(np.maximum(frames, 1), bins)))
    clear = counts & still & (frames > 0) & ~raised_rows(lull, of_row)[polled]
    shift, deviation = _own_quiet(quiet, frames, np.exp(floor), clear, int(np.count_nonzero(counts)))
    return Pollwise(
        at_s,
        np.exp(floor) * (1 + shift),
        deviation,
        inner,
        whole,
        counts,
        restless_share(lull, of_row),
        gain_drop(rows, use),
    )


def _with_verge(rows: PollRows, use: npt.NDArray[np.bool_]) -> PollRows:
    """With the short frames beside the polls counted as quiet, unless tones forbid it."""
    scale = 1.0 if rows.summed else verge_scale(rows.quiet.sum(axis=0, dtype=np.float64), use)
    return rows if scale is None else rows.with_verge(scale)


def _rise(rows: PollRows, use: npt.NDArray[np.bool_]) -> float:
    """How many times the floor the polls' cores are; infinite without quiet to tell."""
    both = (rows.poll != IDLE) & (rows.quiet_frames > 0)
    if not both.any():
        return np.inf
    core = rows.core[both][:, use].sum(axis=1, dtype=np.float64)
    quiet = rows.quiet[both][:, use].sum(axis=1, dtype=np.float64) / rows.quiet_frames[both]
    return median(core) / max(median(quiet), 1e-30)


def _window(power: Powers | Floats, fill: Floats, frames: Ints, bins: float) -> Window:
    return Window(power.sum(axis=1, dtype=np.float64), fill, mean_shape(frames.astype(np.float64), bins))


def _own_quiet(
    quiet: Floats, frames: Floats, floor: Floats, clear: npt.NDArray[np.bool_], counted: int
) -> tuple[float, Floats]:
    """How all quiet frames of undisturbed rows deviate from the floors, and each poll's influence on that.

    Args:
        quiet: shape (polls,), mean power of the quiet frames in the poll's row.
        frames: shape (polls,), how many they are.
        floor: shape (polls,), N_k.
        clear: shape (polls,), rows to use.
        counted: number of polls over whose mean the influence is meant.
    """
    if np.count_nonzero(clear) < MIN_COUNT:
        return 0.0, np.zeros(len(quiet))
    weight = np.where(clear, frames, 0.0) / np.sum(frames[clear])
    relative = np.where(clear, quiet / np.where(clear, floor, 1.0) - 1, 0.0)
    mean = float(np.sum(weight * relative))
    return mean, np.asarray(counted * weight * (relative - mean))
