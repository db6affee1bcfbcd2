"""A tie found by waveform: the line's signal, predicted from the bytes, as a matched detector.

Interference that couples into the audio path is the line's waveform, filtered. Its edges are known from the
bytes (their times and directions), so each poll is compared with its own prediction,

    c(tau) = sum over f of X(f) conj(T(f)) exp(2 pi i f tau) / S(f),
    T(f) = sum over edges of +-exp(-2 pi i f t),

S being the floor's spectrum and tau a few milliseconds of unknown timing. The best match with the poll is
set against the best match with an equal stretch of quiet beside it. Where the bits are what is heard, this
tells a tie with a half to a quarter of the polls that loudness needs; other loud noise is a tie as well.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from telltick.measure.cells import running_median
from telltick.measure.evidence import log_mean_exp, tie_log_e
from telltick.measure.frames import FULL_SCALE, Samples
from telltick.model.clock import Floats
from telltick.model.framing import Framing, line_edges
from telltick.model.readings import Band
from telltick.model.traffic import Gate, Ints

REACH_S = 0.006  # how far the timing of a single poll may be off
_STEPS_HZ = 16_000  # tau is tried at least this often: six times in a period of the band's top
_APART_S = 0.010  # between a poll's window and the quiet one
Spectra = npt.NDArray[np.complex128]


@dataclass(frozen=True)
class WaveformTie:
    """What the predicted waveform says.

    Attributes:
        log_e: shape (polls,), log e-value after each poll that counts, of "the polls are heard".
        polls: polls that count: with bytes, and with an equal stretch of quiet beside them.
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
    band, framing = band or Band(), framing or Framing()
    windows = _windows(gate, first_sample / rate_hz, len(samples) / rate_hz)
    if not gate.data or not len(windows.poll):
        return WaveformTie(np.zeros(0), 0, None)
    length = 1 << int(np.ceil(np.log2(windows.length_s * rate_hz + 1)))
    lines = np.arange(length // 2 + 1) * (rate_hz / length)
    use = np.flatnonzero((lines >= band.low_hz) & (lines <= band.high_hz))
    heard, begins_s = _spectra(
        samples, first_sample, rate_hz, windows.heard_s, length_s=windows.length_s, length=length
    )
    quiet, _ = _spectra(
        samples, first_sample, rate_hz, windows.quiet_s, length_s=windows.length_s, length=length
    )
    heard, quiet = heard[:, use], quiet[:, use]
    floor = running_median(np.mean(quiet.real**2 + quiet.imag**2, axis=0), 20)
    bursts = _Predictor(gate, baud, framing, np.asarray(lines[use], dtype=np.float64))
    scores = [
        _leads(x / floor, z / floor, bursts.of_poll(poll, begin_s), use, seconds=length / rate_hz)
        for x, z, poll, begin_s in zip(heard, quiet, windows.poll.tolist(), begins_s.tolist(), strict=True)
    ]
    logs = np.stack([tie_log_e(kind) for kind in np.stack(scores, axis=1)])  # upright, inverted, any phase
    best = int(np.argmax(logs[:, -1]))
    return WaveformTie(log_mean_exp(logs), len(scores), (True, False, None)[best])


@dataclass(frozen=True)
class _Windows:
    """Where to look for each poll, and an equal stretch of quiet beside it; starts in seconds of audio."""

    poll: Ints
    heard_s: Floats
    quiet_s: Floats
    length_s: float


def _windows(gate: Gate, start_s: float, seconds: float) -> _Windows:
    """Polls whose window and quiet beside it lie in the audio; the quiet lies after, before, after, ..."""
    if not gate.polls:
        return _Windows(np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0), 0.0)
    begin, end = gate.poll_start_s - REACH_S, gate.poll_end_s + REACH_S
    length_s = float(np.median(end - begin))
    quiet = np.where(np.arange(gate.polls) % 2, begin - _APART_S - length_s, begin + length_s + _APART_S)
    following = np.append(begin[1:], np.inf)
    earlier = np.append(-np.inf, end[:-1])
    clear = np.where(quiet > begin, quiet + length_s <= following, quiet >= earlier)
    inside = (np.minimum(begin, quiet) >= start_s) & (
        np.maximum(begin, quiet) + length_s <= start_s + seconds
    )
    poll = np.flatnonzero(clear & inside & (end - begin <= 1.05 * length_s))
    return _Windows(poll, begin[poll], quiet[poll], length_s)


def _spectra(
    samples: Samples, first_sample: int, rate_hz: int, start_s: Floats, *, length_s: float, length: int
) -> tuple[Spectra, Floats]:
    """Spectra of windows that start at whole samples, and those starts in seconds."""
    count = int(length_s * rate_hz)
    first = np.rint(start_s * rate_hz).astype(int)
    cut = samples[np.clip(first[:, None] - first_sample + np.arange(count), 0, len(samples) - 1)]
    return np.fft.rfft(cut / FULL_SCALE, length, axis=1), np.asarray(first / rate_hz, dtype=np.float64)


class _Predictor:
    """Spectra of the line's edges, remembered for bytes that come again."""

    def __init__(self, gate: Gate, baud: int, framing: Framing, freq_hz: Floats) -> None:
        self._gate, self._baud, self._framing, self._freq_hz = gate, baud, framing, freq_hz
        self._first = np.searchsorted(gate.poll, np.arange(gate.polls + 1))
        self._known: dict[bytes, Spectra] = {}

    def of_poll(self, poll: int, begin_s: float) -> Spectra:
        """Shape (bursts, lines): bursts of a poll as heard in a window that begins at `begin_s`."""
        bursts = range(self._first[poll], self._first[poll + 1])
        late = np.array([self._gate.start_s[k] - begin_s for k in bursts])
        turns = np.exp(-2j * np.pi * np.outer(late, self._freq_hz))
        return np.stack([self._edges(self._gate.data[k]) for k in bursts]) * turns

    def _edges(self, data: bytes) -> Spectra:
        if data not in self._known:
            at, step = line_edges(data, self._baud, self._framing)
            edges = np.exp(-2j * np.pi * np.outer(self._freq_hz, at)) * step
            self._known[data] = edges.sum(axis=1)  # not by @: threads for so little work wait for each other
        return self._known[data]


def _leads(heard: Spectra, quiet: Spectra, predicted: Spectra, use: Ints, *, seconds: float) -> Floats:
    """Best match with the poll less best match with the quiet: upright, inverted, any phase in each burst."""
    steps = 1 << int(np.ceil(np.log2(_STEPS_HZ * seconds)))
    reach = round(REACH_S * steps / seconds)
    products = np.zeros((2, len(predicted), steps), dtype=np.complex128)
    products[0][:, use] = heard * np.conj(predicted)
    products[1][:, use] = quiet * np.conj(predicted)
    match = np.fft.ifft(products, axis=2)
    match = np.concatenate([match[:, :, -reach:], match[:, :, : reach + 1]], axis=2)
    together = match.sum(axis=1).real
    any_phase = np.sqrt(np.sum(match.real**2 + match.imag**2, axis=1))
    return np.array([kind[0].max() - kind[1].max() for kind in (together, -together, any_phase)])
