"""Drift of the audio clock against the serial clock: straight lines through maps of latency against time.

Track before detect: each candidate drift sums the maps of ten-second groups along its line, so that a drift
is found even where no single group shows a peak; a line through the groups' own peaks then refines it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from telltick.model.clock import Floats

MOST_PPM = 125.0
GROUP_S = 10.0
MIN_SPAN_S = 120.0  # over less, even a large drift stays within the guard around the bursts
_NEAR_CELLS = 6


@dataclass(frozen=True)
class Drift:
    """A drift and whether the maps reach over time enough to tell one."""

    ppm: float
    known: bool


def grouped(maps: Floats, at_s: Floats) -> tuple[Floats, Floats]:
    """Sums of maps over ten seconds, and the mean time of each sum."""
    _, group = np.unique(np.floor(at_s / GROUP_S), return_inverse=True)
    count = np.bincount(group)
    sums = np.zeros((len(count), maps.shape[1]))
    np.add.at(sums, group, maps)
    return sums, np.bincount(group, weights=at_s) / count


def best_drift(maps: Floats, at_s: Floats, middle_s: float, cell_s: float) -> Drift:
    """The drift along which the maps add up to the highest peak.

    Args:
        maps: shape (groups, lags).
        at_s: shape (groups,), time of each group.
        middle_s: time around which lines turn.
        cell_s: step from lag to lag, in seconds.
    """
    span_s = float(at_s[-1] - at_s[0]) if len(at_s) else 0.0
    if span_s < MIN_SPAN_S:
        return Drift(0.0, known=False)
    step_ppm = min(5.0, 1e6 * cell_s / span_s)
    candidates = np.arange(-MOST_PPM, MOST_PPM + step_ppm / 2, step_ppm)
    tops = _tops(maps, 1e-6 * np.outer(candidates, at_s - middle_s) / cell_s)
    coarse = float(candidates[int(np.argmax(tops))])
    return Drift(coarse + _refined_ppm(maps, at_s, middle_s, coarse, cell_s), known=True)


def along(maps: Floats, lag_shift: Floats) -> Floats:
    """Maps moved back by `lag_shift` lags each (rounded); lags that fall outside repeat the edge."""
    lags = np.arange(maps.shape[1]) + np.rint(lag_shift).astype(int)[:, None]
    return np.take_along_axis(maps, np.clip(lags, 0, maps.shape[1] - 1), axis=1)


def _tops(maps: Floats, lag_shifts: Floats) -> list[float]:
    """Highest value of the sum of `along` for each row of shifts, shape (lines, groups)."""
    lags = maps.shape[1]
    moves = np.rint(lag_shifts).astype(int)
    reach = min(int(np.abs(moves).max(initial=0)), lags)
    padded = np.pad(maps, ((0, 0), (reach, reach)), mode="edge")
    begins = reach + np.clip(moves, -reach, reach)
    tops = []
    for begin in begins.tolist():
        total = np.zeros(lags)
        for row, first in zip(padded, begin, strict=True):
            total += row[first : first + lags]
        tops.append(float(total.max()))
    return tops


def _refined_ppm(maps: Floats, at_s: Floats, middle_s: float, coarse_ppm: float, cell_s: float) -> float:
    """What a robust line through each group's own peak, near the common one, adds to the coarse drift."""
    moved = 1e-6 * coarse_ppm * (at_s - middle_s) / cell_s
    straight = along(maps, moved)
    best = int(np.argmax(straight.sum(axis=0)))
    low, high = max(best - _NEAR_CELLS, 0), best + _NEAR_CELLS + 1
    peaks = low + np.argmax(straight[:, low:high], axis=1) + np.rint(moved) - moved
    slopes = pair_slopes(at_s, peaks)
    return float(np.median(slopes)) * cell_s * 1e6 if len(slopes) else 0.0


def pair_slopes(x: Floats, y: Floats) -> Floats:
    """Slopes between pairs at least a third of the span apart; their median is Theil's (1950) robust line."""
    first, second = np.triu_indices(len(x), 1)
    far = x[second] - x[first] > (x[-1] - x[0]) / 3
    first, second = first[far], second[far]
    return np.asarray((y[second] - y[first]) / (x[second] - x[first]))
