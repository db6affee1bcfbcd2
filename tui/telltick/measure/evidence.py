"""Is the noise tied to the polls? Evidence that stays valid however often it is looked at.

An e-process starts at 1 and, without a tie, cannot be expected to grow: the chance that it ever reaches 1/a
is at most a (Ville's inequality; Ramdas et al., "Game-theoretic statistics and safe anytime-valid
inference", 2023).
"""

from __future__ import annotations

import numpy as np

from telltick.model.clock import Floats
from telltick.model.traffic import Ints

_BETS = np.array([0.05, 0.1, 0.2, 0.4, 0.8, 1.6])
_BET_SHARES = np.array([0.05, 0.2, 0.35, 0.25, 0.1, 0.05])  # most where a hundred polls just suffice
_SIGN_BETS = np.array([0.05, 0.1, 0.2, 0.4, 0.7])
_FAR = 3.0  # scaled deviations beyond this lose their say: a crash tells nothing about the polls
_TRIAL_SHARES = np.array([0.7, 0.15, 0.15])  # of sizes, ranks, signs: each wins in some kind of noise


def tie_log_e(differences: Floats) -> Floats:
    """Log e-value after each poll, of "bursts are louder than the quiet next to them".

    The average of a sign bet (needed in speech) and of a bet on size: z = psi(d / scale), psi redescending,
    the scale a running median of |d| that includes the present one (independent of the sign of d without a
    tie).

    Args:
        differences: shape (polls,), log power of the burst less log power of an equal stretch beside it.
    """
    d = np.asarray(differences, dtype=np.float64)
    d = d[np.isfinite(d)]
    if not len(d):
        return np.zeros(0)
    z = redescending(d / running_scale(d))
    sizes = [np.cumsum(np.log1p(0.98 * np.tanh(bet * z))) for bet in _BETS]
    return log_mean_exp(np.stack([sign_log_e(d), log_mean_exp(np.stack(sizes), _BET_SHARES)]))


def trial_log_e(log_power: Floats, drawn: Ints) -> Floats:
    """Log e-value after each cycle of a coin trial, of "the drawn slot is louder than the others".

    A cycle has K equal slots; a poll went into one drawn at random. Without an influence of the poll the
    drawn slot is exchangeable with the others whatever the noise is like, and each factor

        e = K exp(theta z_drawn) / sum_i exp(theta z_i)

    has mean one over the draw. The e-value is the mean of three, each averaged over bets theta: z from sizes
    (deviation from the cycle's median over a running scale, redescending), z from ranks within the cycle, and
    the sign against the slot paired with the drawn one, its neighbour.

    Args:
        log_power: shape (cycles, slots), log of the in-band power of each slot.
        drawn: shape (cycles,), the slot the poll went into.

    Returns:
        shape (cycles,); a cycle with a value that is not finite does not count.
    """
    known = np.isfinite(log_power).all(axis=1)
    if not known.any():
        return np.zeros(len(drawn))
    y, slot = log_power[known], drawn[known]
    kinds = np.stack([_softmax_log_e(_sizes(y), slot), _softmax_log_e(_ranks(y), slot), _pair_log_e(y, slot)])
    log_e = log_mean_exp(kinds, _TRIAL_SHARES)
    counted = np.cumsum(known)
    return np.concatenate([[0.0], log_e])[counted]


def symmetric_log_e(differences: Floats, bet: float) -> Floats:
    """Log e-value after each difference, of "they are not symmetric about zero": sum of ln(1 + tanh(bet d)).

    Equal to exp(bet d) / cosh(bet d), whose mean over the sign of d is one.
    """
    return np.cumsum(np.log1p(np.tanh(bet * differences)))


def sign_log_e(differences: Floats) -> Floats:
    """Log e-value after each difference, from its sign alone; zero bets nothing."""
    signs = np.sign(differences)
    return log_mean_exp(np.stack([np.cumsum(np.log1p(bet * signs)) for bet in _SIGN_BETS]))


def redescending(z: Floats) -> Floats:
    """Scaled deviations as they are when small, fading out beyond three."""
    return np.asarray(z * np.exp(-0.5 * (z / _FAR) ** 2))


def _sizes(log_power: Floats) -> Floats:
    """Scaled deviation of each slot from its cycle's median; the scale does not know which slot was drawn."""
    away = log_power - np.median(log_power, axis=1, keepdims=True)
    usual = np.median(np.abs(away), axis=1) if log_power.shape[1] > 2 else np.abs(away[:, 0])
    return redescending(away / running_scale(usual)[:, None])


def _ranks(log_power: Floats) -> Floats:
    """Rank of each slot within its cycle, from -1 to 1 and scaled to a standard deviation near one."""
    ranks = log_power.argsort(axis=1).argsort(axis=1)
    return np.asarray(np.sqrt(3.0) * (2.0 * ranks / max(log_power.shape[1] - 1, 1) - 1))


def _softmax_log_e(z: Floats, drawn: Ints) -> Floats:
    """Mean over bets of the running products of K exp(theta z_drawn) / sum exp(theta z)."""
    chosen = np.take_along_axis(z, drawn[:, None], axis=1)[:, 0]
    logs = []
    for bet in _BETS:
        top = bet * z.max(axis=1)
        logs.append(np.cumsum(bet * chosen - top - np.log(np.exp(bet * z - top[:, None]).mean(axis=1))))
    return log_mean_exp(np.stack(logs), _BET_SHARES)


def _pair_log_e(log_power: Floats, drawn: Ints) -> Floats:
    """Signs against the other slot of the pair (0, 1), (2, 3), ...; a slot without partner bets nothing."""
    partner = drawn ^ 1
    paired = partner < log_power.shape[1]
    partner = np.where(paired, partner, drawn)
    at = np.arange(len(drawn))
    return sign_log_e(log_power[at, drawn] - log_power[at, partner])


def running_scale(d: Floats) -> Floats:
    """Median of |d| over the polls so far, the present one included, as a standard deviation."""
    import bisect

    seen: list[float] = []
    out = np.empty(len(d))
    for index, size in enumerate(np.abs(d).tolist()):
        bisect.insort(seen, size)
        half = len(seen) // 2
        out[index] = seen[half] if len(seen) % 2 else (seen[half - 1] + seen[half]) / 2
    return np.maximum(out / 0.6745, 1e-9)


def log_mean_exp(logs: Floats, shares: Floats | None = None) -> Floats:
    """Log of the mean of exp over the first axis, weighted by `shares` (which add up to one) if given."""
    top = logs.max(axis=0)
    return np.asarray(top + np.log(np.average(np.exp(logs - top), axis=0, weights=shares)))
