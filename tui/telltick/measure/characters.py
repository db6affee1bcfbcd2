"""Which character rate does the interference speak of? Baud and stop bits from the spectrum of the rise.

Start and stop bits repeat with every character, so the spectrum of a line of characters is a comb with teeth
at multiples of baud / bits, shaped by the bits themselves. The mean spectrum of the bursts, less that of the
quiet beside them, is compared with what each standard rate would give:

    m = log of the rise, r_c = log of the mean |X_c(f)|^2 of the bursts' bytes sent at candidate c,
    both less their running mean over 500 Hz (which removes the unknown coupling and the receiver's passband),
    score_c = correlation of m and r_c over the band.

Where the bytes are not known, printable characters drawn at random stand in for them; that tells the comb
but not rates whose teeth lie beyond the band. Interference picked up at radio frequency shows the same
spectrum shifted by an unknown amount; since edges fall on multiples of the bit time, X repeats every baud,
and all shifts are tried. A rate is named only if it leads by a clear margin.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from telltick.measure.frames import FULL_SCALE, Samples
from telltick.model.characteristics import CharacterRate
from telltick.model.clock import Floats
from telltick.model.framing import STANDARD_BAUD, Framing, line_edges
from telltick.model.readings import Band
from telltick.model.traffic import Gate, Ints

CANDIDATES = tuple((baud, Framing(stop_bits=stop)) for stop in (1, 2) for baud in STANDARD_BAUD)
MARGIN = 6.0  # lead in log likelihood over the best candidate of another rate
UNKNOWN_MARGIN = 8.0  # the bursts' own bits are then as strange to the true rate as to the others
LEAST_SCORE = 0.5
_DETREND_HZ = 500.0
_GRID_HZ = 8.0
_BLOCK = 65_536  # values whose spectra are worked out at once
_MOST_BURSTS = 200
_SHIFTS_AT_ONCE = 125
_FEW_TRIED = 16  # shifts worked out of those that a rough look finds best
_SLACK = 10.0  # in log likelihood: what that look may miss
_PRINTABLE = np.frombuffer(b"0123456789ABCDEF;", dtype=np.uint8)
_STAND_INS = 24


@dataclass(frozen=True)
class BurstSpectra:
    """Summed power spectra of equally long bursts and of equal stretches of quiet beside them.

    Attributes:
        freq_hz: shape (lines,), a fixed grid of 8 Hz over the band.
        active: shape (lines,), sum over bursts.
        quiet: shape (lines,), sum over the same number of quiet stretches.
        bursts: how many.
        length_s: length of each window.
        data: bytes of each burst; empty where they are not known.
    """

    freq_hz: Floats
    active: Floats
    quiet: Floats
    bursts: int
    length_s: float
    data: tuple[bytes, ...] = ()

    def plus(self, other: BurstSpectra) -> BurstSpectra:
        """Both together; they must have windows of one length."""
        return BurstSpectra(
            self.freq_hz,
            self.active + other.active,
            self.quiet + other.quiet,
            self.bursts + other.bursts,
            self.length_s,
            self.data + other.data,
        )


def burst_length_s(gate: Gate) -> float | None:
    """Length of the window: the median length of the bursts from the radio, else of all bursts."""
    length_s = gate.end_s - gate.start_s
    chosen = length_s[gate.rx] if gate.rx.any() else length_s
    return float(np.median(chosen)) if len(chosen) else None


def burst_spectra(
    samples: Samples,
    first_sample: int,
    rate_hz: int,
    gate: Gate,
    *,
    length_s: float,
    band: Band | None = None,
) -> BurstSpectra:
    """Spectra of the bursts of about this length that a stretch of audio wholly holds, quiet beside included.

    Args:
        samples: shape (n,), audio as recorded.
        first_sample: index of ``samples[0]`` in the recording.
        rate_hz: sample rate.
        gate: bursts in audio time, latency applied.
        length_s: length of the window, as from `burst_length_s`.
        band: the band to look at, 300-2700 Hz unless given.
    """
    band = band or Band()
    freq_hz = np.arange(band.low_hz + 50, band.high_hz - 50, _GRID_HZ)
    chosen, quiet_s = _bursts_with_quiet(gate, length_s)
    count = round(length_s * rate_hz)
    at = np.rint(gate.start_s[chosen] * rate_hz).astype(int) - first_sample
    beside = np.rint(quiet_s * rate_hz).astype(int) - first_sample
    inside = (np.minimum(at, beside) >= 0) & (np.maximum(at, beside) + count <= len(samples))
    inside[np.flatnonzero(inside)[_MOST_BURSTS:]] = False
    at, beside, chosen = at[inside], beside[inside], chosen[inside]
    data = tuple(gate.data[i] for i in chosen) if gate.data else ()
    active = _power(samples, at, count, rate_hz, freq_hz)
    return BurstSpectra(
        freq_hz, active, _power(samples, beside, count, rate_hz, freq_hz), len(at), length_s, data
    )


def _bursts_with_quiet(gate: Gate, length_s: float) -> tuple[Ints, Floats]:
    """Bursts of about the length, and where an equally long quiet stretch beside their poll begins."""
    near = np.abs(gate.end_s - gate.start_s - length_s) < 0.25 * length_s
    chosen = np.flatnonzero(near)
    first, last = gate.poll_start_s, gate.poll_end_s
    room = np.append(first[1:], np.inf) - last
    poll = gate.poll[chosen]
    after = last[poll] + np.minimum(0.02, np.maximum(room[poll] - length_s, 0) / 2)
    has = room[poll] > length_s + 0.01
    return chosen[has], after[has]


def _power(samples: Samples, at: Ints, count: int, rate_hz: int, freq_hz: Floats) -> Floats:
    """Sum over windows of the power at each frequency."""
    if not len(at):
        return np.zeros(len(freq_hz))
    window = np.hanning(count + 2)[1:-1] / FULL_SCALE
    size = 1 << int(np.ceil(np.log2(max(count, rate_hz / _GRID_HZ) * 2)))
    total = np.zeros(size // 2 + 1)
    for some in np.array_split(at, -(-len(at) * size // _BLOCK)):  # all at once would take much memory
        lines = np.fft.rfft(samples[some[:, None] + np.arange(count)] * window, size, axis=1)
        total += np.sum(lines.real**2 + lines.imag**2, axis=0)
    return np.asarray(np.interp(freq_hz, np.fft.rfftfreq(size, 1 / rate_hz), total))


def character_rate(
    spectra: BurstSpectra, candidates: Sequence[tuple[int, Framing]] = CANDIDATES
) -> CharacterRate | None:
    """The character rate that the rise speaks of, or None when no candidate leads clearly.

    Args:
        spectra: of a few dozen bursts at least.
        candidates: rates and framings to choose from.
    """
    rise = _feature(spectra)
    if rise is None:
        return None
    independent = _independent(spectra)
    margin = MARGIN if any(spectra.data) else UNKNOWN_MARGIN
    for tried, slack in ((_FEW_TRIED, _SLACK), (None, 0.0)):  # every shift only where a few leave a doubt
        fits = [fit for one in candidates for fit in _fits(rise, spectra, one, independent, tried)]
        leader = _leader(fits, margin, slack)
        if leader is not None:
            return leader
    return None


@dataclass(frozen=True)
class _Fit:
    """How well a candidate explains the rise, as it stands or shifted as suits it best.

    Attributes:
        baud: its rate.
        framing: its shape of characters.
        score: correlation.
        shift_hz: shift of its spectrum.
        evidence: log likelihood, shifts tried paid for.
    """

    baud: int
    framing: Framing
    score: float
    shift_hz: float
    evidence: float


def _fits(
    rise: Floats,
    spectra: BurstSpectra,
    candidate: tuple[int, Framing],
    independent: float,
    tried: int | None,
) -> tuple[_Fit, _Fit]:
    """A candidate's fit without a shift and with one."""
    template = _template(spectra, *candidate)
    chances = max(1.0, candidate[0] * spectra.length_s)  # shifts that differ
    (at_rest, _), (shifted, shift_hz) = (
        _score(rise, spectra, template),
        _best_shift(rise, spectra, template, tried),
    )
    return (
        _Fit(*candidate, at_rest, 0.0, _evidence(at_rest, independent)),
        _Fit(*candidate, shifted, shift_hz, _evidence(shifted, independent) - float(np.log(chances))),
    )


def _evidence(score: float, independent: float) -> float:
    """Log likelihood of normal deviations: -n/2 ln(1 - r^2), r the correlation."""
    return float(-0.5 * independent * np.log(max(1 - max(score, 0.0) ** 2, 1e-6)))


def _independent(spectra: BurstSpectra) -> float:
    """Independent values in the curve: lines of the noise bandwidth of the window, less what is taken out."""
    width_hz = float(spectra.freq_hz[-1] - spectra.freq_hz[0])
    return max(1.0, width_hz * spectra.length_s / 1.5 - width_hz / _DETREND_HZ)


def _leader(fits: Sequence[_Fit], margin: float, slack: float = 0.0) -> CharacterRate | None:
    """The best fit when it leads all of another baud by the margin and the slack."""
    best = max(fits, key=lambda fit: fit.evidence)
    other = max((fit for fit in fits if fit.baud != best.baud), key=lambda fit: fit.evidence)
    if best.score < LEAST_SCORE or best.evidence - other.evidence < margin + slack:
        return None
    same = [fit.evidence for fit in fits if fit.baud == best.baud and fit.framing != best.framing]
    sure = best.evidence - max(same, default=-np.inf) >= margin
    return CharacterRate(
        best.baud, best.framing if sure else None, best.score, best.score - other.score, best.shift_hz
    )


def _feature(spectra: BurstSpectra) -> Floats | None:
    """Detrended log of the rise; None where hardly anything rises."""
    rise = spectra.active - spectra.quiet
    floor = _floor(spectra)
    if spectra.bursts < 10 or np.mean(rise) < floor:
        return None
    return _detrended(np.log(np.maximum(rise, 0) + floor))


def _floor(spectra: BurstSpectra) -> float:
    """What is added before the logarithm so that chance in weak lines does not count."""
    rise = np.maximum(spectra.active - spectra.quiet, 0)
    chance = float(np.median(spectra.active + spectra.quiet)) / np.sqrt(max(spectra.bursts, 1))
    return float(0.05 * np.median(rise) + 2 * chance)


def _template(spectra: BurstSpectra, baud: int, framing: Framing) -> Floats:
    """Mean |X(f)|^2 of the bytes sent at this rate, through the window; shape (baud / 8 Hz,), one period."""
    period = round(baud / _GRID_HZ)
    bursts = Counter(spectra.data if any(spectra.data) else _stand_ins(spectra.length_s, baud, framing))
    edges = [_edges(data, framing) for data in bursts]
    bit, step = (np.concatenate(parts) for parts in zip(*edges, strict=True))
    line = np.repeat(np.arange(len(bursts)), [len(at) for at, _ in edges])
    inside = bit < spectra.length_s * baud
    weight = step * np.sin(np.pi * bit / (spectra.length_s * baud)) ** 2
    place = line * period + bit.astype(np.int64) % period
    times = np.fromiter(bursts.values(), dtype=np.float64)
    power = _summed_power(place[inside], weight[inside], times, period)
    return np.concatenate([power, power[1 : (period + 1) // 2][::-1]])


def _summed_power(place: Ints, weight: Floats, times: Floats, period: int) -> Floats:
    """Sum of |FFT|^2 over rows, each counted so many times; blocks that stay in the processor's cache.

    Args:
        place: where each weight lies, row after row; ascending from row to row.
        weight: the weights.
        times: shape (rows,), how often each row counts.
        period: values in a row.
    """
    from scipy.fft import rfft  # single precision, twice as fast as numpy's

    power = np.zeros(period // 2 + 1)
    block = max(1, _BLOCK // period)
    for at in range(0, len(times), block):
        some = times[at : at + block]
        first, last = np.searchsorted(place // period, [at, at + len(some)])
        line = place[first:last] - at * period
        values = np.bincount(line, weights=weight[first:last], minlength=len(some) * period)
        half = rfft(values.reshape(len(some), period).astype(np.float32), axis=1)
        power += some @ (half.real**2 + half.imag**2)
    return power


@lru_cache(maxsize=256)
def _edges(data: bytes, framing: Framing) -> tuple[Floats, Floats]:
    """Edges of a burst, in bit times: the same at every rate."""
    return line_edges(data, 1.0, framing)


def _stand_ins(length_s: float, baud: int, framing: Framing) -> list[bytes]:
    """Random printable characters that fill the window."""
    rng = np.random.default_rng(baud + framing.bits_per_char)
    count = max(1, int(length_s / framing.char_time_s(baud)))
    return [rng.choice(_PRINTABLE, count).tobytes() for _ in range(_STAND_INS)]


def _scores_by_shift(rise: Floats, spectra: BurstSpectra, template: Floats, shifts: Ints) -> Floats:
    """Correlation of the rise with the template shifted by lines of the grid."""
    first = round(float(spectra.freq_hz[0]) / _GRID_HZ)
    measured = np.maximum(spectra.active - spectra.quiet, 0)
    line = (first + np.arange(len(rise)) + shifts[:, None]) % len(template)
    power = template[line]
    scaled = power * (measured.mean() / np.maximum(power.mean(axis=1, keepdims=True), 1e-300))
    shape = _detrended(np.log(scaled + _floor(spectra)))
    shape -= shape.mean(axis=1, keepdims=True)
    centred = rise - rise.mean()
    size = np.sqrt(np.sum(shape**2, axis=1) * np.sum(centred**2))
    return np.asarray(shape @ centred / np.maximum(size, 1e-300))


def _score(rise: Floats, spectra: BurstSpectra, template: Floats) -> tuple[float, float]:
    return float(_scores_by_shift(rise, spectra, template, np.zeros(1, dtype=np.int64))[0]), 0.0


def _best_shift(
    rise: Floats, spectra: BurstSpectra, template: Floats, tried: int | None = None
) -> tuple[float, float]:
    """Best correlation over all shifts, and that shift in Hz.

    Args:
        rise: what was measured.
        spectra: that it comes from.
        template: what is expected.
        tried: work out only so many shifts, those that a rough look at all of them finds best.
    """
    if tried is None:
        shifts = np.arange(0, len(template), 2)
    else:
        rough = _rough_scores(rise, spectra, template)
        shifts = np.sort(np.argpartition(rough, -min(tried, len(rough)))[-tried:])
    parts = np.array_split(shifts, max(1, len(shifts) // _SHIFTS_AT_ONCE))
    scores = np.concatenate([_scores_by_shift(rise, spectra, template, part) for part in parts])
    best = int(np.argmax(scores))
    return float(scores[best]), float(shifts[best] * _GRID_HZ)


def _rough_scores(rise: Floats, spectra: BurstSpectra, template: Floats) -> Floats:
    """Correlation with the template at every shift, its level and trend taken out line by line.

    Returns:
        shape (lines of the template,).
    """
    first, period = round(float(spectra.freq_hz[0]) / _GRID_HZ), len(template)
    measured = np.maximum(spectra.active - spectra.quiet, 0)
    level = np.maximum(_circular_mean(template, len(rise)), 1e-300)
    curve = np.log(template * (measured.mean() / level) + _floor(spectra))
    curve -= _circular_mean(curve, round(_DETREND_HZ / _GRID_HZ))
    line = (first + np.arange(len(rise))) % period
    weight = np.bincount(line, minlength=period).astype(np.float64)
    matched = np.bincount(line, weights=rise - rise.mean(), minlength=period).astype(np.float64)
    sums = [
        _circular_sums(values, by) for values, by in ((curve, matched), (curve, weight), (curve**2, weight))
    ]
    spread = np.maximum(sums[2] - sums[1] ** 2 / len(rise), 1e-12)
    return np.asarray(sums[0] / np.sqrt(spread))


def _circular_sums(values: Floats, weights: Floats) -> Floats:
    """Sum over k of weights[k] values[k + shift], for every shift; both repeat."""
    return np.asarray(np.fft.irfft(np.fft.rfft(values) * np.conj(np.fft.rfft(weights)), len(values)))


def _circular_mean(values: Floats, width: int) -> Floats:
    """Running mean of values that repeat, over `width` of them around each."""
    weights = np.zeros(len(values))
    np.add.at(weights, (np.arange(width) - width // 2) % len(values), 1 / width)
    return _circular_sums(values, weights)


def _detrended(curve: Floats) -> Floats:
    """A curve over frequency (last axis) less its running mean over 500 Hz, shorter at the ends."""
    reach = round(_DETREND_HZ / _GRID_HZ / 2)
    total = np.cumsum(np.concatenate([np.zeros((*curve.shape[:-1], 1)), curve], axis=-1), axis=-1)
    index = np.arange(curve.shape[-1])
    low, high = np.maximum(index - reach, 0), np.minimum(index + reach + 1, curve.shape[-1])
    return np.asarray(curve - (total[..., high] - total[..., low]) / (high - low))
