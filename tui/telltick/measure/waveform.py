"""A tie found by waveform: the line's signal, predicted from the bytes, as a matched detector.

Interference that couples into the audio path is the line's waveform, filtered. Its edges are known from the
bytes (their times and directions), so each poll is compared with its own prediction,

    c(tau) = sum over f of X(f) conj(T(f)) exp(2 pi i f tau) / S(f),
    T(f) = sum over edges of +-exp(-2 pi i f t),

S being the floor's spectrum and tau a few milliseconds of unknown timing. The match with the poll is set
against the match with equal stretches of quiet before and after it, as a draw among three. Where the bits are
what is heard, this tells a tie with a third to a quarter of the polls that loudness needs; other loud noise
is a tie as well, and `bits` tells whether it is the bits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from telltick.measure.cells import running_median
from telltick.measure.evidence import log_mean_exp
from telltick.measure.frames import FULL_SCALE, Samples
from telltick.measure.trial import CoinBet
from telltick.model.clock import Floats
from telltick.model.framing import Framing, line_edges
from telltick.model.readings import Band
from telltick.model.traffic import Gate, Ints

REACH_S = 0.006  # how far the timing of a single poll may be off
_STEPS_HZ = 16_000  # tau is tried at least this often: six times in a period of the band's top
_APART_S = 0.004  # between a poll's window and the quiet ones
_HEARD = 1  # place of the poll among the three windows: quiet, poll, quiet
_NEIGHBOURS = 20  # lines on each side that tell the level around a line
Spectra = npt.NDArray[np.complex128]
KINDS = 3  # of match: as it is, inverted, with a phase of its own in each burst
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
    """The tie that matches of shape (polls, windows, kinds) tell."""
    drawn = np.full(len(matches), _HEARD, dtype=np.int64)
    logs = np.stack([CoinBet().add(matches[:, :, kind], drawn) for kind in range(KINDS)])
    return WaveformTie(log_mean_exp(logs), len(matches), _way_up(matches[:, _HEARD, :2]))


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
    """Polls whose window, and the quiet before and after it, lie in the audio and clear of other polls."""
    if not gate.polls:
        return Windows(np.zeros(0, dtype=np.int64), np.zeros((0, 3)), 0.0)
    begin, end = gate.poll_start_s - REACH_S, gate.poll_end_s + REACH_S
    length_s = float(np.median(end - begin))
    at = begin[:, None] + np.array([-1.0, 0.0, 1.0]) * (length_s + _APART_S)
    earlier = np.append(start_s, np.maximum(end[:-1], start_s))
    following = np.append(np.minimum(begin[1:], start_s + seconds), start_s + seconds)
    clear = (at[:, 0] >= earlier) & (at[:, 2] + length_s <= following)
    poll = np.flatnonzero(clear & (end - begin <= 1.05 * length_s))
    return Windows(poll, at[poll], length_s)


@dataclass(frozen=True)
class Lines:
    """The spectral lines that are compared.

    Attributes:
        rate_hz: sample rate.
        length: samples in a transform.
        use: shape (lines,), numbers of the lines within the band.
    """

    rate_hz: int
    length: int
    use: Ints

    @classmethod
    def for_windows(cls, length_s: float, rate_hz: int, band: Band) -> Lines:
        """The lines of the band for windows of a length."""
        length = 1 << int(np.ceil(np.log2(length_s * rate_hz + 1)))
        freq_hz = np.arange(length // 2 + 1) * (rate_hz / length)
        return cls(rate_hz, length, np.flatnonzero((freq_hz >= band.low_hz) & (freq_hz <= band.high_hz)))

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
    spectra = lines.spectra(samples, first - first_sample, int(windows.length_s * lines.rate_hz))
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
            at, step = line_edges(data, self._baud, self._framing)
            edges = np.exp(-2j * np.pi * np.outer(self._edge_hz, at)) * step
            self._known[data] = edges.sum(axis=1)  # not by @: threads for so little work wait for each other
        return self._known[data]


def window_matches(heard: Spectra, predicted: Spectra, floor: Floats, lines: Lines) -> Floats:
    """Shape (windows, kinds): log of how well each window fits a poll's prediction, at its best timing.

    Where each burst has a phase of its own, the matches over the range of timing are averaged as evidence,
    exp(|c|^2 / 2), in units in which noise has |c|^2 = 1 on average; that is sharper than the best of them.

    Args:
        heard: shape (windows, lines).
        predicted: shape (bursts, lines).
        floor: shape (lines,), power spectrum.
        lines: the lines.
    """
    match = lines.matches(heard[:, None, :] / floor, predicted)
    together = match.sum(axis=1).real
    size = np.sum(predicted.real**2 + predicted.imag**2, axis=0) / floor
    evidence = 0.5 * np.sum(match.real**2 + match.imag**2, axis=1) / size.sum()
    best = [np.log(np.maximum(way.max(axis=1), 1e-30)) for way in (together, -together)]
    return np.stack([*best, log_mean_exp(np.moveaxis(evidence, 1, 0))], axis=1)
