"""Energy balance: interference is the energy that polls add, over the time in which bytes flow.

    N = mean over quiet frames of P
    I = sum over active frames of (P - N) / sum over active frames of the gate share
    excess = 10 log10(1 + I / N)

Active frames reach beyond the bytes on both sides, so neither timing jitter nor ringing loses energy.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from telltick.measure.gating import IDLE
from telltick.measure.ringing import quiet_sums
from telltick.measure.robust import jackknife_error, sum_by, with_deleted
from telltick.measure.rows import PollRows
from telltick.model.clock import Floats
from telltick.model.traffic import Ints

BLOCK_POLLS = 5
_MOST_BLOCKS = 100


@dataclass(frozen=True)
class Balance:
    """N, I and the excess over a set of bins.

    Attributes:
        noise: N, re a full-scale sine.
        interference: I, may come out below zero.
        excess_db: 10 log10(1 + I / N).
        excess_error_db: its standard error.
        ratio: I / N.
        ratio_error: its standard error.
        dof: degrees of freedom of both errors.
    """

    noise: float
    interference: float
    excess_db: float
    excess_error_db: float
    ratio: float
    ratio_error: float
    dof: int


def balance(rows: PollRows, use: npt.NDArray[np.bool_]) -> Balance | None:
    """The energy balance summed over the bins `use`; None without polls or without quiet frames."""
    if not rows.polls or not rows.quiet_frames.sum() or not rows.gate_share.sum() > 0:
        return None
    quiet = quiet_sums(rows, use)
    active = rows.active[:, use].sum(axis=1, dtype=np.float64)
    sums = sum_by(
        blocks_of(rows), quiet, rows.quiet_frames.astype(np.float64), active,
        rows.active_frames.astype(np.float64), rows.gate_share,
    )  # fmt: skip
    ratio, ratios = with_deleted(_ratio, sums)
    noise = float(quiet.sum() / rows.quiet_frames.sum())
    excess, excesses = float(excess_db(np.asarray(ratio))), excess_db(ratios)
    return Balance(
        noise,
        ratio * noise,
        excess,
        jackknife_error(excesses),
        ratio,
        jackknife_error(ratios),
        len(ratios) - 1,
    )


def _ratio(
    quiet: Floats, quiet_frames: Floats, active: Floats, active_frames: Floats, share: Floats
) -> Floats:
    with np.errstate(divide="ignore", invalid="ignore"):
        noise = quiet / quiet_frames
        return np.asarray((active / noise - active_frames) / share)


def excess_db(ratio: Floats) -> Floats:
    """10 log10(1 + I / N), bounded below at -30 dB where chance makes it absurd."""
    return np.asarray(10 * np.log10(np.maximum(1 + ratio, 1e-3)))


def blocks_of(rows: PollRows) -> Ints:
    """Jackknife block of each row: runs of five polls (more in long stretches); idle rows follow suit."""
    polls = np.cumsum(rows.poll != IDLE) - 1
    size = max(BLOCK_POLLS, -(-rows.polls // _MOST_BLOCKS)) if rows.polls >= 2 * BLOCK_POLLS else 1
    blocks = np.maximum(polls, 0) // size
    last_whole = max(rows.polls // size - 1, 0)  # a short last block would count as much as a full one
    return np.asarray(np.minimum(blocks, last_whole), dtype=np.int64)
