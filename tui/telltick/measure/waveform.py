"""A tie found by waveform: the line's signal, predicted from the bytes, as a matched detector.

Interference that couples into the audio path is the line's waveform, filtered. Its edges are known from the
bytes (their times and directions), so each poll is compared with its own prediction, burst by burst,

    c(tau) = sum over f of X(f) conj(T(f)) exp(2 pi i f tau) / S(f),
    T(f) = sum over edges of +-exp(-2 pi i f t),    m = sum over f of |T(f)|^2 / S(f),

S being the floor's spectrum and tau a few milliseconds of unknown timing. In Gaussian noise c is normal with
variance m, and a waveform of strength v (its energy over the noise's density) is more likely than none by

    exp(2 sqrt(v / m) Re c - v)                    as it is, or inverted with the other sign,
    exp(|c|^2 / m  v / (1 + v)) / (1 + v)          with a phase of its own in each burst, v the mean strength,

averaged over tau (matched filters: Kay, "Fundamentals of Statistical Signal Processing", vol. II, 1998,
chapters 4 and 5). The likelihood of the poll's window is set against those of equal stretches of quiet before
and after it, as a draw among three; that is the best bet against chance where the noise is Gaussian, and a
fair one where it is not. All windows are brought to one level first: loudness is told elsewhere, and
clicks whose rhythm drifts slowly across that of the polls lie in many polls on end, loud and of no form.
Where the bits are what is heard, this tells a tie with a fifth to a tenth of the polls that loudness needs;
`bits` tells whether it is the bits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from telltick.measure.cells import running_median
from telltick.measure.evidence import log_mean_exp
from telltick.measure.frames import FULL_SCALE, Samples
from telltick.measure.trial import choice_log_e
from telltick.model.clock import Floats
from telltick.model.framing import Framing, line_bits
from telltick.model.readings import Band
from telltick.model.traffic import Gate, Ints

REACH_S = 0.006  # how far the timing of a single poll may be off
_STEPS_HZ = 16_000  # tau is tried at least this often: six times in a period of the band's top
_APART_S = 0.004  # between a poll's window and the quiet ones
_HEARD = 1  # place of the poll among the three windows: quiet, poll, quiet
_NEIGHBOURS = 20  # lines on each side that tell the level around a line
Spectra = npt.NDArray[np.complex128]
KINDS = 3  # of match: as it is, inverted, with a phase of its own in each burst
STRENGTHS = np.array([0.5, 1.0, 2.0, 4.0, 8.0, 16.0])  # energy of a poll over the noise's density
_SURE = 4.0  # standard errors


@dataclass(frozen=True)
class WaveformTie:
    """What the predicted waveform says.

    Attributes:
        log_e: shape (polls,), log e-value after each poll that counts, of "the polls are heard".
        polls: polls that count: with bytes, and with equal stretches of quiet on both sides.
        upright: the waveform comes through the right way up (True) or inverted (False); None with a phase of
            its own in each burst, as when it is picked up at radio frequency. Means nothing without a tie.
    """

    log_e: Floats
    polls: int
    upright: bool | None

    @property
    def p_value(self) -> float:
        """At most the chance of e-values this high if the audio ignored the polls."""
        return float(min(1.0, np.exp(-self.log_e.max(initial=0.0))))


def waveform_tie(
    samples: Samples,
    first_sample: int,
    rate_hz: int,
    gate: Gate,
    *,
    baud: int,
    framing: Framing | None = None,
    band: Band | None = None,
) -> WaveformTie:
    """Hold each poll in a stretch of audio against the waveform that its bytes predict.

    Args:
        samples: shape (n,), audio as recorded, without gaps.
        first_sample: index of ``samples[0]`` in the recording.
        rate_hz: sample rate.
        gate: bursts in audio time, latency applied, with their bytes.
        baud: bits per second on the line.
        framing: shape of its characters, 8N1 unless given.
        band: the band to listen in, 300-2700 Hz unless given.
    """
    windows = poll_windows(gate, first_sample / rate_hz, len(samples) / rate_hz)
    if not gate.data or not len(windows.poll):
        return WaveformTie(np.zeros(0), 0, None)
    lines = Lines.for_windows(windows.length_s, rate_hz, band or Band())
    line = Predictor(gate, baud, framing or Framing(), lines.freq_hz)
    heard, begin_s, floor = window_spectra(samples, first_sample, windows, lines)
    matches = np.stack(
        [
            window_matches(x, line.of_poll(poll, at_s), floor, lines)
            for x, poll, at_s in zip(heard, windows.poll.tolist(), begin_s.tolist(), strict=True)
        ]
    )
    return tie_of(matches)


def tie_of(matches: Floats) -> WaveformTie:
    """What matches of shape (polls, windows, kinds, strengths) tell: a bet on each kind and strength."""
    drawn = np.full(len(matches), _HEARD, dtype=np.int64)
    bets = np.moveaxis(matches, (0, 1), (-2, -1)).reshape(-1, *matches.shape[:2])
    logs = np.stack([np.cumsum(choice_log_e(bet, drawn, np.ones(1))[0]) for bet in bets])
    return WaveformTie(log_mean_exp(logs), len(matches), _way_up(matches[:, _HEARD, :2].mean(axis=-1)))


def _way_up(matches: Floats) -> bool | None:
    """Upright or inverted, when nearly all polls agree on it; matches of shape (polls, 2)."""
    ahead = matches[:, 0] - matches[:, 1]
    lead = ahead.sum() / np.sqrt(max(float(np.sum(ahead**2)), 1e-30))  # like a normal value when signs vary
    return bool(lead > 0) if abs(lead) > _SURE else None


# ---- where to look


@dataclass(frozen=True)
class Windows:
    """Polls that count, and where to look for each.

    Attributes:
        poll: shape (polls,), numbers within the gate.
        begin_s: shape (polls, 3), starts of quiet, poll and quiet again, in seconds of audio.
        length_s: length of each window.
    """

    poll: Ints
    begin_s: Floats
    length_s: float


def poll_windows(gate: Gate, start_s: float, seconds: float) -> Windows:
    """Polls whose window, and the quiet before and after it, lie in the audio and clear of other polls.

    No quiet serves two polls, or their bets would not be on independent noise: where it would, every other
    poll counts.
    """
    if not gate.polls:
        return Windows(np.zeros(0, dtype=np.int64), np.zeros((0, 3)), 0.0)
    begin, end = gate.poll_start_s - REACH_S, gate.poll_end_s + REACH_S
    length_s = float(np.median(end - begin))
    at = begin[:, None] + np.array([-1.0, 0.0, 1.0]) * (length_s + _APART_S)
    earlier = np.append(start_s, np.maximum(end[:-1], start_s))
    following = np.append(np.minimum(begin[1:], start_s + seconds), start_s + seconds)
    clear = (at[:, 0] >= earlier) & (at[:, 2] + length_s <= following)
    poll = _apart(np.flatnonzero(clear & (end - begin <= 1.05 * length_s)), at[:, 0], at[:, 2] + length_s)
    return Windows(poll, at[poll], length_s)


def _apart(polls: Ints, from_s: Floats, to_s: Floats) -> Ints:
    """Those polls, in order, that share no time with the one kept before."""
    kept: list[int] = []
    for poll in polls.tolist():
        if not kept or from_s[poll] >= to_s[kept[-1]]:
            kept.append(poll)
    return np.array(kept, dtype=np.int64)


@dataclass(frozen=True)
class Lines:
    """The spectral lines that are compared.

    Attributes:
        rate_hz: sample rate.
        count: samples in a window.
        length: samples in a transform.
        use: shape (lines,), numbers of the lines within the band.
    """

    rate_hz: int
    count: int
    length: int
    use: Ints

    @classmethod
    def for_windows(cls, length_s: float, rate_hz: int, band: Band) -> Lines:
        """The lines of the band for windows of a length."""
        count = int(length_s * rate_hz)
        length = 1 << int(np.ceil(np.log2(count + 1)))
        freq_hz = np.arange(length // 2 + 1) * (rate_hz / length)
        return cls(
            rate_hz, count, length, np.flatnonzero((freq_hz >= band.low_hz) & (freq_hz <= band.high_hz))
        )

    @property
    def freq_hz(self) -> Floats:
        """Shape (lines,), in Hz."""
        return np.asarray(self.use * (self.rate_hz / self.length), dtype=np.float64)

    def matches(self, heard: Spectra, predicted: Spectra) -> Spectra:
        """c(tau) for all tau within `REACH_S`; shapes (..., lines) in, (..., taus) out."""
        seconds = self.length / self.rate_hz
        steps = 1 << int(np.ceil(np.log2(_STEPS_HZ * seconds)))
        reach = round(REACH_S * steps / seconds)
        products = heard * np.conj(predicted)
        spread = np.zeros((*products.shape[:-1], steps), dtype=np.complex128)
        spread[..., self.use] = products
        match = np.fft.ifft(spread, axis=-1) * steps
        return np.concatenate([match[..., -reach:], match[..., : reach + 1]], axis=-1)

    def spectra(self, samples: Samples, first: Ints, count: int) -> Spectra:
        """Spectra of windows of `count` samples; shape (..., lines) for starts of shape (...)."""
        cut = samples[np.clip(first[..., None] + np.arange(count), 0, len(samples) - 1)]
        whole = np.fft.rfft(cut / FULL_SCALE, self.length, axis=-1)
        return np.asarray(whole[..., self.use])


def window_spectra(
    samples: Samples, first_sample: int, windows: Windows, lines: Lines
) -> tuple[Spectra, Floats, Floats]:
    """Spectra of all windows, shape (polls, 3, lines); start of each poll's; the floor's power spectrum.

    Windows start at whole samples. A steady tone stands in the floor at its full height, so that it weighs
    nothing in a match.
    """
    first = np.rint(windows.begin_s * lines.rate_hz).astype(np.int64)
    spectra = lines.spectra(samples, first - first_sample, lines.count)
    quiet = np.delete(spectra, _HEARD, axis=1)
    mean = np.mean(quiet.real**2 + quiet.imag**2, axis=(0, 1))
    floor = np.maximum(np.maximum(mean, running_median(mean, _NEIGHBOURS)), 1e-30)
    return spectra, np.asarray(first[:, _HEARD] / lines.rate_hz, dtype=np.float64), floor


# ---- what to expect, and how well it fits


class Predictor:
    """Spectra of the line's edges, remembered for bytes that come again."""

    def __init__(
        self, gate: Gate, baud: int, framing: Framing, freq_hz: Floats, shift_hz: float = 0.0
    ) -> None:
        self._gate, self._baud, self._framing = gate, baud, framing
        self._freq_hz, self._edge_hz = freq_hz, freq_hz + shift_hz
        self._first = np.searchsorted(gate.poll, np.arange(gate.polls + 1))
        self._known: dict[bytes, Spectra] = {}
        self._turns: Spectra = np.zeros((0, len(freq_hz)), dtype=np.complex128)

    def of_poll(self, poll: int, begin_s: float) -> Spectra:
        """Shape (bursts, lines): bursts of a poll as heard in a window that begins at `begin_s`."""
        late = np.array([self._gate.start_s[k] - begin_s for k in self.bursts(poll)])
        turns = np.exp(-2j * np.pi * np.outer(late, self._freq_hz))
        return np.stack([self.edges(self._gate.data[k]) for k in self.bursts(poll)]) * turns

    def bursts(self, poll: int) -> range:
        """Numbers of a poll's bursts within the gate."""
        return range(int(self._first[poll]), int(self._first[poll + 1]))

    def edges(self, data: bytes) -> Spectra:
        """Shape (lines,): spectrum of the edges of some bytes, the first start bit at time zero."""
        if data not in self._known:
            steps = np.diff(line_bits(data, self._framing), prepend=1, append=1)
            turns = self._bit_turns(len(steps))
            # not by @: threads for so little work wait for each other
            self._known[data] = np.sum(turns[steps > 0], axis=0) - np.sum(turns[steps < 0], axis=0)
        return self._known[data]

    def _bit_turns(self, count: int) -> Spectra:
        """Shape (count, lines): what each bit time turns a line's phase by."""
        if len(self._turns) < count:
            at_s = np.arange(2 * count) / self._baud
            self._turns = np.exp(-2j * np.pi * np.outer(at_s, self._edge_hz))
        return self._turns[:count]


def window_matches(heard: Spectra, predicted: Spectra, floor: Floats, lines: Lines) -> Floats:
    """Log likelihood of a poll's prediction in each window, over that of noise alone.

    Args:
        heard: shape (windows, lines).
        predicted: shape (bursts, lines).
        floor: shape (lines,), power spectrum.
        lines: the lines.

    Returns:
        shape (windows, kinds, strengths).
    """
    size = np.sum((predicted.real**2 + predicted.imag**2) / floor, axis=1)
    size *= lines.length / lines.count  # padded lines are alike: noise varies that much more
    loudness = np.mean((heard.real**2 + heard.imag**2) / floor, axis=1)
    levelled = heard / np.sqrt(np.maximum(loudness, 1e-9))[:, None]
    match = lines.matches(levelled[:, None, :] / floor, predicted)  # (windows, bursts, taus)
    together = match.sum(axis=1).real / np.sqrt(size.sum())
    power = (match.real**2 + match.imag**2) / size[:, None]
    out = np.empty((len(heard), KINDS, len(STRENGTHS)))
    for at, strength in enumerate(STRENGTHS.tolist()):
        each = strength * size / size.sum()
        free = np.einsum("b,wbt->wt", each / (1 + each), power) - np.log1p(each).sum()
        ahead = 2 * np.sqrt(strength) * together
        logs = np.stack([ahead - strength, -ahead - strength, free])
        out[:, :, at] = log_mean_exp(np.moveaxis(logs, -1, 0)).T
    return out
