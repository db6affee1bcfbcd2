"""Is the noise tied to the polls? Evidence that stays valid however often it is looked at.

An e-process starts at 1 and, without a tie, cannot be expected to grow: the chance that it ever reaches 1/a
is at most a (Ville's inequality; Ramdas et al., "Game-theoretic statistics and safe anytime-valid
inference", 2023).
"""

from __future__ import annotations

import numpy as np

from telltick.model.clock import Floats

_BETS = np.array([0.05, 0.1, 0.2, 0.4, 0.8, 1.6])
_SIGN_BETS = np.array([0.05, 0.1, 0.2, 0.4, 0.7])


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
    signs = [np.cumsum(np.log1p(bet * np.sign(d))) for bet in _SIGN_BETS]
    z = d / running_scale(d)
    z = z * np.exp(-(z**2) / 18)
    sizes = [np.cumsum(np.log1p(0.98 * np.tanh(bet * z))) for bet in _BETS]
    return log_mean_exp(np.stack([log_mean_exp(np.stack(signs)), log_mean_exp(np.stack(sizes))]))


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


def log_mean_exp(logs: Floats) -> Floats:
    """Log of the mean of exp over the first axis."""
    top = logs.max(axis=0)
    return np.asarray(top + np.log(np.mean(np.exp(logs - top), axis=0)))
