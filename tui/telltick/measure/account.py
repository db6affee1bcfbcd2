"""What a reading rests on: the few numbers that are kept of a stretch once its rows are let go of.

A day of polls is read at once. Of longer sessions half a day at a time is read and let go of, and the
accounts of these pieces are joined: means by the polls that each rests on, errors as of pieces that know
nothing of each other, but for what the method itself may be off by, which is the same in all. Evidence of a
tie goes on where the piece before stopped: each piece's is an e-process that starts at 1 whatever came
before, so that the product is one too (Ramdas et al., "Game-theoretic statistics and safe anytime-valid
inference", 2023).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from telltick.measure.contrasts import contrasts
from telltick.measure.evidence import tie_log_e
from telltick.measure.excess import UNEVEN, Excess, Method, measure_excess
from telltick.measure.gain import GainDrop, joined_drops
from telltick.measure.gating import IDLE
from telltick.measure.latency import SEARCH_S
from telltick.measure.robust import median
from telltick.measure.rows import PollRows
from telltick.measure.tones import band_bins, clear_share, tonal_bins
from telltick.model.clock import Floats
from telltick.model.readings import Band, Latency

MIN_POLLS = 12
_PERIODS_SEEN_S = (SEARCH_S[1] - SEARCH_S[0]) / 2  # of polls no further apart, one to a side was looked at
_NO_EVIDENCE = (0.0, 0.0)
_UNLIKE_DB = 2.0  # from here on one poll is far from another within a piece, too


@dataclass(frozen=True)
class Account:
    """What a reading of one stretch rests on.

    Attributes:
        polls: polls in it.
        seconds: audio in it.
        on_s: median time during which the bytes of a poll flow; 0 without polls.
        log_e: evidence of a tie, as the logs of e-values: the highest reached, and the one at the end; None
            where it was not asked for, or there are too few polls.
        found: the excess; None with too few polls or without quiet audio.
        counted: polls that it rests on.
        restless: share of the quiet far from the floor.
        gain: whether gain control gives way to the bursts.
        quiet: sum of the power in quiet frames, over the bins that are measured.
        quiet_frames: how many they are.
        share: of the band's noise floor in these bins.
        lost: share of the band left out as steady tones.
        strict: half of the polls lie within a quarter of a burst of a strict rhythm; False where the search
            for the latency tells (`reading.take_reading`).
    """

    polls: int
    seconds: float
    on_s: float
    log_e: tuple[float, float] | None
    found: Excess | None
    counted: int
    restless: float
    gain: GainDrop
    quiet: float
    quiet_frames: int
    share: float
    lost: float
    strict: bool

    def in_little_memory(self) -> Account:
        """The same without what is known poll by poll."""
        return self if self.found is None else replace(self, found=replace(self.found, polls=None))


def account_of(
    rows: PollRows, band: Band | None = None, *, latency: Latency | None, evidence: bool = True
) -> Account:
    """What a reading of some rows rests on.

    Args:
        rows: the stretch, measured with the gate at this latency.
        band: the band to measure, 300-2700 Hz unless given.
        latency: the latency in use, or None when none stands out.
        evidence: whether the evidence of a tie is worked out.
    """
    band = band or Band()
    use, share = _clear_bins(rows, band)
    enough = rows.polls >= MIN_POLLS
    log_e = _log_e(rows, use) if enough and evidence else None  # alone: of a day, it takes much memory
    found = measure_excess(rows, use) if enough else None
    polls = None if found is None else found.polls
    polled = rows.poll != IDLE
    return Account(
        polls=rows.polls,
        seconds=rows.seconds,
        on_s=median(rows.on_s[polled]) if polled.any() else 0.0,
        log_e=log_e,
        found=found,
        counted=0 if polls is None else int(np.count_nonzero(polls.counts)),
        restless=0.0 if polls is None else polls.restless,
        gain=GainDrop() if polls is None else polls.gain,
        quiet=float(rows.quiet[:, use].sum(dtype=np.float64)),
        quiet_frames=int(rows.quiet_frames.sum()),
        share=share,
        lost=_lost(rows, band, use),
        strict=enough and latency is not None and _is_strict(rows, latency),
    )


def joined_accounts(parts: Sequence[Account]) -> Account:
    """Stretches that follow each other as one; those that have no excess of their own add to none.

    Args:
        parts: in order of time, at least one; their bins must have been added up (`measure.banded`).
    """
    if len(parts) == 1:
        return parts[0]
    told = [one for one in parts if one.found is not None and np.isfinite(one.found.error_db)]
    shares = shares_of([float(one.counted or one.polls) for one in told])
    seconds = [one.seconds for one in parts]
    return Account(
        polls=sum(one.polls for one in parts),
        seconds=sum(seconds),
        on_s=float(shares_of([float(one.polls) for one in parts]) @ [one.on_s for one in parts]),
        log_e=_chained([one.log_e for one in parts]),
        found=_joined_excess([one.found for one in told if one.found is not None], shares),
        counted=sum(one.counted for one in told),
        restless=float(shares @ [one.restless for one in told]),
        gain=joined_drops([one.gain for one in told], shares),
        quiet=sum(one.quiet for one in parts),
        quiet_frames=sum(one.quiet_frames for one in parts),
        share=1.0,
        lost=float(shares_of(seconds) @ [one.lost for one in parts]),
        strict=bool(told) and all(one.strict for one in told),
    )


def shares_of(weights: Sequence[float]) -> Floats:
    """Weights as shares of their sum; equal ones where all are zero."""
    each = np.asarray(weights, dtype=np.float64)
    return each / each.sum() if each.sum() > 0 else np.full(len(each), 1 / max(len(each), 1))


def joined_error(errors: Sequence[float], common: Sequence[float], shares: Floats) -> float:
    """Standard error of a weighted mean of pieces, part of whose errors is the same in all.

    Args:
        errors: of each piece, the common part included.
        common: that part.
        shares: of each piece in the mean.
    """
    both, same = np.asarray(errors), np.asarray(common)
    own = np.sqrt(np.maximum(both**2 - same**2, 0.0))
    return float(np.hypot(np.linalg.norm(shares * own), shares @ same))


def _joined_excess(parts: Sequence[Excess], shares: Floats) -> Excess | None:
    """The mean of the pieces' excesses in dB, or that of their powers where they are unlike."""
    if not parts:
        return None
    noise, excess_db = (np.array([getattr(one, name) for one in parts]) for name in ("noise", "excess_db"))
    floor = float(shares @ noise)
    method = max(Method, key=lambda method: shares @ [one.method is method for one in parts])
    told_db = float(shares @ excess_db)
    if _are_unlike(excess_db, shares):
        method, powers = Method.BALANCE, shares * noise * 10 ** (excess_db / 10)
        told_db = float(10 * np.log10(powers.sum() / floor))
        shares = powers / powers.sum()
    own_db = [one.own_error_db for one in parts]
    error_db = joined_error([one.error_db for one in parts], own_db, shares)
    rise = 10 ** (told_db / 10)
    return Excess(
        noise=floor,
        ratio=rise - 1,
        ratio_error=rise * error_db * float(np.log(10)) / 10,
        excess_db=told_db,
        error_db=error_db,
        dof=sum(one.dof for one in parts),
        method=method,
        own_error_db=float(shares @ own_db),
    )


def _are_unlike(excess_db: Floats, shares: Floats) -> bool:
    """Do too many polls lie in pieces far louder or weaker than the others for a mean in dB?"""
    order = np.argsort(excess_db)
    middle_db = excess_db[order][np.searchsorted(np.cumsum(shares[order]), 0.5 - 1e-9)]
    return bool(shares[np.abs(excess_db - middle_db) > _UNLIKE_DB].sum() >= UNEVEN)


def _chained(parts: Sequence[tuple[float, float] | None]) -> tuple[float, float] | None:
    """The highest and the last log e-value of a process that goes on from piece to piece."""
    told = [one for one in parts if one is not None]
    if not told:
        return None
    highest, end = _NO_EVIDENCE
    for top, last in told:
        highest, end = max(highest, end + top), end + last
    return highest, end


def _clear_bins(rows: PollRows, band: Band) -> tuple[npt.NDArray[np.bool_], float]:
    """The bins of the band without steady tones, and the share of its noise floor that they hold."""
    if rows.summed is not None:  # tones were left out when the bins were added up
        return band_bins(rows, band), 1.0
    tonal = tonal_bins(rows, band)
    return band_bins(rows, band) & ~tonal, clear_share(rows, band, tonal)


def _lost(rows: PollRows, band: Band, use: npt.NDArray[np.bool_]) -> float:
    inside = band_bins(rows, band)
    return rows.summed.lost if rows.summed else 1 - float(use.sum()) / max(1.0, float(inside.sum()))


def _log_e(rows: PollRows, use: npt.NDArray[np.bool_]) -> tuple[float, float]:
    """Evidence of a tie as the log of an e-value: the strongest reached, and that at the end."""
    found = contrasts(rows, use)
    log_e = tie_log_e(found.by_turns, found.sides, found.spread)
    return (max(0.0, float(log_e.max())), float(log_e[-1])) if len(log_e) else _NO_EVIDENCE


def _is_strict(rows: PollRows, latency: Latency) -> bool:
    """Where the search for the latency cannot tell: do polls follow a strict rhythm to a quarter of a burst?

    Half of them must lie so near the straight line through their times over their number, periods without a
    poll counted.
    """
    at_s, on_s = (values[rows.poll != IDLE] for values in (rows.core_s, rows.on_s))
    period_s = median(np.diff(at_s))
    if latency.modulo_s is not None or (not latency.locked and period_s < _PERIODS_SEEN_S):
        return False
    number = np.concatenate([[0.0], np.cumsum(np.rint(np.diff(at_s) / period_s))])
    slope, start = np.polyfit(number, at_s, 1)
    return bool(np.median(np.abs(at_s - start - slope * number)) < np.median(on_s) / 4)
