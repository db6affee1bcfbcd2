"""The simulated receiver: turns noise and the serial line's edges into audio, block by block.

The line's waveform differs from its edges only by an integration, so interference is made from the edges
themselves: ``X(f) = sum of step_k exp(-j 2 pi f t_k)``, exact to a small fraction of a sample, through the
coupling's high-pass and the receiver's passband. Pure: no threads, no clock.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from telltick.model.clock import Floats
from telltick.sources.bench.paths import (
    ANTENNA_NOISE_DBFS,
    AUDIO_NOISE_DBFS,
    DUMMY_LOAD_LEAK_DB,
    FRONT_NOISE_DBFS,
    Coupling,
)
from telltick.sources.bench.state import BenchState

LOW_HZ, HIGH_HZ = 300.0, 2700.0
RINGING_S = 0.02  # the passband filter rings for this long on each side of an edge
COUPLING_CORNER_HZ = 3000.0
FINE_BINS = 24
FULL_SCALE = 32767.0
HUM_DBFS = {50: -62.0, 100: -56.0, 150: -66.0, 200: -70.0, 300: -74.0}


@dataclass(frozen=True)
class Edges:
    """Edges of the serial line on the audio timeline.

    Attributes:
        at: shape (edges,), sample index (fractional) at which each is heard; sorted.
        step: shape (edges,), -1 falling, +1 rising.
    """

    at: Floats
    step: Floats

    def between(self, first: float, end: float) -> Edges:
        """The edges with first <= at < end."""
        low, high = np.searchsorted(self.at, [first, end])
        return Edges(self.at[low:high], self.step[low:high])


NO_EDGES = Edges(np.zeros(0), np.zeros(0))


@dataclass(frozen=True)
class Parts:
    """A block's ingredients, each of shape (n,), relative to full scale."""

    noise: Floats
    interference: Floats
    hum: Floats


class Receiver:
    """Renders consecutive blocks of audio."""

    def __init__(self, seed: int, rate_hz: int, coupling: Coupling | None, edge_gain: float = 1.0) -> None:
        """Switch on.

        Args:
            seed: of the noise.
            rate_hz: sample rate.
            coupling: the way in; None for a receiver that does not hear the line.
            edge_gain: strength of one edge at the coupling's default state.
        """
        self.rate_hz = rate_hz
        self._rng = np.random.default_rng(seed)
        self._coupling = coupling
        self._filter = _passband_fir(rate_hz)
        self._noise_gain = 1.0 / np.sqrt(np.sum(self._filter**2))
        self._edge_gain = edge_gain
        self._noise_tail = np.zeros(len(self._filter) - 1)
        self._hash_tail = np.zeros(len(self._filter) - 1)
        self._hum_second = _hum(rate_hz)
        self._spectra: dict[int, _Spectra] = {}
        # It has been on for a while: without this the first block would rise out of silence.
        self.render_parts(-2 * self.delay, 2 * self.delay, NO_EDGES, BenchState())

    @property
    def delay(self) -> int:
        """Samples from an edge to the middle of what is heard of it."""
        return (len(self._filter) - 1) // 2

    def noise_dbfs(self, state: BenchState) -> float:
        """The true noise floor, 0 dBFS being a full-scale sine's r.m.s. value."""
        return float(10 * np.log10(_noise_power(state)))

    def render(self, first: int, count: int, edges: Edges, state: BenchState) -> npt.NDArray[np.int16]:
        """Samples [first, first + count) as the sound card would give them.

        Args:
            first: index of the first sample; blocks must follow each other.
            count: number of samples.
            edges: all edges with first <= at < first + count (others are ignored).
            state: how the bench stands.
        """
        return to_int16(self.render_parts(first, count, edges, state))

    def render_parts(self, first: int, count: int, edges: Edges, state: BenchState) -> Parts:
        """The same as its ingredients, before rounding."""
        spectra = self._spectra.get(count)
        if spectra is None:
            spectra = self._spectra[count] = _Spectra(self._filter, count, self.rate_hz)
        noise = self._rng.standard_normal(count) * self._noise_gain * amplitude(_noise_power(state))
        filtered = np.fft.irfft(np.fft.rfft(noise, spectra.length) * spectra.filter, spectra.length)
        return Parts(
            self._overlap(filtered, count, "_noise_tail"),
            self._overlap(
                self._hash(first, edges.between(first, first + count), state, spectra), count, "_hash_tail"
            ),
            self._hum(first, count),
        )

    def _hash(self, first: int, inside: Edges, state: BenchState, spectra: _Spectra) -> Floats:
        if self._coupling is None or not len(inside.at):
            return np.zeros(spectra.length)
        strength = self._edge_gain * 10 ** (self._coupling.gain_db(state) / 20)
        spectrum = np.zeros(spectra.length // 2 + 1, dtype=np.complex128)
        spectrum[spectra.band] = spectra.coupled * _edge_spectrum(
            spectra.band, spectra.length, inside.at - first, inside.step
        )
        return np.fft.irfft(spectrum * strength, spectra.length)

    def _overlap(self, piece: Floats, count: int, tail_name: str) -> Floats:
        """Add what earlier blocks still owe, and keep what this one owes to later ones."""
        tail: Floats = getattr(self, tail_name)
        piece[: len(tail)] += tail
        setattr(self, tail_name, piece[count : count + len(tail)].copy())
        return piece[:count]

    def _hum(self, first: int, count: int) -> Floats:
        return np.asarray(self._hum_second[(first + np.arange(count)) % self.rate_hz], dtype=np.float64)


def to_int16(parts: Parts) -> npt.NDArray[np.int16]:
    """The ingredients mixed, as a sound card gives them."""
    audio = (parts.noise + parts.interference + parts.hum) * FULL_SCALE
    return np.clip(np.rint(audio), -32768, 32767).astype(np.int16)


class _Spectra:
    """The filters' spectra for one block length."""

    def __init__(self, fir: Floats, count: int, rate_hz: int) -> None:
        self.length = _even_length(count + len(fir) - 1)
        self.filter = np.fft.rfft(fir, self.length)
        hz = np.fft.rfftfreq(self.length, 1 / rate_hz)
        heard = np.flatnonzero(np.abs(self.filter) > 1e-5)
        self.band = np.arange(heard[0], heard[-1] + 1)
        # A first-order high-pass on the line's waveform is a first-order low-pass on its edges.
        self.coupled = self.filter[self.band] / (1 + 1j * hz[self.band] / COUPLING_CORNER_HZ)


def _edge_spectrum(
    band: npt.NDArray[np.intp], length: int, at: Floats, step: Floats
) -> npt.NDArray[np.complex128]:
    """``sum of step_k exp(-j 2 pi n t_k / length)`` for the consecutive bins n of `band`.

    Exponentials are dear, so n is split into a coarse and a fine part and only those are computed. Not a
    matrix product: it would wake the linear algebra library's threads, which then spin.
    """
    turn = -2j * np.pi * at / length
    fine = np.exp(np.outer(np.arange(FINE_BINS), turn))
    coarse = np.exp(np.outer(np.arange(band[0], band[-1] + 1, FINE_BINS), turn)) * step
    spectrum: npt.NDArray[np.complex128] = np.einsum("ct,ft->cf", coarse, fine)
    return spectrum.ravel()[: len(band)]


def _even_length(least: int) -> int:
    """A length of at least `least` that transforms quickly."""
    return min(m << max(0, int(np.ceil(np.log2(least / m)))) for m in (8, 9, 10, 12, 15))


def _passband_fir(rate_hz: int) -> Floats:
    """Linear-phase band-pass (windowed sinc), unit gain in 300-2700 Hz."""
    reach = round(RINGING_S * rate_hz)
    t = np.arange(-reach, reach + 1) / rate_hz
    ideal = 2 * HIGH_HZ * np.sinc(2 * HIGH_HZ * t) - 2 * LOW_HZ * np.sinc(2 * LOW_HZ * t)
    return np.asarray(ideal * np.blackman(len(t)) / rate_hz, dtype=np.float64)


def _hum(rate_hz: int) -> Floats:
    """One second of hum, which repeats every second; shape (rate_hz,)."""
    t = np.arange(rate_hz) / rate_hz
    waves = [10 ** (dbfs / 20) * np.sin(2 * np.pi * hz * t + hz) for hz, dbfs in HUM_DBFS.items()]
    return np.asarray(np.sum(waves, axis=0), dtype=np.float64)


def _noise_power(state: BenchState) -> float:
    """Noise in the passband relative to a full-scale sine's power."""
    gain = 10 ** (state.rf_gain_db / 10)
    antenna = 10 ** ((ANTENNA_NOISE_DBFS + (DUMMY_LOAD_LEAK_DB if state.dummy_load else 0)) / 10)
    return float(gain * (antenna + 10 ** (FRONT_NOISE_DBFS / 10)) + 10 ** (AUDIO_NOISE_DBFS / 10))


def amplitude(power: float) -> float:
    """R.m.s. value relative to full scale; a full-scale sine's is 1 / sqrt(2) (AES17's 0 dBFS)."""
    return float(np.sqrt(power / 2))
