"""Does the receiver's gain give way to the bursts? The quiet after each poll tells.

An automatic gain control that a burst has turned down comes back over tenths of a second. The quiet between
two polls then starts too low and rises, poll after poll, whatever else the noise does. With y the log power
of the quiet slots between two polls, t their time since that quiet began and

    w(t) = exp(-t / 0.2 s) less its mean over these slots,   D = - r sum w y / sum w^2,

D is how far the first slot lies below the last (least squares), r what w falls by between these two. Fading
and speech have no such order, so that D scatters about zero: its robust mean over the polls is held against
its own error (Student's t), and warned of where it is sure, and large enough to matter to a reading.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from telltick.measure.gating import IDLE
from telltick.measure.robust import bisquare_mean, clustered_error, quantile, student_t, time_blocks
from telltick.measure.rows import PollRows
from telltick.model.clock import Floats
from telltick.model.traffic import Ints

RECOVERY_S = 0.2  # fits releases from a tenth of a second to seconds: between polls they look alike
LEAST_DROP = 0.0115  # ln of power, 0.05 dB: what a reading may be off by anyway
LEVEL = 0.005  # chance of a false warning
_MIN_COUNT = 12
_CALM = 3.0  # times the lower quartile: with two slots to spare, one pause in eight scatters more by chance


@dataclass(frozen=True)
class GainDrop:
    """How far the gain lies down right after the bursts.

    Attributes:
        drop: D, ln of power.
        error: its standard error; infinite where there are too few pauses with quiet in them.
        dof: its degrees of freedom.
    """

    drop: float = 0.0
    error: float = float("inf")
    dof: int = 1

    @property
    def reacts(self) -> bool:
        """Is it sure, and large enough to matter?"""
        return self.drop > max(LEAST_DROP, student_t(1 - LEVEL, self.dof) * self.error)


def gain_drop(rows: PollRows, use: npt.NDArray[np.bool_]) -> GainDrop:
    """The drop over the bins `use`, from all calm pauses between one poll and the next.

    Hum that a gain control does not hear, or steady tones, must not be among the bins. A pause is calm where
    its slots scatter about the fitted rise as little as in the calmer quarter of the pauses; that tells
    nothing of the fit's sign.
    """
    row, since_s = _pauses(rows)
    level = np.log(np.maximum(rows.slots[:, use].sum(axis=1, dtype=np.float64), 1e-30))
    known = np.isfinite(since_s)
    row, level, shape = row[known], level[known], np.exp(-since_s[known] / RECOVERY_S)
    count = np.maximum(np.bincount(row, minlength=len(rows.poll)), 1)

    def summed(values: Floats) -> Floats:
        return np.bincount(row, weights=values, minlength=len(rows.poll)).astype(np.float64)

    reach = _reach(row, shape, len(rows.poll))
    shape -= (summed(shape) / count)[row]
    level -= (summed(level) / count)[row]
    size = np.sqrt(summed(shape**2))
    score = -summed(shape * level) / np.where(size > 0, size, np.inf)  # alike in scatter, however many slots
    left = np.sqrt(np.maximum(summed(level**2) - score**2, 0.0) / np.maximum(count - 2, 1))
    told = (count > 2) & (size > 0)
    calm = left <= _CALM * quantile(left[told], 0.25) if told.any() else ~told
    has = np.flatnonzero((size > 0) & (calm | ~told))
    if len(has) < _MIN_COUNT:
        return GainDrop()
    mean, influence = bisquare_mean(score[has])
    error, dof = clustered_error(influence, time_blocks(rows.core_s[has]))
    scale = float(reach[has].mean() / size[has].mean())
    return GainDrop(mean * scale, error * scale, dof)


def joined_drops(drops: Sequence[GainDrop], shares: Floats) -> GainDrop:
    """The drop over stretches that follow each other, by their shares of the whole."""
    told = [index for index, one in enumerate(drops) if np.isfinite(one.error)]
    if not told:
        return GainDrop()
    weight = shares[told] / shares[told].sum()
    drop, error = np.array([(drops[index].drop, drops[index].error) for index in told]).T
    dof = sum(drops[index].dof for index in told)
    return GainDrop(float(weight @ drop), float(np.linalg.norm(weight * error)), dof)


def _reach(row: Ints, shape: Floats, rows: int) -> Floats:
    """Shape (rows,): how much of the fitted rise lies between the first and the last slot of each pause."""
    most, least = np.full(rows, -np.inf), np.full(rows, np.inf)
    np.maximum.at(most, row, shape)
    np.minimum.at(least, row, shape)
    return np.where(most > least, most - least, 0.0)


def _pauses(rows: PollRows) -> tuple[Ints, Floats]:
    """The pause each slot lies in, and how long after that pause began; both of shape (slots,).

    A pause has the number of the row whose poll it follows, and begins where the quiet after it does. Slots
    before a poll belong to the pause after the poll of the row before; NaN where that is not the next one.
    """
    row, place = rows.slot_row, rows.slot_place
    length_s = rows.core_frames * rows.hop_s
    half_s = rows.active_frames * rows.hop_s / 2
    outwards_s = (np.abs(place) - 0.5) * length_s[row]
    follows = np.zeros(len(rows.poll), dtype=bool)
    follows[1:] = (rows.poll[1:] == rows.poll[:-1] + 1) & (rows.poll[:-1] != IDLE)
    between_s = np.full(len(rows.poll), np.nan)
    with np.errstate(invalid="ignore"):
        between_s[1:] = np.diff(rows.core_s) - half_s[1:] - half_s[:-1]
    between_s[~follows] = np.nan
    before = place < 0
    return np.where(before, np.maximum(row - 1, 0), row), np.where(
        before, between_s[row] - outwards_s, outwards_s
    )
