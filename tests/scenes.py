"""Seeded test scenes: receiver audio with and without interference whose strength is known exactly.

Noise has unit power in a 300-2700 Hz passband and is flat there. The hash is made from the edges of the
serial line (first difference of an idle-high line), passed through the same passband; its mean power while
bytes flow is I. Everything is then scaled so that the noise floor lies at -40 dBFS.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from telltick.measure.frames import FrameSpec, power_frames
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

    def excess_in(self, use: npt.NDArray[np.bool_]) -> float:
        """True excess in dB over some bins only (where tones mask the rest)."""
        spec = FrameSpec.for_rate(self.rate_hz)
        heard = power_frames(self.hash_samples, spec)[:, use].sum(dtype=np.float64)
        interference = heard * spec.hop_s / float(np.sum(self.gate.on_s))
        ratio = interference / float(np.sum(self._noise_per_bin(spec)[use]))
        whole = 10 * np.log10(1 + self.truth.i_over_n)
        return float(self.truth.excess_db + 10 * np.log10(1 + ratio) - whole)

    def _noise_per_bin(self, spec: FrameSpec) -> Array:
        """Expected noise power of each bin, re a full-scale sine."""
        fine = np.arange(-6, 6.01, 0.125)  # bins away; power response of the Hann window
        response = np.sinc(fine) + 0.5 * np.sinc(fine - 1) + 0.5 * np.sinc(fine + 1)
        around = spec.freq_hz[:, None] + fine * (spec.rate_hz / spec.length)
        seen = passband(around) ** 2 @ response**2 / np.sum(response**2)
        density = 10 ** (self.truth.noise_dbfs / 10) / (HIGH_HZ - LOW_HZ)
        return np.asarray(seen * density * spec.rate_hz / spec.length)


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
    framing: Framing | None = None,
) -> Gate:
    """Polls at `rate` per second, each a request and a reply, on a schedule with known jitter."""
    char_s = (framing or Framing()).char_time_s(baud)
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
    rng: np.random.Generator,
    gate: Gate,
    count: int,
    rate_hz: int,
    baud: int,
    *,
    random_phase: bool = False,
    shift_hz: float = 0.0,
    framing: Framing | None = None,
) -> Array:
    """Unscaled audio of the line's edges, each an impulse through the passband.

    `shift_hz` is how far the spectrum is moved when the line is picked up at radio frequency. With a random
    phase each burst has a new one, but for a burst that another passes into without a pause.
    """
    out = np.zeros(count)
    turn, last_s = 1.0 + 0j, -np.inf
    pad = int(0.03 * rate_hz)
    shapes: dict[tuple[bytes, int], Array] = {}
    for start, end, data in zip(gate.start_s, gate.end_s, gate.data, strict=True):
        length = 1 << int(np.ceil(np.log2((end - start) * rate_hz + 2 * pad)))
        freq = np.fft.rfftfreq(length, 1 / rate_hz)
        if (data, length) not in shapes:
            shapes[data, length] = _edge_spectrum(data, baud, freq, shift_hz, framing or Framing())
        first = int(start * rate_hz) - pad
        spectrum = shapes[data, length] * np.exp(-2j * np.pi * freq * (start - first / rate_hz))
        if random_phase:
            turn = turn if start - last_s < 1e-6 else np.exp(2j * np.pi * rng.random())
            spectrum *= turn
            last_s = end
        piece = np.fft.irfft(spectrum, length)
        low, high = max(first, 0), min(first + length, count)
        if high > low:
            out[low:high] += piece[low - first : high - first]
    return out


def _edge_spectrum(
    data: bytes, baud: int, freq_hz: Array, shift_hz: float, framing: Framing
) -> npt.NDArray[np.complex128]:
    """Spectrum of the edges of one burst, through the passband."""
    at, step = line_edges(data, baud, framing)
    inside = passband(freq_hz) > 0
    out = np.zeros(len(freq_hz), dtype=complex)
    turns = np.outer(freq_hz[inside] + shift_hz, at)
    out[inside] = passband(freq_hz[inside]) * (np.exp(-2j * np.pi * turns) * step).sum(axis=1)
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
    noise_dbfs: float = NOISE_DBFS,
    shift_hz: float = 0.0,
    framing: Framing | None = None,
    **polls: float | bool,
) -> Scene:
    """One scene.

    Args:
        seed: of every random draw.
        excess_db: true excess over the steady noise; None has no interference.
        seconds: length of the audio.
        rate_hz: sample rate.
        latency_s: how much later the audio answers than the gate says.
        jitter_s: timing jitter that nobody knows (standard deviation).
        background: names of `BACKGROUNDS` joined by ``+``.
        baud: character rate of the polls.
        gate: polls, when they are not to be made here.
        random_phase: hash picked up at radio frequency has a new phase with each poll.
        poll_jitter_s: known jitter of the schedule.
        noise_dbfs: level of the noise floor.
        shift_hz: how far radio-frequency pick-up moves the hash's spectrum.
        framing: of the characters, 8N1 unless given.
        polls: passed on to `poll_gate`.
    """
    rng = np.random.default_rng(seed)
    if gate is None:
        gate = poll_gate(rng, seconds, baud=baud, jitter_s=poll_jitter_s, framing=framing, **polls)
    count = int(seconds * rate_hz)
    noise = band_noise(rng, count, rate_hz)
    ratio = 0.0 if excess_db is None else 10 ** (excess_db / 10) - 1
    heard = gate.shifted(latency_s + np.repeat(rng.normal(0, jitter_s, gate.polls), np.bincount(gate.poll)))
    interference = np.zeros(count)
    if ratio:
        phase = bool(seed % 2) if random_phase is None else random_phase
        raw = line_hash(
            rng, heard, count, rate_hz, baud, random_phase=phase, shift_hz=shift_hz, framing=framing
        )
        on_samples = float(np.sum(gate.on_s)) * rate_hz
        interference = raw * np.sqrt(ratio / (np.sum(raw**2) / on_samples))
    floor = np.ones(count)
    audio = noise + interference
    for name in background.split("+"):
        if name == "fading":
            floor = fading_gain(rng, count, rate_hz)
            audio += (floor - 1) * noise
        elif name == "agc":
            audio = automatic_gain(audio, rate_hz)
        else:
            audio += BACKGROUNDS[name](rng, count, rate_hz)
    scale = 10 ** (noise_dbfs / 20) / np.sqrt(2) * 32768
    samples = np.clip(np.rint(audio * scale), -32768, 32767).astype(np.int16)
    at = np.clip((heard.poll_start_s * rate_hz).astype(int), 0, count - 1)
    truth = Truth(ratio, float(np.mean(10 * np.log10(1 + ratio / floor[at] ** 2))), noise_dbfs)
    return Scene(samples, rate_hz, gate, latency_s, truth, interference * scale)


def nothing(rng: np.random.Generator, count: int, rate_hz: int) -> Array:
    """No background beside the noise."""
    return np.zeros(count)


def hum_and_whistles(rng: np.random.Generator, count: int, rate_hz: int) -> Array:
    """Twelve harmonics of a mains frequency a little off, and three carriers as strong as the noise."""
    t = np.arange(count) / rate_hz
    out = np.zeros(count)
    for order, size in enumerate((2, 3, 1, 1.5, 0.5, 1, 0.3, 0.6, 0.2, 0.4, 0.1, 0.2), start=1):
        out += 0.5 * size * np.sin(2 * np.pi * 50.01 * order * t + rng.uniform(0, 2 * np.pi))
    for power in (1.0, 0.5, 0.25):
        tone = np.sin(2 * np.pi * rng.uniform(500, 2500) * t + rng.uniform(0, 2 * np.pi))
        out += np.sqrt(2 * power) * tone
    return out


def speech(rng: np.random.Generator, count: int, rate_hz: int) -> Array:
    """Talk: noise in three formants, syllables of 90-300 ms, pauses; four times the noise while talking."""
    formants = ((500, 200, 1.0), (1300, 300, 0.5), (2300, 400, 0.3))
    out = np.zeros(count)
    for centre, width, power in formants:
        out += np.sqrt(power) * band_noise(rng, count, rate_hz, centre - width / 2, centre + width / 2)
    shape = np.zeros(count)
    at = 0
    while at < count:
        pause = at + int(rng.uniform(0.8, 4) * rate_hz)
        while at < min(pause, count):
            length = int(rng.uniform(0.09, 0.3) * rate_hz)
            room = min(length, count - at)
            shape[at : at + room] = (np.hanning(length) * rng.lognormal(0, 0.6))[:room]
            at += int(length * rng.uniform(0.8, 1.3))
        at = max(at, pause) + int(rng.uniform(0.3, 2.0) * rate_hz)
    return out / np.sqrt(1.8) * shape * np.sqrt(4.0 / np.mean(shape[shape > 0.05] ** 2))


def static(rng: np.random.Generator, count: int, rate_hz: int) -> Array:
    """Crashes, one a second on average, each of one to four strokes 10-32 dB above the noise."""
    out = np.zeros(count)
    carrier = band_noise(rng, count, rate_hz)
    length = int(0.12 * rate_hz)
    for _ in range(rng.poisson(count / rate_hz)):
        at = int(rng.integers(count))
        for _ in range(int(rng.integers(1, 5))):
            decay = rng.uniform(0.004, 0.03) * rate_hz
            size = 10 ** (rng.uniform(10, 32) / 20)
            room = max(0, min(length, count - at))
            out[at : at + room] += size * np.exp(-np.arange(room) / decay) * carrier[at : at + room]
            at += int(rng.exponential(0.02) * rate_hz)
    return out


def clicks(rng: np.random.Generator, count: int, rate_hz: int) -> Array:
    """A fence charger or the like: 5 ms clicks at a rhythm of its own, 10 dB above the noise."""
    out = np.zeros(count)
    carrier = band_noise(rng, count, rate_hz)
    length = int(0.005 * rate_hz)
    period = rng.uniform(0.11, 1.3)
    for at in (np.arange(rng.uniform(0, period), count / rate_hz - 0.01, period) * rate_hz).astype(int):
        out[at : at + length] += np.sqrt(10.0) * carrier[at : at + length]
    return out


def fading_gain(rng: np.random.Generator, count: int, rate_hz: int) -> Array:
    """Slow fading of the noise floor: plus and minus 4 dB in 14 s."""
    t = np.arange(count) / rate_hz
    return 10 ** (4 * np.sin(2 * np.pi * t / 14 + rng.uniform(0, 2 * np.pi)) / 20)


def automatic_gain(audio: Array, rate_hz: int, release_s: float = 1.0, attack_s: float = 0.005) -> Array:
    """A receiver's gain control: peaks are pulled down within 5 ms, the gain comes back within a second."""
    cell = rate_hz // 1000
    count = len(audio) // cell
    peaks = np.abs(audio[: count * cell]).reshape(count, cell).max(axis=1)
    up, down = 1 - np.exp(-0.001 / attack_s), np.exp(-0.001 / release_s)
    level = float(np.median(peaks)) * 1.5
    levels = np.empty(count)
    for index, peak in enumerate(peaks.tolist()):
        level = level + up * (peak - level) if peak > level else peak + (level - peak) * down
        levels[index] = level
    gain = 1 / np.maximum(levels, 0.3)
    return audio * np.interp(np.arange(len(audio)), (np.arange(count) + 1) * cell, gain)


BACKGROUNDS = {
    "clean": nothing,
    "hum": hum_and_whistles,
    "speech": speech,
    "static": static,
    "clicks": clicks,
}
SCENES = ("clean", "hum", "speech", "static", "fading", "agc", "hum+static", "fading+hum", "speech+static")
