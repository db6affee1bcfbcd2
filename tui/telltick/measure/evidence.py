"""Is the noise tied to the polls? Evidence that stays valid however often it is looked at.

An e-process starts at 1 and, without a tie, cannot be expected to grow: the chance that it ever reaches 1/a
is at most a (Ville's inequality; Ramdas et al., "Game-theoretic statistics and safe anytime-valid
inference", 2023).
"""

from __future__ import annotations

from collections.abc import Callable
from heapq import heappop, heappush, heappushpop

import numpy as np

from telltick.model.clock import Floats

_BETS = np.array([0.12, 0.4, 1.0])
_BET_SHARES = np.array([0.1, 0.8, 0.1])  # most where a hundred polls just suffice
_ON_SIGNS = 0.15  # of the stake
_SIGN_BETS = np.array([0.05, 0.1, 0.2, 0.4, 0.7])
_FAR = 3.0  # scaled deviations beyond this lose their say: a crash tells nothing about the polls


def tie_log_e(differences: Floats) -> Floats:
    """Log e-value after each poll, of "bursts are louder than the quiet next to them".

    A little of the stake lies on signs (needed in speech), the rest on sizes: z = psi(d / scale), psi
    redescending, the scale a running median of |d| that includes the present one (independent of the sign of
    d without a tie).

    Args:
        differences: shape (polls,), log power of the burst less log power of one equal stretch beside it,
            before and after by turns: symmetric about zero without a tie.
    """
    d = np.asarray(differences, dtype=np.float64)
    d = d[np.isfinite(d)]
    if not len(d):
        return np.zeros(0)
    z = redescending(d / running_scale(d))
    sizes = _mixed(lambda bet: 0.98 * np.tanh(bet * z), _BETS, _BET_SHARES)
    return np.asarray(np.logaddexp(sign_log_e(d) + np.log(_ON_SIGNS), sizes + np.log(1 - _ON_SIGNS)))


def symmetric_log_e(differences: Floats, bet: float) -> Floats:
    """Log e-value after each difference, of "they are not symmetric about zero": sum of ln(1 + tanh(bet d)).

    Equal to exp(bet d) / cosh(bet d), whose mean over the sign of d is one.
    """
    return np.cumsum(np.log1p(np.tanh(bet * differences)))


def sign_log_e(differences: Floats) -> Floats:
    """Log e-value after each difference, from its sign alone; zero bets nothing."""
    signs = np.sign(differences)
    return _mixed(lambda bet: bet * signs, _SIGN_BETS, np.full(len(_SIGN_BETS), 1 / len(_SIGN_BETS)))


def _mixed(gain: Callable[[float], Floats], bets: Floats, shares: Floats) -> Floats:
    """Log of the mean of the products of 1 + gain; one bet at a time in memory, as a day has many polls."""
    log_e = np.array(-np.inf)
    for bet, share in zip(bets.tolist(), shares.tolist(), strict=True):
        log_e = np.logaddexp(log_e, np.cumsum(np.log1p(gain(bet))) + np.log(share))
    return log_e


def redescending(z: Floats) -> Floats:
    """Scaled deviations as they are when small, fading out beyond three."""
    return np.asarray(z * np.exp(-0.5 * (z / _FAR) ** 2))


def running_scale(d: Floats) -> Floats:
    """Median of |d| over the polls so far, the present one included, as a standard deviation."""
    lower: list[float] = []  # heaps: the smaller half, negated, and the larger one
    upper: list[float] = []
    out = np.empty(len(d))
    for index, size in enumerate(map(float, np.abs(d))):  # a list of a day's polls would take 14 MB
        heappush(upper, -heappushpop(lower, -size))
        if len(upper) > len(lower):
            heappush(lower, -heappop(upper))
        out[index] = -lower[0] if len(lower) > len(upper) else (upper[0] - lower[0]) / 2
    return np.maximum(out / 0.6745, 1e-9)


def log_mean_exp(logs: Floats, shares: Floats | None = None) -> Floats:
    """Log of the mean of exp over the first axis, weighted by `shares` (which add up to one) if given."""
    top = logs.max(axis=0)
    return np.asarray(top + np.log(np.average(np.exp(logs - top), axis=0, weights=shares)))
