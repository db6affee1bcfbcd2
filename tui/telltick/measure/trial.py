"""The coin trial: is the slot that a poll was drawn into louder than the slots it might have gone into?

Each cycle of polling has K equal slots, and a fair draw decides into which of them the poll goes. Whatever
the noise is like (speech, static, clicks of any rhythm), where the draw does not change the audio the drawn
slot is exchangeable with the others. For any score s of the slots that is worked out without the draw,

    e = K exp(theta s_drawn) / sum_i exp(theta s_i)

then has mean one over the draw, and so has the product over cycles: an e-process. The chance that it ever
reaches 1/a is at most a, at whatever moment one looks or stops (Ville's inequality; Ramdas, Gruenwald, Vovk
and Shafer, "Game-theoretic statistics and safe anytime-valid inference", 2023). Averages of e-processes are
e-processes, so several scores, strengths theta and latencies are bet on at once.
"""

from __future__ import annotations

import bisect
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from telltick.measure.cells import CELL_S, Cells
from telltick.measure.evidence import log_mean_exp
from telltick.measure.robust import bisquare_mean, clustered_error, interval
from telltick.model.clock import Floats
from telltick.model.readings import Estimate
from telltick.model.traffic import Gate, Ints

BETS = np.array([0.12, 0.34, 0.9])  # strengths for many slots
BET_SHARES = np.array([0.08, 0.84, 0.08])  # most where a hundred polls just suffice
LAG_RANGE_S = (-0.02, 0.5)
UNCOUNTED = -1  # in place of a slot: the cycle does not count
MIN_CYCLES = 10  # for a difference with an interval
_FAR = 4.0  # a slot this many of its deviations from its cycle's median is out of the draw
_REDESCEND = 6.0  # scores beyond about six standard deviations count less and less
_SILENCE = 1e-15  # power below any sound card's


@dataclass(frozen=True)
class Draws:
    """Cycles of one rhythm in one capture run.

    Attributes:
        start_s: shape (cycles,), start of each cycle in seconds of audio, latency not applied.
        slot: shape (cycles,), the slot drawn.
        slots: slots in a cycle.
        slot_s: length of a slot, in seconds.
    """

    start_s: Floats
    slot: Ints
    slots: int
    slot_s: float


def poll_shape(gate: Gate) -> Floats:
    """When bytes flow in a typical poll: shape (bursts, 2), from and to in seconds after its start.

    The request and, where at least half of the polls have one, the reply, each from the first to the last
    decile over the polls, so that a wandering turn-around widens the reply instead of missing it.

    Args:
        gate: polls made before those that are judged with the shape; at least one.
    """
    begin_s = gate.poll_start_s[gate.poll]
    spans = []
    for direction in (False, True):
        mine = gate.rx == direction
        polls = np.unique(gate.poll[mine])
        if 2 * len(polls) < gate.polls or not len(polls):
            continue
        first, last = np.full(gate.polls, np.inf), np.full(gate.polls, -np.inf)
        np.minimum.at(first, gate.poll[mine], (gate.start_s - begin_s)[mine])
        np.maximum.at(last, gate.poll[mine], (gate.end_s - begin_s)[mine])
        spans.append([np.quantile(first[polls], 0.1), np.quantile(last[polls], 0.9)])
    shape = np.array(spans, dtype=np.float64)
    if len(shape) == 2 and shape[1, 0] <= shape[0, 1]:
        return np.array([[shape[:, 0].min(), shape[:, 1].max()]])
    return shape


def shape_fill(gate: Gate, shape: Floats) -> float:
    """Share of a shape's time during which bytes really flow, over the polls of a gate."""
    begin_s = gate.poll_start_s[gate.poll]
    start_s, end_s = gate.start_s - begin_s, gate.end_s - begin_s
    filled = sum(
        float(np.maximum(np.minimum(end_s, to_s) - np.maximum(start_s, from_s), 0.0).sum())
        for from_s, to_s in shape
    )
    return filled / (gate.polls * float(np.sum(shape[:, 1] - shape[:, 0])))


def lags_to_try(shape: Floats) -> Floats:
    """Latencies in seconds, close enough together that a poll of this shape falls through nowhere."""
    step_s = float(np.clip((shape[-1, 1] - shape[0, 0]) / 4, 0.002, 0.010))
    return np.arange(LAG_RANGE_S[0], LAG_RANGE_S[1] + step_s / 2, step_s, dtype=np.float64)


def slot_levels(cells: Cells, draws: Draws, shape: Floats, lag_s: float) -> Floats:
    """Log power of every slot over the time in which bytes would flow if the poll were in it.

    Args:
        cells: in-band power around the cycles.
        draws: the cycles.
        shape: what `poll_shape` returned.
        lag_s: serial time to audio time.

    Returns:
        shape (cycles, slots), natural logarithm; NaN where the cells do not cover the whole cycle.
    """
    sums = np.concatenate([[0.0], np.cumsum(cells.power, dtype=np.float64)])
    at = (draws.start_s + lag_s)[:, None] + np.arange(draws.slots) * draws.slot_s
    energy, length = np.zeros(at.shape), 0.0
    for from_s, to_s in shape:
        low = (at + from_s) / CELL_S - cells.first
        high = (at + to_s) / CELL_S - cells.first
        energy += _between(sums, low, high)
        length += (to_s - from_s) / CELL_S
    levels = np.log(np.maximum(energy / length, _SILENCE))
    first = (at[:, 0] + shape[0, 0]) / CELL_S - cells.first
    last = (at[:, -1] + shape[-1, 1]) / CELL_S - cells.first
    levels[(first < 0) | (last > len(cells.power))] = np.nan
    return levels


def _between(sums: Floats, low: Floats, high: Floats) -> Floats:
    """Integral of the cells from `low` to `high`, fractions of cells included."""
    at = np.arange(len(sums))
    return np.interp(high, at, sums) - np.interp(low, at, sums)


# ---- scores of slots: each is worked out from the audio alone


def faint_scores(z: Floats) -> Floats:
    """Standard scores as they are; NaN beyond four, where a crash says nothing of faint interference.

    A slot of K deviates from their middle by sqrt((K - 1) / K) of what it deviates from the floor: with two
    slots a crash moves the middle half way, and each lies as far from it as the other.
    """
    slots = z.shape[1]
    return np.where(np.abs(z) < _FAR * np.sqrt((slots - 1) / slots), z, np.nan)


def loud_scores(z: Floats) -> Floats:
    """psi(z) = z exp(-z^2 / 72): loud interference keeps its say, a single crash cannot dominate."""
    return np.asarray(z * np.exp(-(z**2) / (2 * _REDESCEND**2)))


def rank_scores(levels: Floats) -> Floats:
    """Ranks within each cycle, ties sharing their mean rank, brought to mean 0 and variance about 1."""
    slots = levels.shape[1]
    below = (levels[:, None, :] < levels[:, :, None]).sum(axis=2)
    above = (levels[:, None, :] > levels[:, :, None]).sum(axis=2)
    return np.asarray(np.sqrt(3.0) * (below - above) / slots)


def neighbour_scores(levels: Floats) -> Floats:
    """+1 where a slot is louder than both neighbours in its cycle, -1 where softer; for speech."""
    step = np.sign(np.diff(levels, axis=1))
    total, count = np.zeros(levels.shape), np.full(levels.shape[1], 2.0)
    total[:, 1:] += step
    total[:, :-1] -= step
    count[[0, -1]] = 1.0
    return np.asarray(total / count)


class RunningMedian:
    """Median of all values so far, the present one included."""

    def __init__(self) -> None:
        self._seen: list[float] = []

    def add(self, values: Floats) -> Floats:
        """Shape (n,): the median after each value."""
        out = np.empty(len(values))
        seen = self._seen
        for index, value in enumerate(values.tolist()):
            bisect.insort(seen, value)
            half = len(seen) // 2
            out[index] = seen[half] if len(seen) % 2 else (seen[half - 1] + seen[half]) / 2
        return out


# ---- bets on them


class CoinBet:
    """The odds against chance at one latency, cycle by cycle: an average of e-processes.

    Most of the stake bets on the size of the drawn slot where it is faint, some where it is loud, some on its
    rank and on how it compares with its neighbours (which holds in speech).
    """

    _STAKES = np.log(np.array([0.8, 0.12, 0.04, 0.04]))

    def __init__(self) -> None:
        self._scale = RunningMedian()
        self._logs = np.zeros((len(self._STAKES), len(BETS)))

    def add(self, levels: Floats, drawn: Ints) -> Floats:
        """Bet on further cycles.

        Args:
            levels: shape (cycles, slots), log power of every slot, all finite.
            drawn: shape (cycles,), the slot drawn; `UNCOUNTED` makes no bet, but the noise is learnt from.

        Returns:
            shape (cycles,): log of the e-value after each of them.
        """
        if not len(levels):
            return np.zeros(0)
        deviations = levels - np.median(levels, axis=1, keepdims=True)
        spread = self._scale.add(np.median(np.abs(deviations), axis=1))
        scale = np.maximum(spread * _spread_to_deviation(levels.shape[1]), 1e-9)
        z = deviations / scale[:, None]
        scores = (faint_scores(z), loud_scores(z), rank_scores(levels), neighbour_scores(levels))
        bets = BETS * _fewness(levels.shape[1])
        gains = np.stack([choice_log_e(score, drawn, bets) for score in scores])  # (stakes, bets, cycles)
        gains[:, :, drawn == UNCOUNTED] = 0.0
        logs = np.cumsum(np.concatenate([self._logs[:, :, None], gains], axis=2), axis=2)
        self._logs = logs[:, :, -1]
        each = log_mean_exp(np.moveaxis(logs[:, :, 1:], 1, 0), BET_SHARES) + self._STAKES[:, None]
        top = each.max(axis=0)
        return np.asarray(top + np.log(np.exp(each - top).sum(axis=0)))


def choice_log_e(scores: Floats, drawn: Ints, bets: Floats = BETS) -> Floats:
    """Log of K exp(theta s_drawn) / sum_i exp(theta s_i) for each strength theta.

    With two slots scored d and -d this is exp(theta d) / cosh(theta d), the log-cosh e-process of sign flips.
    Slots without a score are out of the draw: given that the drawn slot is among the K others, it is each of
    them with the same chance; and where it is not, nothing is won or lost.

    Args:
        scores: shape (cycles, slots); NaN takes a slot out of the draw, by a rule that cannot know the draw.
        drawn: shape (cycles,).
        bets: shape (bets,), the strengths.

    Returns:
        shape (bets, cycles); its exponential has mean one over a fair draw.
    """
    chosen = np.take_along_axis(scores, drawn[:, None], axis=1)[:, 0]
    known = np.isfinite(scores)
    count = np.maximum(known.sum(axis=1), 1)
    filled = np.where(known, scores, -np.inf)
    top = np.max(filled, axis=1, initial=-50.0)
    away = filled - top[:, None]
    out = np.zeros((len(bets), len(scores)))
    use = np.isfinite(chosen)
    for index, bet in enumerate(bets):
        mean = np.exp(bet * away[use]).sum(axis=1) / count[use]
        out[index, use] = bet * (chosen - top)[use] - np.log(mean)
    return out


def _fewness(slots: int) -> float:
    """sqrt(K / (K - 1)): what so few controls can tell at all is this much stronger, and so are the bets."""
    return float(np.sqrt(slots / max(slots - 1, 1)))


def _spread_to_deviation(slots: int) -> float:
    """Median of |deviation from the median| over few normal values as a standard deviation.

    1.4826 for many values; those for few come from simulated normal values. Odd numbers of values have the
    median among them, whose deviation is none.
    """
    few = {2: 2.09, 3: 2.76, 4: 2.20, 5: 1.98, 6: 1.88, 7: 1.80}
    return few.get(slots, 1.4826 * (1 + 1.2 / slots))


class LatencyMixture:
    """Odds over one stretch of draws, at a known latency or shared out over those it might be.

    What is paid for not knowing is the share: the odds are the mean over all latencies tried.
    """

    def __init__(self, lags_s: Floats, shares: Floats | None = None) -> None:
        """Begin to bet.

        Args:
            lags_s: shape (lags,), the latencies; one when it is known.
            shares: shape (lags,), the stake on each, 1 in all; None stakes the same on all.
        """
        self.lags_s = lags_s
        even = np.full(len(lags_s), 1.0 / len(lags_s))
        self._log_shares = np.log(even if shares is None else shares)
        self._bets = [CoinBet() for _ in lags_s]
        self._latest = self._log_shares

    def add(self, levels: Floats, drawn: Ints) -> Floats:
        """Bet on further cycles: levels of shape (lags, cycles, slots); returns log odds after each."""
        if not levels.shape[1]:
            return np.zeros(0)
        each = zip(self._bets, levels, self._log_shares, strict=True)
        logs = np.stack([bet.add(one, drawn) + share for bet, one, share in each])
        self._latest = logs[:, -1]
        return np.asarray(log_mean_exp(logs) + np.log(len(logs)))

    @property
    def best(self) -> tuple[int, float]:
        """The lag with the strongest odds and its share of all odds."""
        odds = np.exp(self._latest - self._latest.max())
        best = int(np.argmax(odds))
        return best, float(odds[best] / odds.sum())


def slot_contrasts(levels: Floats, drawn: Ints) -> Floats:
    """Level in the drawn slot less the median level of the others, in dB; shape (..., cycles).

    Args:
        levels: shape (..., cycles, slots), natural logarithm of power.
        drawn: shape (cycles,).
    """
    others = np.array(levels)
    others[..., np.arange(len(drawn)), drawn] = np.nan
    chosen = levels[..., np.arange(len(drawn)), drawn]
    return np.asarray((chosen - np.nanmedian(others, axis=-1)) * (10 / np.log(10)))


def trial_difference(contrasts_db: Floats, fill: float = 1.0) -> Estimate | None:
    """Robust mean of `slot_contrasts` with its 95 % interval; None with too few cycles.

    Where replies wander, the shape is wider than each of them and dilutes the interference; the measured d
    is brought back to the time in which bytes flow: 10 log10(1 + (10^(d/10) - 1) / fill).

    Logarithms of noise power lie below the logarithm of its mean by the same amount in every slot, so that
    the difference is free of that bias.
    """
    count = len(contrasts_db)
    if count < MIN_CYCLES:
        return None
    mean, influence = bisquare_mean(contrasts_db)
    blocks = np.arange(count) * max(MIN_CYCLES, count // 5) // count
    found = interval(mean, *clustered_error(influence, blocks))
    return Estimate(*(_undiluted_db(value, fill) for value in (found.value, found.low, found.high)))


def _undiluted_db(diluted_db: float, fill: float) -> float:
    return float(10 * np.log10(max(1 + (10 ** (diluted_db / 10) - 1) / fill, 0.01)))


def cycles_that_count(has_poll: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Which cycles count although or because a poll was sent in them, by a rule that cannot know the draw.

    A cycle without a poll counts as drawn when it is the first or the last of a spell without polls: a poll
    may have been missed because of where it was to go, and leaving it out would favour some slots. The rest
    of a long spell (a lost port, a stopped poller) does not count.

    Args:
        has_poll: shape (cycles,), from the leg's first cycle on.
    """
    after = np.concatenate([has_poll[1:], [False]])
    before = np.concatenate([[True], has_poll[:-1]])
    return np.asarray(has_poll | before | after)
