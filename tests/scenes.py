"""Seeded test scenes: receiver audio with and without interference whose strength is known exactly.

Noise has unit power in a 300-2700 Hz passband and is flat there. The hash is made from the edges of the
serial line (first difference of an idle-high line), passed through the same passband; its mean power while
bytes flow is I. Everything is then scaled so that the noise floor lies at -40 dBFS.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from telltick.model.framing import Framing, line_edges
from telltick.model.traffic import Gate

NOISE_DBFS = -40.0
LOW_HZ, HIGH_HZ = 300.0, 2700.0
Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Scene:
    """Audio with its gate (serial time) and what is true of it."""

    samples: npt.NDArray[np.int16]
    rate_hz: int
    gate: Gate
    latency_s: float
    truth: Truth
    hash_samples: Array = field(repr=False)


@dataclass(frozen=True)
class Truth:
    """What a perfect meter would read."""

    i_over_n: float
    excess_db: float
    noise_dbfs: float


def passband(
    freq_hz: Array, low_hz: float = LOW_HZ, high_hz: float = HIGH_HZ, edge_hz: float = 60.0
) -> Array:
    """Amplitude response of a receiver's audio filter with soft edges."""
    rise = np.clip((freq_hz - low_hz) / edge_hz + 0.5, 0, 1)
    return np.sqrt(rise * np.clip((high_hz - freq_hz) / edge_hz + 0.5, 0, 1))


def band_noise(
    rng: np.random.Generator, count: int, rate_hz: int, low_hz: float = LOW_HZ, high_hz: float = HIGH_HZ
) -> Array:
    """Gaussian noise of unit power through the passband."""
    freq = np.fft.rfftfreq(count, 1 / rate_hz)
    shape = passband(freq, low_hz, high_hz)
    spectrum = (rng.standard_normal(len(freq)) + 1j * rng.standard_normal(len(freq))) * shape
    return np.fft.irfft(spectrum, count) * count / np.sqrt(4 * np.sum(shape**2))


def poll_gate(
    rng: np.random.Generator,
    seconds: float,
    *,
    rate: float = 5.0,
    baud: int = 9600,
    request: int = 5,
    reply: int = 23,
    turnaround_s: float = 0.003,
    jitter_s: float = 0.010,
    first_s: float | None = None,
    same: bool = True,
) -> Gate:
    """Polls at `rate` per second, each a request and a reply, on a schedule with known jitter."""
    char_s = Framing().char_time_s(baud)
    span = (request + reply) * char_s + turnaround_s
    count = int((seconds - 0.3 - span) * rate)
    due = (0.15 if first_s is None else first_s) + np.arange(count) / rate
    sent = due + rng.uniform(-jitter_s, jitter_s, count)
    alphabet = np.frombuffer(b"0123456789ABCDEF;", dtype=np.uint8)
    fixed = [rng.choice(alphabet, n).tobytes() for n in (request, reply)]
    data: list[bytes] = []
    for _ in range(count):
        data += fixed if same else [rng.choice(alphabet, n).tobytes() for n in (request, reply)]
    start = np.stack([sent, sent + request * char_s + turnaround_s], axis=1)
    length = np.array([request * char_s, reply * char_s])
    return Gate(
        start.ravel(),
        (start + length).ravel(),
        np.tile([False, True], count),
        np.repeat(np.arange(count), 2),
        tuple(data),
    )


def line_hash(
    rng: np.random.Generator, gate: Gate, count: int, rate_hz: int, baud: int, *, random_phase: bool = False
) -> Array:
    """Unscaled audio of the line's edges, each an impulse through the passband."""
    out = np.zeros(count)
    pad = int(0.03 * rate_hz)
    shapes: dict[tuple[bytes, int], Array] = {}
    for start, end, data in zip(gate.start_s, gate.end_s, gate.data, strict=True):
        length = 1 << int(np.ceil(np.log2((end - start) * rate_hz + 2 * pad)))
        freq = np.fft.rfftfreq(length, 1 / rate_hz)
        if (data, length) not in shapes:
            shapes[data, length] = _edge_spectrum(data, baud, freq)
        first = int(start * rate_hz) - pad
        spectrum = shapes[data, length] * np.exp(-2j * np.pi * freq * (start - first / rate_hz))
        if random_phase:
            spectrum *= np.exp(2j * np.pi * rng.random())
        piece = np.fft.irfft(spectrum, length)
        low, high = max(first, 0), min(first + length, count)
        if high > low:
            out[low:high] += piece[low - first : high - first]
    return out


def _edge_spectrum(data: bytes, baud: int, freq_hz: Array) -> npt.NDArray[np.complex128]:
    """Spectrum of the edges of one burst, through the passband."""
    at, step = line_edges(data, baud, Framing())
    inside = passband(freq_hz) > 0
    out = np.zeros(len(freq_hz), dtype=complex)
    turns = np.outer(freq_hz[inside], at)
    out[inside] = passband(freq_hz[inside]) * (np.exp(-2j * np.pi * turns) @ step)
    return out


def make_scene(
    seed: int,
    *,
    excess_db: float | None = 6.0,
    seconds: float = 60.0,
    rate_hz: int = 12_000,
    latency_s: float = 0.04,
    jitter_s: float = 0.0,
    background: str = "clean",
    baud: int = 9600,
    gate: Gate | None = None,
    random_phase: bool | None = None,
    poll_jitter_s: float = 0.010,
    **polls: float | bool,
) -> Scene:
    """One scene; `excess_db` None has no interference, `jitter_s` is timing jitter nobody knows."""
    rng = np.random.default_rng(seed)
    if gate is None:
        gate = poll_gate(rng, seconds, baud=baud, jitter_s=poll_jitter_s, **polls)
    count = int(seconds * rate_hz)
    noise = band_noise(rng, count, rate_hz)
    ratio = 0.0 if excess_db is None else 10 ** (excess_db / 10) - 1
    heard = gate.shifted(latency_s + np.repeat(rng.normal(0, jitter_s, gate.polls), np.bincount(gate.poll)))
    interference = np.zeros(count)
    if ratio:
        phase = bool(seed % 2) if random_phase is None else random_phase
        raw = line_hash(rng, heard, count, rate_hz, baud, random_phase=phase)
        on_samples = float(np.sum(gate.on_s)) * rate_hz
        interference = raw * np.sqrt(ratio / (np.sum(raw**2) / on_samples))
    audio = noise + interference
    scale = 10 ** (NOISE_DBFS / 20) / np.sqrt(2) * 32768
    samples = np.clip(np.rint(audio * scale), -32768, 32767).astype(np.int16)
    truth = Truth(ratio, 10 * np.log10(1 + ratio), NOISE_DBFS)
    return Scene(samples, rate_hz, gate, latency_s, truth, interference)
