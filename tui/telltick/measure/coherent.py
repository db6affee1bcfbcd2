"""The interference itself, from bursts that repeat: the average of bursts with the same bytes.

Noise differs from burst to burst and averages out; what the same bytes make each time stays. From n bursts'
spectra X_k, the power that they share is

    U(f) = (|sum X_k|^2 - sum |X_k|^2) / (n (n - 1)),

the mean product of different bursts, whose mean is zero for noise alone: it is free of the noise's power, not
only less affected by it. It wants timing to 0.05 ms. Where stamps are not that good, each burst is moved, and
turned in phase where each has one of its own (radio-frequency pick-up), to fit the average best. Noise can
be made to fit too, so the fit is made on every other line and the power taken from the lines between, then
the other way round; and the same is done with equal stretches of quiet, whose result (hum that keeps
step with the polls) is taken off where there is any.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
import numpy.typing as npt

from telltick.measure.cells import running_median
from telltick.measure.frames import FULL_SCALE, Samples
from telltick.measure.robust import interval, jackknife_error
from telltick.model.characteristics import CoherentAverage
from telltick.model.clock import Floats
from telltick.model.readings import Band, Estimate
from telltick.model.traffic import Gate, Ints

Spectra = npt.NDArray[np.complex128]

LEAD_S, TAIL_S = 0.003, 0.008  # kept before and after a burst: audio rings on
REACH_S = 0.006  # how far a burst may be moved
MIN_BURSTS = 10
MOST_BURSTS = 400
_STEPS_HZ = 16_000  # moves are tried this often, six times in a period of the band's top, then interpolated
_ROUNDS = 4
_BLOCKS = 20
_TONE, _NEIGHBOURS = 4.0, 10
_STANDS_OUT = 2.0  # standard errors from which the quiet shares something
_AS_GOOD = 2.0  # standard errors below the best that are as good
SURE = 5.0  # standard errors by which what bursts share must stand out; four manners are tried


@dataclass(frozen=True)
class _Audio:
    """A stretch of audio without gaps."""

    samples: Samples
    first_sample: int
    rate_hz: int

    def holds(self, start_s: Floats, count: int) -> npt.NDArray[np.bool_]:
        """Which windows of so many samples lie within."""
        at = start_s * self.rate_hz - self.first_sample
        return np.asarray((at >= 1) & (at + count < len(self.samples) - 1))

    def spectra(self, start_s: Floats, count: int, inside: Ints) -> Spectra:
        """Some lines of windows, time counted from their exact starts."""
        first = np.floor(start_s * self.rate_hz).astype(int)
        cut = self.samples[first[:, None] - self.first_sample + np.arange(count)] / FULL_SCALE
        late = np.outer(start_s * self.rate_hz - first, inside / count)
        return np.asarray(np.fft.rfft(cut, axis=1)[:, inside] * np.exp(2j * np.pi * late))


@dataclass(frozen=True)
class Alike:
    """Bursts with the same bytes, and a stretch of quiet of the same length beside each.

    Attributes:
        bursts: shape (n,), which bursts of the gate.
        lead_s: how long before the burst's start its window begins.
        samples: length of the window.
        freq_hz: shape (lines,), the lines of the window's spectrum within the band.
        heard: shape (n, lines), spectra, time counted from the start of the burst.
        quiet: shape (n, lines), of the quiet beside.
        on_s: length of the burst.
        rate_hz: sample rate.
        tones: steady tones were left out; what leaks from them may keep step with the bursts.
    """

    bursts: Ints
    lead_s: float
    samples: int
    freq_hz: Floats
    heard: Spectra
    quiet: Spectra
    on_s: float
    rate_hz: int
    tones: bool = False

    @property
    def floor(self) -> Floats:
        """Shape (lines,): mean power of the quiet."""
        return np.asarray(np.mean(np.abs(self.quiet) ** 2, axis=0) + 1e-30)


@dataclass(frozen=True)
class Fit:
    """How each burst was moved and turned: multiply line f by ``turn exp(2 pi i f late)``.

    Attributes:
        late_s: shape (n,).
        turn: shape (n,), of size one.
    """

    late_s: Floats
    turn: npt.NDArray[np.complex128]

    def applied(self, lines: Spectra, freq_hz: Floats) -> Spectra:
        """The bursts' lines after it."""
        return np.asarray(lines * self.turn[:, None] * np.exp(2j * np.pi * np.outer(self.late_s, freq_hz)))


@dataclass(frozen=True)
class Manner:
    """What is left free when bursts are laid on each other."""

    free_timing: bool
    free_phase: bool


MANNERS = tuple(Manner(timing, phase) for timing, phase in product((False, True), repeat=2))


def alike_bursts(
    samples: Samples, first_sample: int, rate_hz: int, gate: Gate, band: Band | None = None
) -> list[Alike]:
    """Groups of bursts with the same bytes, the same direction and at least ten members, largest first.

    Args:
        samples: shape (n,), audio as recorded, without gaps.
        first_sample: index of ``samples[0]`` in the recording.
        rate_hz: sample rate.
        gate: bursts in audio time, latency applied, with their bytes.
        band: the band to listen in, 300-2700 Hz unless given.
    """
    audio = _Audio(samples, first_sample, rate_hz)
    groups: dict[tuple[bytes, bool], list[int]] = {}
    for index, data in enumerate(gate.data):
        groups.setdefault((data, bool(gate.rx[index])), []).append(index)
    found = [
        _alike(audio, gate, np.array(members), band or Band())
        for members in groups.values()
        if len(members) >= MIN_BURSTS
    ]
    return sorted((one for one in found if one is not None), key=lambda one: -len(one.bursts))


def _alike(audio: _Audio, gate: Gate, members: Ints, band: Band) -> Alike | None:
    """One group, without bursts that reach out of the audio, are odd or have no room for quiet."""
    long_s = gate.end_s[members] - gate.start_s[members]
    on_s = float(np.median(long_s))
    before_s = gate.start_s[members] - np.append(-np.inf, gate.end_s)[members]
    after_s = np.append(gate.start_s, np.inf)[members + 1] - gate.end_s[members]
    lead_s = float(np.clip(np.median(before_s), 0, LEAD_S))
    count = int((lead_s + on_s + float(np.clip(np.median(after_s), 0, TAIL_S))) * audio.rate_hz)
    heard_s = gate.start_s[members] - lead_s
    quiet_s = _quiet_starts(gate, gate.poll[members], count / audio.rate_hz)
    use = audio.holds(heard_s, count) & audio.holds(quiet_s, count)  # never true of a quiet that is not there
    use &= np.abs(long_s - on_s) < 0.02 * on_s + 0.002
    use[np.flatnonzero(use)[MOST_BURSTS:]] = False
    if np.count_nonzero(use) < MIN_BURSTS:
        return None
    lines = np.fft.rfftfreq(count, 1 / audio.rate_hz)
    inside = np.flatnonzero((lines >= band.low_hz) & (lines <= band.high_hz))
    heard, quiet = (audio.spectra(at_s[use], count, inside) for at_s in (heard_s, quiet_s))
    keep = ~_tonal(quiet)
    return Alike(
        members[use],
        lead_s,
        count,
        np.asarray(lines[inside][keep]),
        heard[:, keep],
        quiet[:, keep],
        on_s,
        audio.rate_hz,
        bool(not keep.all()),
    )


def _tonal(quiet: Spectra) -> npt.NDArray[np.bool_]:
    """Lines of steady tones, and one to each side: far above their neighbours while no bytes flow."""
    level = np.mean(np.abs(quiet) ** 2, axis=0)
    tonal = level > _TONE * running_median(level, _NEIGHBOURS)
    return np.asarray(np.convolve(tonal, np.ones(3), mode="same") > 0)


def _quiet_starts(gate: Gate, poll: Ints, length_s: float) -> Floats:
    """Start of a stretch of quiet after each burst's poll, or before it; NaN where there is no room."""
    first, last = gate.poll_start_s, gate.poll_end_s
    clear_s = 2 * TAIL_S
    after = last + clear_s
    before = first - clear_s - length_s
    room_after = after + length_s + LEAD_S <= np.append(first[1:], np.inf)
    room_before = before - clear_s >= np.append(-np.inf, last[:-1])
    return np.where(room_after, after, np.where(room_before, before, np.nan))[poll]


def cross_power(lines: Spectra) -> Floats:
    """Power that different bursts share: mean of X_j conj(X_k) over j != k, real part; shape (lines,)."""
    count = len(lines)
    together = np.abs(lines.sum(axis=0)) ** 2 - np.sum(np.abs(lines) ** 2, axis=0)
    return np.asarray(together / (count * (count - 1)))


def fitted(lines: Spectra, freq_hz: Floats, floor: Floats, manner: Manner) -> Fit:
    """Move and turn each burst so that it fits the average of all; the average starts from what they share.

    Args:
        lines: shape (n, lines).
        freq_hz: shape (lines,).
        floor: shape (lines,), power of the noise; loud lines weigh little.
        manner: what may be changed.
    """
    count = len(lines)
    fit = Fit(np.zeros(count), np.ones(count, dtype=np.complex128))
    if not (manner.free_timing or manner.free_phase):
        return fit
    white = lines / np.sqrt(floor)
    average = _shared(white) if manner.free_phase else white.mean(axis=0)
    if manner.free_timing:
        average = white[
            int(np.argmax(np.sum(np.abs(white) ** 2, axis=1)))
        ]  # the loudest tells its shape best
    for _ in range(_ROUNDS):
        fit = _against(white, freq_hz, average, manner)
        moved = fit.applied(white, freq_hz)
        average = moved.mean(axis=0)
    return fit


def _shared(white: Spectra) -> npt.NDArray[np.complex128]:
    """Spectrum that the bursts share up to a phase: the leading eigenvector of their products."""
    shape = white[int(np.argmax(np.sum(np.abs(white) ** 2, axis=1)))]
    for _ in range(8):
        agreed = np.sum(white * np.conj(shape), axis=1)
        shape = np.sum(np.conj(agreed)[:, None] * white, axis=0)
        shape = shape / max(float(np.linalg.norm(shape)), 1e-300)
    return np.asarray(shape)


def _against(white: Spectra, freq_hz: Floats, average: npt.NDArray[np.complex128], manner: Manner) -> Fit:
    """The best move and turn of each burst against an average."""
    products = white * np.conj(average)
    late_s = np.zeros(len(white))
    if manner.free_timing:
        late_s = _best_moves(products, freq_hz, manner)
    met = np.sum(products * np.exp(2j * np.pi * np.outer(late_s, freq_hz)), axis=1)
    turn = np.conj(met) / np.maximum(np.abs(met), 1e-300) if manner.free_phase else np.ones(len(white))
    return Fit(late_s, np.asarray(turn, dtype=np.complex128))


def _best_moves(products: Spectra, freq_hz: Floats, manner: Manner) -> Floats:
    """Move of each burst, in seconds, at which its products with the average add up best."""
    apart_hz = float(np.min(np.diff(freq_hz)))
    reach = int(
        min(REACH_S, 0.45 / apart_hz) * _STEPS_HZ
    )  # a move is known modulo one over what lies between
    moves = np.arange(-reach, reach + 1)
    turns = np.exp(2j * np.pi * np.outer(freq_hz, moves / _STEPS_HZ))
    match = np.einsum(
        "bf,fm->bm", products, turns
    )  # not by @: threads for so little work wait for each other
    good = np.abs(match) if manner.free_phase else match.real
    top = np.clip(np.argmax(good, axis=1), 1, 2 * reach - 1)
    left, middle, right = (good[np.arange(len(good)), top + side] for side in (-1, 0, 1))
    bend = np.minimum(left - 2 * middle + right, -1e-300)
    return np.asarray((moves[top] + np.clip(0.5 * (left - right) / bend, -0.5, 0.5)) / _STEPS_HZ)


@dataclass(frozen=True)
class Shared:
    """What the bursts of a group share.

    Attributes:
        manner: what was left free when they were laid on each other.
        power: shape (lines,), power shared by different bursts, less the same of quiet where that shares any.
        total: that, summed over lines.
        error: its standard error (delete-block jackknife).
        chance: its standard error if bursts shared nothing.
    """

    manner: Manner
    power: Floats
    total: float
    error: float
    chance: float

    @property
    def sure(self) -> float:
        """Standard errors of noise alone above zero."""
        return self.total / max(self.chance, 1e-300)


def shared_power(alike: Alike, manner: Manner) -> Shared:
    """Power that the bursts share when laid on each other in some manner; unbiased, may be negative.

    What the quiet beside them shares is taken off where tones were heard or where it stands out from chance
    by two standard errors; taken off always, its chance would cost a decibel. Of noise alone the jackknife
    tells sqrt(2) times the error: leaving out a burst takes away its products with all others, so that each
    product is left out twice. Beside tones it stays so, as their leakage changes slowly, burst after burst.
    """
    weight = 1 / alike.floor
    kept, quiet = (_held_out(lines, alike, manner) for lines in (alike.heard, alike.quiet))
    chance, beside = chance_error(kept, weight), chance_error(quiet, weight)
    in_step = alike.tones or float(np.sum(cross_power(quiet) * weight)) > _STANDS_OUT * beside

    def shared(use: npt.NDArray[np.bool_]) -> Floats:
        return cross_power(kept[use]) - in_step * cross_power(quiet[use])

    blocks = np.arange(len(kept)) * min(len(kept), _BLOCKS) // len(kept)
    without = [float(np.sum(shared(blocks != b) * weight)) for b in range(int(blocks[-1]) + 1)]
    power = shared(blocks >= 0)
    total, error = float(np.sum(power * weight)), jackknife_error(np.array(without))
    return Shared(manner, power, total, error, error if in_step else max(chance, error / np.sqrt(2)))


def chance_error(lines: Spectra, weight: Floats) -> float:
    """Standard error of the weighted sum of `cross_power`, were the bursts to share nothing.

    The products of two bursts each, k_jk = Re sum over f of w X_j conj(X_k), are then without mean and not
    correlated with each other: 2 / (n (n - 1)) sqrt(sum over j < k of k_jk^2).
    """
    count = len(lines)
    levelled = lines * np.sqrt(weight)
    parts = np.concatenate([levelled.real, levelled.imag], axis=1)
    products = np.einsum("jf,kf->jk", parts, parts)
    squares = float(np.sum(products**2) - np.sum(np.diagonal(products) ** 2)) / 2
    return 2 / (count * (count - 1)) * float(np.sqrt(squares))


def _held_out(lines: Spectra, alike: Alike, manner: Manner) -> Spectra:
    """Lines moved and turned as the lines between them ask for."""
    out = np.empty_like(lines)
    for here, there in ((slice(0, None, 2), slice(1, None, 2)), (slice(1, None, 2), slice(0, None, 2))):
        fit = fitted(lines[:, there], alike.freq_hz[there], alike.floor[there], manner)
        out[:, here] = fit.applied(lines[:, here], alike.freq_hz[here])
    return out


def best_shared(alike: Alike) -> Shared:
    """The manner in which most is shared; what need not be left free to share as much is not."""
    every = [shared_power(alike, manner) for manner in MANNERS]
    best = max(every, key=lambda one: one.sure)
    return next(one for one in every if one.total >= best.total - _AS_GOOD * best.error)


def coherent_average(
    samples: Samples, first_sample: int, rate_hz: int, gate: Gate, band: Band | None = None
) -> CoherentAverage | None:
    """What bursts that repeat share, those that sound longest in all first; None where nothing stands out.

    Args:
        samples: shape (n,), audio as recorded, without gaps; a minute of it is plenty.
        first_sample: index of ``samples[0]`` in the recording.
        rate_hz: sample rate.
        gate: bursts in audio time, latency applied, with their bytes.
        band: the band to listen in, 300-2700 Hz unless given.
    """
    groups = alike_bursts(samples, first_sample, rate_hz, gate, band)
    for alike in sorted(groups, key=lambda one: -one.on_s * len(one.bursts)):
        shared = best_shared(alike)
        if shared.sure >= SURE:
            return CoherentAverage(
                len(alike.bursts),
                bool(gate.rx[alike.bursts[0]]),
                _shared_ratio_db(alike, shared),
                coherent_gain_db(alike, shared),
                shared.manner.free_timing,
                shared.manner.free_phase,
            )
    return None


def _shared_ratio_db(alike: Alike, shared: Shared) -> Estimate:
    """Shared power over the noise of the time in which bytes flow, both added over the band, in dB."""
    ratio = shared.power.sum() / (alike.floor.sum() * alike.on_s * alike.rate_hz / alike.samples)
    error = shared.error / max(shared.total, 1e-300)  # relative
    found = interval(1.0, error, _BLOCKS - 1)
    return Estimate(*(float(10 * np.log10(max(ratio * part, 1e-6))) for part in (1.0, found.low, found.high)))


def coherent_gain_db(alike: Alike, shared: Shared) -> float:
    """10 log10(n s): n bursts average the noise down to 1/n; s is the share of their power that is kept.

    The share is that of shared power in the rise over the quiet; at most all of it, and all of it where the
    rise itself does not show.
    """
    rise = float(np.sum(np.mean(np.abs(alike.heard) ** 2, axis=0) / alike.floor - 1))
    share = min(1.0, shared.total / rise) if rise > 0 else 1.0
    return float(10 * np.log10(len(alike.bursts) * max(share, 1e-6)))


def average_burst(alike: Alike, shared: Shared) -> npt.NDArray[np.complex128]:
    """Spectrum of the bursts' average, shape (lines,), less what noise is left in it.

    Each line is weighted by the share of its power that is not noise (Wiener's filter).
    """
    fit = fitted(alike.heard, alike.freq_hz, alike.floor, shared.manner)
    average = fit.applied(alike.heard, alike.freq_hz).mean(axis=0)
    left = alike.floor / len(alike.heard)
    return np.asarray(average * np.maximum(0.0, 1 - left / np.maximum(np.abs(average) ** 2, 1e-300)))


def waveforms(alike: Alike, burst: npt.NDArray[np.complex128], late_s: Floats) -> Floats:
    """The burst's waveform in its window, full scale 1, moved later by parts of a sample.

    Returns:
        shape (moves, samples).
    """
    lines = np.zeros((len(late_s), alike.samples // 2 + 1), dtype=np.complex128)
    at = np.rint(alike.freq_hz * alike.samples / alike.rate_hz).astype(int)
    lines[:, at] = burst * np.exp(-2j * np.pi * np.outer(late_s, alike.freq_hz))
    return np.asarray(np.fft.irfft(lines, alike.samples, axis=1))
