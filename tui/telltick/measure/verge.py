"""The verge of the polls: one short frame right before each poll and one right after it.

Frames of 21 ms that lie clear of all polls leave the ends of each gap nearly unheard: a gap of 68 ms with a
guard of 4 ms at each end tells the floor as 42 ms of it would. With one Hann window of half the length at
each end, of half the weight, it tells as much as 49 ms would, a gap of 34 ms 17 instead of 10, one of 168 ms
149 instead of 142 (W the sum of the squared windows, (sum W)^2 / sum W^2; Welch 1967).

A short window's bins are twice as wide. What flat noise in the band makes of that is nothing; what a sloping
spectrum makes of it is worked out from the long frames' own; steady tones would run over into their
neighbours, so that where there are any the verge stays out of account.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from telltick.measure.frames import FULL_SCALE, FrameSpec, Powers, Samples
from telltick.measure.gating import IDLE, Spans
from telltick.model.clock import Floats
from telltick.model.traffic import Gate, Ints

VERGE_GUARD_S = 0.005  # of a poll 7 ms late, as 2 in 10 000 are at 2 ms of jitter, a hundredth is heard
_SPREAD_BINS = 4  # a Hann window of half the length has its first zeros so far from the middle
_MOST_OFF = 0.03  # wider bins may change the band's power by so much


def verge_power(
    samples: Samples, first_sample: int, spec: FrameSpec, gate: Gate, spans: Spans
) -> tuple[Powers, Ints]:
    """Shape (rows, bins) and (rows,): power of each row's short frames, summed, and how many they are.

    They lie 5 ms clear of their poll; one that would come as near to the neighbouring poll is left out.

    Args:
        samples: shape (n,), audio as recorded.
        first_sample: index of ``samples[0]`` in the recording.
        spec: framing for its rate.
        gate: bursts in audio time, latency applied.
        spans: the rows.
    """
    from scipy.fft import rfft  # single precision, twice as fast as numpy's

    power = np.zeros((len(spans.poll), spec.bins), dtype=np.float32)
    count = np.zeros(len(spans.poll), dtype=np.int64)
    window = short_window(spec)
    for row, start in _starts(spec, gate, spans):
        first = start - first_sample
        spectrum = rfft(samples[first[:, None] + np.arange(len(window))] * window, n=spec.length, axis=1)
        power[row] += np.square(spectrum.real[:, : spec.bins]) + np.square(spectrum.imag[:, : spec.bins])
        count[row] += 1
    return power, count


@lru_cache(maxsize=8)
def short_window(spec: FrameSpec) -> Powers:
    """Shape (length / 2,) float32: a Hann window, times what turns samples into powers as long frames do."""
    half = spec.length // 2
    window = np.sin(np.pi * np.arange(half) / half) ** 2
    return np.asarray(window * 2 / FULL_SCALE / np.sqrt(spec.length * np.sum(window**2)), dtype=np.float32)


def _starts(spec: FrameSpec, gate: Gate, spans: Spans) -> Iterator[tuple[Ints, Ints]]:
    """Rows and first samples of the short frames: of those before the polls, then of those after them."""
    polled = np.flatnonzero(spans.poll != IDLE)
    poll = spans.poll[polled]
    last_end = np.maximum.accumulate(gate.poll_end_s)
    free_from = np.append(-np.inf, last_end[:-1])[poll] + VERGE_GUARD_S
    free_to = np.append(gate.poll_start_s[1:], np.inf)[poll] - VERGE_GUARD_S
    length_s = spec.length_s / 2
    before_s = gate.poll_start_s[poll] - VERGE_GUARD_S - length_s
    after_s = last_end[poll] + VERGE_GUARD_S
    for at_s, clear in ((before_s, before_s >= free_from), (after_s, after_s + length_s <= free_to)):
        yield polled[clear], np.rint(at_s[clear] * spec.rate_hz).astype(np.int64)


def verge_scale(level: Floats, use: npt.NDArray[np.bool_]) -> float | None:
    """What makes the short frames' power over the bins `use` that of long frames in the same noise.

    None where there is no quiet to tell, where tones stand in the band, or where the band ends so steeply
    beside something far stronger that wider bins hear mostly that.

    Args:
        level: shape (bins,), mean power of quiet long frames, up to a factor.
        use: shape (bins,), the bins that are measured: side by side unless there are tones.
    """
    inside = np.flatnonzero(use)
    if not len(inside) or len(inside) < inside[-1] - inside[0] + 1 or not level[inside].sum() > 0:
        return None
    wider = np.convolve(np.pad(level, _SPREAD_BINS, mode="edge"), _blur(), mode="valid")
    scale = float(level[inside].sum() / wider[inside].sum())
    return scale if abs(scale - 1) <= _MOST_OFF else None


@lru_cache(maxsize=1)
def _blur() -> Floats:
    """Shape (9,): weights of long frames' bins -4 to 4 that add up to what a short frame's bin hears.

    Least squares over the two windows' power responses (Harris 1978: a Hann window's is
    sinc(x) + (sinc(x - 1) + sinc(x + 1)) / 2, x in bins).
    """
    at = np.arange(-8, 8.001, 0.125)
    places = np.arange(-_SPREAD_BINS, _SPREAD_BINS + 1)
    long = np.stack([_response(at - place) for place in places], axis=1)
    weights = np.linalg.lstsq(long, _response(at / 2) / 2, rcond=None)[0]
    return np.asarray(weights / weights.sum())


def _response(x: Floats) -> Floats:
    return np.asarray((np.sinc(x) + (np.sinc(x - 1) + np.sinc(x + 1)) / 2) ** 2)
