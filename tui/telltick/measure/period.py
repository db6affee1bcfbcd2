"""Repetition period from the audio alone, for recordings without serial data.

The power over time, flattened and clipped, goes through one long Fourier transform whose lines are set
against the level around them. A rhythm of period P adds power at 1/P, 2/P, ...: the lines of each candidate
are added over H harmonics, H tried from 1 to 32, and judged by the tail of the gamma distribution that noise
alone would follow (harmonic summing as in Buccheri et al. 1983 and de Jager and Buesching 2010).
"""

from __future__ import annotations

import numpy as np

from telltick.measure.cells import running_median
from telltick.measure.frames import FULL_SCALE, Powers, Samples
from telltick.measure.rhythm import loud_part
from telltick.measure.robust import interval
from telltick.model.characteristics import Period
from telltick.model.clock import Floats
from telltick.model.readings import Band, Estimate

SHORTEST_S, LONGEST_S = 0.05, 2.0
THRESHOLD = 7.5  # audio without rhythm stays below: 99 of 100 minutes of noise below 6.3, the worst kind 7.4
_TRIALS_LOG10 = 4.3  # what so many candidates tried add to the chance of a false one
STEP_S = 0.002
_FLATTEN_S = 0.5
_NOTCH_S, _NOTCH_LEVEL = 0.7, 2.5
_CLIP = 4.0
_TOP_HZ = 40.0
_AROUND_HZ = 1.5
_HARMONICS = (1, 2, 4, 8, 16, 32)
_SUBMULTIPLE_SHARE = 0.7  # a shorter period that explains this share of the score is the true one
_BETWEEN = 3.0  # -log10 of the chance at which lines between are more than noise
_BLOCKS = 8


def find_period(samples: Samples, first_sample: int, rate_hz: int, band: Band | None = None) -> Period | None:
    """The rhythm that stands out most; None when none is beyond what chance does.

    Args:
        samples: shape (n,), audio as recorded; at least ten seconds, a minute for weak rhythms.
        first_sample: index of ``samples[0]`` in the recording.
        rate_hz: sample rate.
        band: the band to listen in, 300-2700 Hz unless given.
    """
    if len(samples) < 5 * LONGEST_S * rate_hz:
        return None
    beat = flat_beat(samples, rate_hz, band or Band())
    rates, scores = period_scores(beat, STEP_S)
    score = float(scores.max())
    if score < THRESHOLD:
        return None
    seconds = _refined(beat, 1 / _simplest_hz(beat, rates, scores))
    middle_s, on_s = loud_part(beat, STEP_S, seconds.value)
    phase_s = float((first_sample / rate_hz + middle_s) % seconds.value)
    chance = float(min(1.0, 10 ** (_TRIALS_LOG10 - score)))
    return Period(seconds, phase_s, score, chance, on_s=on_s)


def flat_beat(samples: Samples, rate_hz: int, band: Band) -> Floats:
    """Zero-mean in-band power in steps of 2 ms: steady tones notched out, flattened and clipped.

    The whole stretch is filtered at once: tones cut block by block would leave a rhythm of blocks.
    """
    from scipy.fft import irfft, next_fast_len, rfft

    audio = samples.astype(np.float32) / np.float32(FULL_SCALE)
    length = next_fast_len(len(audio), real=True)
    freq_hz = np.asarray(np.arange(length // 2 + 1) * (rate_hz / length), dtype=np.float64)
    keep = ((freq_hz >= band.low_hz) & (freq_hz <= band.high_hz)) * _notches(audio, rate_hz, freq_hz)
    power = irfft(rfft(audio, length) * keep.astype(np.float32), length)[: len(audio)] ** 2
    edges = np.rint(np.arange(int(len(audio) / rate_hz / STEP_S) + 1) * STEP_S * rate_hz).astype(int)
    level = np.add.reduceat(power, edges[:-1]) / np.diff(np.append(edges[:-1], len(audio)))
    smooth = running_median(level, round(_FLATTEN_S / STEP_S), every=10)
    beat = np.minimum(level / np.maximum(smooth, 1e-30), _CLIP)
    return np.asarray(beat - beat.mean(), dtype=np.float64)


def _notches(audio: Powers, rate_hz: int, freq_hz: Floats) -> Floats:
    """1 where the average spectrum is smooth, 0 at tones and two lines to each side."""
    from scipy.fft import rfft

    length = round(_NOTCH_S * rate_hz)
    count = len(audio) // length
    lines = rfft(audio[: count * length].reshape(count, length) * np.hanning(length).astype(np.float32))
    level = (lines.real**2 + lines.imag**2).mean(axis=0)
    tonal = level > _NOTCH_LEVEL * running_median(level, 50)
    tonal = np.convolve(tonal, np.ones(5), mode="same") > 0
    return np.interp(freq_hz, np.arange(len(level)) * (rate_hz / length), np.where(tonal, 0.0, 1.0))


def period_scores(beat: Floats, step_s: float) -> tuple[Floats, Floats]:
    """Score of each candidate repetition rate.

    Args:
        beat: shape (n,), zero-mean power over time.
        step_s: time from one value to the next.

    Returns:
        rates in Hz, and their scores (-log10 of the gamma tail, the best over numbers of harmonics).
    """
    line_hz, power = white_lines(beat, step_s)
    rate_hz = np.arange(1 / LONGEST_S, 1 / SHORTEST_S, 1 / (16 * len(beat) * step_s))
    best, total = np.zeros(len(rate_hz)), np.zeros(len(rate_hz))
    for harmonic in range(1, _HARMONICS[-1] + 1):
        at_hz = rate_hz * harmonic
        line = np.minimum(np.rint(at_hz / line_hz).astype(int), len(power) - 1)
        inside = at_hz < _TOP_HZ
        total += np.where(inside, power[line], 0.0)
        if harmonic in _HARMONICS:
            best = np.maximum(best, np.where(inside, rarity(total, harmonic), 0.0))
    return rate_hz, best


def rarity(total: Floats, harmonics: int) -> Floats:
    """-log10 of the chance that the lines of noise at so many harmonics add up to this much.

    Lines of noise, over their mean, are exponential, so their sum follows the gamma distribution; twice that
    is the Z^2_n of Buccheri et al. 1983, A&A 128, 245, with 2 n degrees of freedom.
    """
    from scipy.special import gammaincc, gammaln

    tail = gammaincc(harmonics, total)
    far = (total - (harmonics - 1) * np.log(np.maximum(total, 1.0)) + gammaln(harmonics)) / np.log(10)
    return np.where(tail > 1e-280, -np.log10(np.maximum(tail, 1e-300)), far)


def white_lines(beat: Floats, step_s: float) -> tuple[float, Floats]:
    """Spacing and power of the lines of a Hann-windowed transform, over the mean level around each."""
    from scipy.fft import next_fast_len, rfft

    length = next_fast_len(4 * len(beat), real=True)
    spectrum = rfft(beat * np.hanning(len(beat)), length)
    line_hz = 1 / (length * step_s)
    power = (spectrum.real**2 + spectrum.imag**2)[: int(1.5 * _TOP_HZ / line_hz)]
    around = running_median(power, int(_AROUND_HZ / 2 / line_hz), every=64)
    return line_hz, np.asarray(power / np.maximum(around / np.log(2), 1e-30))  # the median of an exponential


def _simplest_hz(beat: Floats, rate_hz: Floats, scores: Floats) -> float:
    """Repetition rate that stands out most, or a multiple of it: multiples of the true period score too.

    A multiple is the true rate when it explains nearly as much, and the lines between its own are noise.
    """
    best = int(np.argmax(scores))
    line_hz, power = white_lines(beat, STEP_S)
    for divisor in (6, 5, 4, 3, 2):
        near = np.flatnonzero(np.abs(rate_hz / (divisor * rate_hz[best]) - 1) < 0.004)
        if not len(near) or scores[near].max() < _SUBMULTIPLE_SHARE * scores[best]:
            continue
        found_hz = float(rate_hz[near[np.argmax(scores[near])]])
        order = np.arange(1, min(_HARMONICS[-1], int(_TOP_HZ / found_hz) * divisor) + 1)
        order = order[order % divisor > 0]
        between = power[np.rint(order * found_hz / divisor / line_hz).astype(int)]
        if rarity(between.sum(), len(order)) < _BETWEEN:
            return found_hz
    return float(rate_hz[best])


def _refined(beat: Floats, period_s: float) -> Estimate:
    """Period from the drift of the folded beat over blocks of time, with the error of that line.

    Each block's beat is compared with that of the whole by its harmonics; a wrong period shows as a delay
    that grows from block to block, timing that wanders as scatter around that line.
    """
    order = np.arange(1, max(1, min(16, int(_TOP_HZ * period_s))) + 1)
    count = len(beat) // _BLOCKS
    t = np.arange(count * _BLOCKS) * STEP_S
    turns = np.exp(-2j * np.pi * np.outer(order, t) / period_s) * beat[: len(t)]
    parts = turns.reshape(len(order), _BLOCKS, count).sum(axis=2).T
    lags = np.linspace(-0.5, 0.5, 401) * period_s
    match = np.exp(2j * np.pi * np.outer(order, lags) / period_s)
    delay = lags[np.argmax(((parts * np.conj(parts.sum(axis=0))) @ match).real, axis=1)]
    delay = period_s * np.unwrap(delay / period_s, period=1.0)
    middle = (np.arange(_BLOCKS) + 0.5) * count * STEP_S
    (slope, _), cov = np.polyfit(middle, delay, 1, cov=True)
    value = period_s * (1 + slope)
    error = period_s * float(np.hypot(np.sqrt(cov[0, 0]), 1e-5))
    return interval(float(value), error, _BLOCKS - 2)
