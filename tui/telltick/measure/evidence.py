"""Is the noise tied to the polls? Evidence that stays valid however often it is looked at.

An e-process starts at 1 and, without a tie, cannot be expected to grow: the chance that it ever reaches 1/a
is at most a (Ville's inequality; Ramdas et al., "Game-theoretic statistics and safe anytime-valid
inference", 2023).
"""

from __future__ import annotations

from collections.abc import Callable
from heapq import heappop, heappush, heappushpop

import numpy as np
import numpy.typing as npt

from telltick.model.clock import Floats

_BETS = np.array([0.18, 0.42, 0.9])
_BET_SHARES = np.array([0.03, 0.94, 0.03])  # most where a hundred polls just suffice
_ON_SIGNS = 0.04  # of the stake
_SIGN_BETS = np.array([0.05, 0.1, 0.2, 0.4, 0.7])
_FAR = 2.7  # scaled deviations beyond this lose their say: a crash tells nothing about the polls
_SIGN = 0.6  # what a sign counts in place of a scaled deviation
_CALM = 2.0  # times the spread of noise alone: static reaches 1.4, speech begins at 2 and soon goes on to 3


def tie_log_e(differences: Floats, sides: Floats | None = None, spread: float = np.inf) -> Floats:
    """Log e-value after each poll, of "bursts are louder than the quiet next to them".

    A little of the stake lies on signs (needed in speech), the rest on sizes: h(d) = tanh(bet psi(d /
    scale)), psi redescending, the scale a running median of |d|. Without a tie h has mean zero when d is
    symmetric about zero, so that the product of 1 + h is an e-process (Waudby-Smith and Ramdas, "Estimating
    means of bounded random variables by betting", 2024).

    More can be told from the stretches on both sides at once. In steady noise, whatever it is like, the
    stretch before, the poll, and the stretch after are each as far from the next: h(poll - before) is
    distributed as h(after - poll) = -h(poll - after), h being odd, so that the mean of both has mean zero;
    its scale is the spread of noise alone. Syllables or clicks that go on from poll to poll make it so only
    in the long run: where the differences so far scatter more than in noise alone, the signs of single ones
    by turns are bet on, which such a rhythm favours and disfavours alike.

    Args:
        differences: shape (polls,), log power of the burst less log power of one equal stretch beside it,
            before and after by turns: symmetric about zero without a tie.
        sides: shape (polls, 2 pairs), the same to stretches before and after, in pairs equally far away; NaN
            where a pair is not whole.
        spread: standard deviation of a difference in noise alone.
    """
    d = np.asarray(differences, dtype=np.float64)
    known = np.isfinite(d)
    both = np.zeros((len(d), 0)) if sides is None else sides
    if not known.all():
        d, both = d[known], both[known]
    if not len(d):
        return np.zeros(0)
    scale = running_scale(d)  # the present one included: it knows nothing of the sign of d
    calm = np.append(False, scale[:-1] < _CALM * spread)
    z = redescending(d / scale)
    if sides is not None:
        z = np.where(calm, z, _SIGN * np.sign(d))
    del scale  # of a day
    count = np.zeros(len(d))
    for side in both.T:
        count += calm & np.isfinite(side)

    def by_size(bet: float) -> Floats:
        stronger = bet * 2 * count / (count + 1.0)  # the mean of n differences to one poll scatters less
        many = _mean_of(lambda side: np.tanh(stronger * redescending(side / spread)), both, calm, count)
        return 0.98 * np.where(count > 0, many, np.tanh(bet * z))

    signs = np.where(count > 0, _mean_of(np.sign, both, calm, count), np.sign(d))
    sizes = _mixed(by_size, _BETS, _BET_SHARES)
    return np.asarray(np.logaddexp(_signed(signs) + np.log(_ON_SIGNS), sizes + np.log(1 - _ON_SIGNS)))


def _mean_of(
    score: Callable[[Floats], Floats], sides: Floats, calm: npt.NDArray[np.bool_], count: Floats
) -> Floats:
    """Mean of the scores of each poll's sides where it is calm; one side at a time in memory."""
    total = np.zeros(len(sides))
    for side in sides.T:
        total += np.where(calm & np.isfinite(side), score(side), 0.0)
    return np.asarray(total / np.maximum(count, 1))


def symmetric_log_e(differences: Floats, bet: float) -> Floats:
    """Log e-value after each difference, of "they are not symmetric about zero": sum of ln(1 + tanh(bet d)).

    Equal to exp(bet d) / cosh(bet d), whose mean over the sign of d is one.
    """
    return np.cumsum(np.log1p(np.tanh(bet * differences)))


def sign_log_e(differences: Floats) -> Floats:
    """Log e-value after each difference, from its sign alone; zero bets nothing."""
    return _signed(np.sign(differences))


def _signed(signs: Floats) -> Floats:
    """The same from signs, or from means of signs."""
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
