"""Short-time spectra on the absolute sample grid, in dBFS units.

Frame k starts at sample ``k * hop`` of the recording, whatever piece of audio is at hand. A frame therefore
has the same digits whether it was computed live from a few hundred milliseconds or offline from a minute.

Scaling: 0 dBFS is the r.m.s. of a full-scale sine (AES17-2020, 3.12.3). A frame's bins are scaled so that
they add up to its power in that unit (Parseval), so band sums need no further correction for the window.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import numpy.typing as npt

from telltick.model.clock import Floats

Samples = npt.NDArray[np.int16]
Powers = npt.NDArray[np.float32]

FULL_SCALE = 32768.0
TOP_HZ = 4000.0  # speech receivers pass less; the screen shows this much
_BLOCK_FRAMES = 256  # 1 MB of windowed samples: stays in the processor's cache
_FEW_FRAMES = 1024  # up to so many are taken in blocks of less than 64 kB, which a live view has at hand
_SMALL_BYTES = 1 << 16


@dataclass(frozen=True)
class FrameSpec:
    """Length and spacing of the frames at one sample rate: 21.3 ms Hann windows every 5.33 ms.

    Attributes:
        rate_hz: sample rate.
        hop: samples from one frame to the next.
        length: samples in a frame, four hops.
    """

    rate_hz: int
    hop: int
    length: int

    @classmethod
    @lru_cache(maxsize=8)
    def for_rate(cls, rate_hz: int) -> FrameSpec:
        """1024 samples every 256 at 48 kHz, and the nearest to the same times at other rates."""
        hop = max(4, round(rate_hz * 256 / 48_000))
        return cls(rate_hz, hop, 4 * hop)

    @property
    def hop_s(self) -> float:
        """Time from one frame to the next, in seconds."""
        return self.hop / self.rate_hz

    @property
    def length_s(self) -> float:
        """Length of a frame, in seconds."""
        return self.length / self.rate_hz

    @property
    def bins(self) -> int:
        """Number of bins from 0 Hz up to 4 kHz (or half the sample rate)."""
        return min(int(TOP_HZ * self.length / self.rate_hz), self.length // 2) + 1

    @cached_property
    def freq_hz(self) -> Floats:
        """Shape (bins,), bin centres in Hz."""
        return np.asarray(np.arange(self.bins) * (self.rate_hz / self.length), dtype=np.float64)

    @cached_property
    def window(self) -> Floats:
        """Shape (length,), periodic Hann: sin^2(pi n / length); noise bandwidth 1.5 bins (Harris 1978)."""
        return np.asarray(np.sin(np.pi * np.arange(self.length) / self.length) ** 2)

    @cached_property
    def scaled_window(self) -> Powers:
        """Shape (length,) float32, the window times what turns samples into powers re a full-scale sine."""
        scale = 2 / FULL_SCALE / np.sqrt(self.length * np.sum(self.window**2))
        return np.asarray(self.window * scale, dtype=np.float32)

    def first_frame(self, first_sample: int) -> int:
        """Number of the first frame that starts at or after a sample."""
        return -(-first_sample // self.hop)

    def frame_count(self, first_sample: int, samples: int) -> int:
        """How many whole frames lie within `samples` samples from `first_sample` on."""
        room = first_sample + samples - self.first_frame(first_sample) * self.hop - self.length
        return max(0, room // self.hop + 1) if room >= 0 else 0

    def centre_s(self, frame: npt.NDArray[np.int64]) -> Floats:
        """Time of the middle of frames, in seconds of audio."""
        return (frame * self.hop + self.length / 2) / self.rate_hz


def power_frames(samples: Samples, spec: FrameSpec, first_sample: int = 0) -> Powers:
    """Power of each bin of each whole frame: ``4 |X_k|^2 / (length * sum w^2)`` re a full-scale sine.

    Args:
        samples: shape (n,), audio as recorded.
        spec: framing for its rate.
        first_sample: index of ``samples[0]`` in the recording; frames start at multiples of the hop.

    Returns:
        shape (frames, bins) float32; row 0 is frame ``spec.first_frame(first_sample)``.
    """
    count = spec.frame_count(first_sample, len(samples))
    out = np.empty((count, spec.bins), dtype=np.float32)
    if not count:
        return out
    from scipy.fft import rfft  # single precision, twice as fast as numpy's

    offset = spec.first_frame(first_sample) * spec.hop - first_sample
    views = np.lib.stride_tricks.sliding_window_view(samples[offset:], spec.length)[:: spec.hop]
    at_once = _BLOCK_FRAMES if count > _FEW_FRAMES else _few(spec)
    windowed = np.empty((min(count, at_once), spec.length), dtype=np.float32)
    for start in range(0, count, at_once):
        block = slice(start, min(start + at_once, count))
        np.multiply(views[block], spec.scaled_window, out=windowed[: block.stop - start])
        spectrum = rfft(windowed[: block.stop - start], axis=1)[:, : spec.bins]
        np.square(spectrum.real, out=out[block])
        out[block] += np.square(spectrum.imag)
    return out


def _few(spec: FrameSpec) -> int:
    """How many frames, and their spectra, take less than 64 kB; four are transformed at a time."""
    room = (_SMALL_BYTES - 1) // (4 * spec.length + 8)
    return max(room - room % 4, 1)


def to_db(power: npt.ArrayLike) -> Floats:
    """10 log10 of a power; -inf for zero, NaN for less."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(10 * np.log10(np.asarray(power, dtype=np.float64)))


def from_db(level_db: npt.ArrayLike) -> Floats:
    """The power of a level in dB."""
    return np.asarray(10 ** (np.asarray(level_db, dtype=np.float64) / 10))
