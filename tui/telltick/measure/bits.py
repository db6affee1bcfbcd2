"""Are the bits themselves heard, or only noise of the same length?

Loud noise while bytes flow is a tie, but says nothing of how it comes in. When the line's own waveform is in
the audio, it fits the true bytes better than others. Two comparisons together tell:

Backwards. The same edges in reverse order, T'(f) = conj(T(f)) exp(-2 pi i f L) for a burst of length L, have
the same power spectrum, comb and length. To noise that is alike in both directions of time they fit just as
well, so that the lead of the true order,

    d = sum over bursts of (max over tau of c_true - max over tau of c_reversed) / norm,

is symmetric about zero, and its evidence is a bet on signs and sizes (`evidence.tie_log_e`).

Other texts. Noise of a fixed form (a display that is refreshed, a reply that others sent) may prefer one
direction by chance. So the mean lead must also exceed that of fifty other texts of the same length in the
same characters, in either direction: one chance in 101 when the bytes are nothing special.

Bits that are not heard may still be there: too faint, moved in frequency by an unknown amount, or the same
backwards. So the finding is "heard" or "not shown", never "not there".
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from telltick.measure.evidence import log_mean_exp, tie_log_e
from telltick.measure.frames import Samples
from telltick.measure.waveform import (
    KINDS,
    REACH_S,
    Lines,
    Predictor,
    Spectra,
    poll_windows,
    tie_of,
    window_matches,
    window_spectra,
)
from telltick.model.characteristics import BitsHeard
from telltick.model.clock import Floats
from telltick.model.framing import Framing, line_bits
from telltick.model.readings import Band
from telltick.model.traffic import Gate

MOST_POLLS = 300  # more would tell nothing new
MOST_AGAINST_TEXTS = 40  # polls that are held against other texts
TEXTS = 50
_LEVEL = 0.01
_FEW = 12
_PLAIN = b"0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ;"


@dataclass(frozen=True)
class _Audio:
    """A stretch of audio and the bursts in it."""

    samples: Samples
    first_sample: int
    rate_hz: int
    gate: Gate

    def burst(self, k: int, lines: Lines) -> tuple[Spectra, float, float]:
        """Spectrum of a window around a burst, how late in it the burst begins, how long the burst is."""
        start_s = float(self.gate.start_s[k])
        length_s = float(self.gate.end_s[k]) - start_s
        first = round((start_s - REACH_S) * self.rate_hz)
        count = min(int((length_s + 2 * REACH_S) * self.rate_hz), lines.length)
        spectra = lines.spectra(self.samples, np.array(first - self.first_sample), count)
        return spectra, start_s - first / self.rate_hz, length_s


@dataclass
class BitsListener:
    """Takes in audio and the bytes that were sent meanwhile, and tells whether these bytes are heard.

    Attributes:
        rate_hz: sample rate.
        baud: bits per second on the line, the same throughout.
        framing: shape of its characters.
        band: the band to listen in.
        shift_hz: how far pick-up at radio frequency has moved the spectrum (`CharacterRate.shift_hz`).
        against_texts: polls that are held against other texts, which takes most of the time.
    """

    rate_hz: int
    baud: int
    framing: Framing = field(default_factory=Framing)
    band: Band = field(default_factory=Band)
    shift_hz: float = 0.0
    against_texts: int = MOST_AGAINST_TEXTS
    _matches: list[Floats] = field(default_factory=list)  # each (windows, kinds)
    _leads: list[Floats] = field(default_factory=list)  # each (kinds,)
    _others: list[Floats] = field(default_factory=list)  # each (texts, kinds)
    _alphabet: npt.NDArray[np.uint8] | None = None
    _known_waves: Spectra = field(default_factory=lambda: np.zeros((0, 0), dtype=np.complex128))

    @property
    def full(self) -> bool:
        """Enough polls were taken in; more audio changes nothing."""
        return len(self._matches) >= MOST_POLLS

    def add(self, samples: Samples, first_sample: int, gate: Gate) -> None:
        """Take in a stretch of audio without gaps.

        Args:
            samples: shape (n,), audio as recorded.
            first_sample: index of ``samples[0]`` in the recording.
            gate: bursts in audio time, latency applied, with their bytes; no polls that were taken in before.
        """
        windows = poll_windows(gate, first_sample / self.rate_hz, len(samples) / self.rate_hz)
        if not gate.data or not len(windows.poll) or self.full:
            return
        if self._alphabet is None:
            self._alphabet = _alphabet(gate.data)
        lines = Lines.for_windows(windows.length_s, self.rate_hz, self.band)
        self._known_waves = self._known_waves[:0]
        line = Predictor(gate, self.baud, self.framing, lines.freq_hz, self.shift_hz)
        heard, begin_s, floor = window_spectra(samples, first_sample, windows, lines)
        audio = _Audio(samples, first_sample, self.rate_hz, gate)
        for x, poll, at_s in zip(heard, windows.poll.tolist(), begin_s.tolist(), strict=True):
            if self.full:
                return
            self._matches.append(window_matches(x, line.of_poll(poll, at_s), floor, lines))
            self._add_leads(audio, line, lines, floor, poll)

    def _add_leads(self, audio: _Audio, line: Predictor, lines: Lines, floor: Floats, poll: int) -> None:
        """How a poll's bursts lead over themselves backwards, and how other texts do."""
        with_texts = len(self._others) < self.against_texts
        count = 1 + TEXTS * with_texts
        lead, power, weight = np.zeros((count, KINDS)), 0.0, np.zeros(count)
        for k in line.bursts(poll):
            x, late_s, length_s = audio.burst(k, lines)
            data = audio.gate.data[k]
            texts = self._texts(data, line, lines) if with_texts else line.edges(data)[None]
            ahead = texts * np.exp(-2j * np.pi * lines.freq_hz * late_s)
            back = np.conj(texts) * np.exp(-2j * np.pi * lines.freq_hz * (late_s + length_s))
            lead += _best(lines.matches(x / floor, ahead)) - _best(lines.matches(x / floor, back))
            weight += np.sum((texts.real**2 + texts.imag**2) / floor, axis=1)
            power += float(np.sum((x.real**2 + x.imag**2) / floor))
        norm = np.sqrt(np.maximum(power * weight, 1e-30))
        self._leads.append(lead[0] / norm[0])
        if with_texts:
            self._others.append(lead[1:] / norm[1:, None])

    def _texts(self, data: bytes, line: Predictor, lines: Lines) -> Spectra:
        """Shape (1 + texts, lines): edges of the true bytes and of others that belong to them."""
        assert self._alphabet is not None
        rng = np.random.default_rng(zlib.crc32(data))
        others = rng.choice(self._alphabet, (TEXTS, len(data)))
        bits = np.stack([line_bits(text.tobytes(), self.framing) for text in others])
        steps = np.diff(bits, axis=1, prepend=1, append=1).astype(np.float64)
        waves = self._waves(steps.shape[1], lines)  # as pairs of real numbers: half the work
        return np.concatenate([line.edges(data)[None], (steps @ waves.view(np.float64)).view(np.complex128)])

    def _waves(self, edges: int, lines: Lines) -> Spectra:
        """Shape (edges, lines): spectrum of an edge at each bit time."""
        if len(self._known_waves) < edges:
            at_s = np.arange(edges) / self.baud
            self._known_waves = np.exp(-2j * np.pi * np.outer(at_s, lines.freq_hz + self.shift_hz))
        return self._known_waves[:edges]

    def result(self) -> BitsHeard:
        """What was heard so far."""
        if len(self._matches) < _FEW:
            few = f"{len(self._matches)} polls have bytes and quiet on both sides; it takes at least {_FEW}."
            return BitsHeard(0.0, len(self._matches), None, False, few)
        tie = tie_of(np.stack(self._matches))
        log10_e = max(0.0, float(tie.log_e.max())) / np.log(10)
        heard, because = self._judge(tied=tie.p_value <= _LEVEL)
        return BitsHeard(log10_e, tie.polls, tie.upright if tie.p_value <= _LEVEL else None, heard, because)

    def _judge(self, *, tied: bool) -> tuple[bool, str]:
        leads, others = np.stack(self._leads), np.stack(self._others)
        log_e = log_mean_exp(np.stack([tie_log_e(kind) for kind in leads.T])).max(initial=0.0)
        mean = leads[: len(others)].mean(axis=0)
        rivals = np.abs(others.mean(axis=0)).max(axis=1)
        better = int(np.count_nonzero(rivals >= mean.max()))
        if log_e >= -np.log(_LEVEL) and not better:
            ratio = mean.max() / max(float(rivals.max()), 1e-9)
            return True, (
                f"The bytes fit the audio {ratio:.1f} times better than the best of {TEXTS} other texts, "
                "each held against itself backwards."
            )
        if tied:
            return False, (
                "The polls are heard, but other bytes of the same length fit as well: it may be noise of the "
                "same length, or the bits may be too faint to tell."
            )
        return False, "Nothing in the audio follows the bits."


def bits_heard(
    samples: Samples,
    first_sample: int,
    rate_hz: int,
    gate: Gate,
    *,
    baud: int,
    framing: Framing | None = None,
    band: Band | None = None,
    shift_hz: float = 0.0,
) -> BitsHeard:
    """Whether the bits themselves are heard in one stretch of audio; `BitsListener` takes several.

    Args:
        samples: shape (n,), audio as recorded, without gaps; some minutes at most.
        first_sample: index of ``samples[0]`` in the recording.
        rate_hz: sample rate.
        gate: bursts in audio time, latency applied, with their bytes.
        baud: bits per second on the line.
        framing: shape of its characters, 8N1 unless given.
        band: the band to listen in, 300-2700 Hz unless given.
        shift_hz: how far pick-up at radio frequency has moved the spectrum.
    """
    listener = BitsListener(rate_hz, baud, framing or Framing(), band or Band(), shift_hz)
    listener.add(samples, first_sample, gate)
    return listener.result()


def _best(match: Spectra) -> Floats:
    """Shape (texts, kinds): the best match over the range of timing."""
    size = np.sqrt(match.real**2 + match.imag**2)
    return np.stack([match.real.max(axis=1), -match.real.min(axis=1), size.max(axis=1)], axis=1)


def _alphabet(data: tuple[bytes, ...]) -> npt.NDArray[np.uint8]:
    """The characters that other texts are made of: those seen, and more of their kind where these are few."""
    seen = np.unique(np.frombuffer(b"".join(data), dtype=np.uint8))
    if len(seen) >= 10 or not len(seen):
        return seen if len(seen) else np.frombuffer(_PLAIN, dtype=np.uint8)
    plain = np.frombuffer(_PLAIN, dtype=np.uint8)
    printable = bool(np.all((seen >= 32) & (seen < 127)))
    return np.union1d(seen, plain) if printable else np.arange(256, dtype=np.uint8)
