"""How much the noise rises while bytes flow: the one number, by the method that the stretch allows.

The robust meter (`pollwise`) comes first: in steady noise it is as sharp as the energy balance, and static,
speech and fading do not carry it away. Where polls differ much among themselves (some loud, some not) its
mean would side with the majority, and where no quiet is left between most polls it has no floors: then cores
are held against gaps (`dense`), or the energy balance takes over.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from telltick.measure.balance import balance
from telltick.measure.dense import dense_excess, is_dense
from telltick.measure.gating import IDLE
from telltick.measure.pollwise import Pollwise, poll_by_poll, robust_excess, uneven_share
from telltick.measure.rows import PollRows

BASE_ERROR_DB = 0.006  # what the method itself may be off by in steady noise
_RINGING_DB = 3e-6  # per unit of I / N: rise of the quiet where a receiver's filter rings past the guard
_CLOSE_ERROR_DB = 0.014  # and where the few frames between close polls tell the floor
_RUNG_ERROR_DB = 0.03  # and where no frame is clear of ringing: 20 polls a second read 0.02 dB low
_UNREST_ERROR_DB = 0.5  # and in noise where no poll at all lies in calm surroundings,
_LITTLE_UNREST = 1 / 3  # in proportion; of fewer polls that do not, the calm ones tell all but exactly
_CHANCE = 0.0124  # 2 (1 - Phi(2.5)): share of polls that have a slot above `CLIP` beside them in steady noise
_TONES_ERROR_DB = 0.13  # times the share of the band that tones fill: what of them is left beside it
UNEVEN = 0.15  # share of polls far above the rest from which they no longer count as stray


class Method(StrEnum):
    """How an excess was worked out."""

    ROBUST = "robust meter"
    DENSE = "cores against gaps"
    BALANCE = "energy balance"


@dataclass(frozen=True)
class Excess:
    """N, I / N and the excess of one stretch, with standard errors that include the method's own.

    Attributes:
        noise: N, re a full-scale sine.
        ratio: I / N; may come out below zero.
        ratio_error: its standard error.
        excess_db: 10 log10(1 + I / N).
        error_db: its standard error.
        dof: degrees of freedom of both errors.
        method: how it was worked out.
        polls: what is known poll by poll; None without quiet slots.
        own_error_db: the part of the error that is the method's own, whatever the number of polls.
    """

    noise: float
    ratio: float
    ratio_error: float
    excess_db: float
    error_db: float
    dof: int
    method: Method
    polls: Pollwise | None = None
    own_error_db: float = 0.0


def measure_excess(rows: PollRows, use: npt.NDArray[np.bool_]) -> Excess | None:
    """The excess over the bins `use`; None without polls or without quiet audio."""
    polls = poll_by_poll(rows, use)
    robust = robust_excess(polls) if polls is not None else None
    if polls is not None and robust is not None and uneven_share(polls) < UNEVEN:
        unrest = max(1 - robust.polls / len(polls.at_s) - _CHANCE, 0.0)
        unrest *= _UNREST_ERROR_DB * min(unrest / _LITTLE_UNREST, 1.0)
        own = _method_error_db(robust.excess_db, rows, use) + unrest
        found = _Found(robust.noise, robust.excess_db, robust.error_db, robust.dof)
        return _excess(found, Method.ROBUST, own_error_db=own, polls=polls)
    dense = dense_excess(rows, use) if is_dense(rows) else None
    if dense is not None:
        rise = max(1 + dense.ratio, 1e-3)
        error_db = 10 / np.log(10) * dense.ratio_error / rise
        found = _Found(dense.noise, float(10 * np.log10(rise)), float(error_db), dense.dof)
        return _excess(found, Method.DENSE, own_error_db=BASE_ERROR_DB, polls=polls)
    plain = balance(rows, use)
    if plain is None:
        return None
    own = _method_error_db(plain.excess_db, rows, use)
    found = _Found(plain.noise, plain.excess_db, plain.excess_error_db, plain.dof)
    return _excess(found, Method.BALANCE, own_error_db=own, polls=polls)


def _method_error_db(excess_db: float, rows: PollRows, use: npt.NDArray[np.bool_]) -> float:
    """What the method itself may be off by in steady noise.

    A filter with edges 60 Hz wide rings past the guard of 8 ms; what `ringing` leaves of it is 0.003 dB
    (r.m.s.) of N at 30 dB in seeded scenes, in proportion to I / N.
    """
    ratio = max(10 ** (excess_db / 10) - 1, 0.0)
    close = _CLOSE_ERROR_DB * is_dense(rows)
    rung = _RUNG_ERROR_DB * _never_clear(rows) * ratio / (1 + ratio)
    tones = _TONES_ERROR_DB * _lost(rows, use)
    return float(np.linalg.norm([BASE_ERROR_DB, _RINGING_DB * ratio, close, rung, tones]))


def _never_clear(rows: PollRows) -> float:
    """Share of the polls without a frame that no ringing reaches: 20 ms clear of them."""
    polled = rows.poll != IDLE
    return float(np.mean(rows.quiet_frames[polled] <= rows.rim_frames[polled])) if polled.any() else 0.0


def _lost(rows: PollRows, use: npt.NDArray[np.bool_]) -> float:
    """Share of the band that is left out as steady tones."""
    if rows.summed is not None:
        return rows.summed.lost
    inside = np.flatnonzero(use)
    return 1 - len(inside) / float(inside[-1] - inside[0] + 1) if len(inside) else 0.0


class _Found(NamedTuple):
    """What a method found: N, the excess in dB, its error by the scatter of polls, and degrees of freedom."""

    noise: float
    excess_db: float
    error_db: float
    dof: int


def _excess(found: _Found, method: Method, *, own_error_db: float, polls: Pollwise | None) -> Excess:
    error_db = float(np.hypot(found.error_db, own_error_db))
    rise = 10 ** (found.excess_db / 10)
    ratio_error = float(rise * error_db * np.log(10) / 10)
    return Excess(
        found.noise,
        rise - 1,
        ratio_error,
        found.excess_db,
        error_db,
        found.dof,
        method,
        polls,
        own_error_db,
    )
