"""Sound clips as data URIs: short, equally amplified where they compare, and lossless."""

from __future__ import annotations

import base64
import io
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from telltick.model.clock import Floats
from telltick.model.evidence import Clip

PEAK = 0.25  # of full scale: loud headphones hurt
MOST_GAIN = 1000.0  # 60 dB
HIGHEST_RATE_HZ = 48_000
LONGEST_S = 10.0


@dataclass(frozen=True)
class Playable:
    """A clip for the page.

    Attributes:
        title: as a reader sees it.
        caption: what to listen for.
        uri: the sound itself, FLAC in a data URI (RFC 2397).
        seconds: how long it is.
    """

    title: str
    caption: str
    uri: str
    seconds: float


def common_gain(clips: Iterable[Clip]) -> float:
    """One factor for all clips that keep their loudness among each other."""
    peaks = [
        float(np.max(np.abs(clip.samples))) for clip in clips if len(clip.samples) and not clip.own_level
    ]
    highest = max(peaks, default=0.0)
    return min(PEAK / highest, MOST_GAIN) if highest > 0 else 1.0


def playables(clips: Iterable[Clip]) -> tuple[Playable, ...]:
    """The clips as they are played in the page."""
    kept = [clip for clip in clips if len(clip.samples)]
    gain = common_gain(kept)
    return tuple(_playable(clip, 1.0 if clip.own_level else gain) for clip in kept)


def _playable(clip: Clip, gain: float) -> Playable:
    samples, rate_hz = _at_most(clip.samples[: int(LONGEST_S * clip.rate_hz)], clip.rate_hz)
    uri = "data:audio/flac;base64," + base64.b64encode(flac(gain * samples, rate_hz)).decode("ascii")
    return Playable(clip.title, clip.caption, uri, len(samples) / rate_hz)


def _at_most(samples: Floats, rate_hz: int) -> tuple[Floats, int]:
    """The same at a rate that every browser plays."""
    if rate_hz <= HIGHEST_RATE_HZ:
        return samples, rate_hz
    from scipy.signal import resample_poly

    lower = np.asarray(resample_poly(samples, HIGHEST_RATE_HZ, rate_hz), dtype=np.float64)
    return lower, HIGHEST_RATE_HZ


def flac(samples: Floats, rate_hz: int) -> bytes:
    """16-bit mono FLAC (RFC 9639)."""
    import soundfile

    out = io.BytesIO()
    soundfile.write(out, np.clip(samples, -1.0, 1.0), rate_hz, format="FLAC", subtype="PCM_16")
    return out.getvalue()
