"""Short pieces to listen to: the receiver in peace, while polled, and the interference alone.

The first two are the audio as it was recorded, ends faded. The third is made of averages: each burst of a
stretch of polling is replaced by the average of all bursts with its bytes (`measure/coherent.py`), so that
noise and stations are gone and the rhythm stays; it is brought to a comfortable level, which says nothing
about how loud it was.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from telltick.measure.coherent import SURE, Alike, alike_bursts, average_burst, best_shared, waveforms
from telltick.measure.frames import FULL_SCALE, Samples
from telltick.measure.gating import GUARD_S, merged
from telltick.model.clock import Floats
from telltick.model.readings import Band
from telltick.model.traffic import Gate, Ints

Spectrum = npt.NDArray[np.complex128]

SECONDS = 5.0
LEAST_S = 1.0  # shorter pieces are nothing to listen to
PEAK = 0.25  # of full scale: loud headphones hurt
_FADE_S, _JOIN_S, _EDGE_S = 0.050, 0.010, 0.002
_LEAST_GAP_S = 0.060


def interference_clip(
    samples: Samples,
    first_sample: int,
    rate_hz: int,
    gate: Gate,
    *,
    seconds: float = SECONDS,
    band: Band | None = None,
) -> Samples | None:
    """The interference alone, at the rhythm of the polls; None where no bursts repeat or share anything.

    Args:
        samples: shape (n,), audio as recorded, without gaps; a minute of it is plenty.
        first_sample: index of ``samples[0]`` in the recording.
        rate_hz: sample rate.
        gate: bursts in audio time, latency applied, with their bytes.
        seconds: at most this long.
        band: the band to keep, 300-2700 Hz unless given.

    Returns:
        shape (m,), peaks at a quarter of full scale.
    """
    pieces: list[tuple[Alike, Spectrum]] = []
    for alike in alike_bursts(samples, first_sample, rate_hz, gate, band):
        shared = best_shared(alike)
        if shared.sure >= SURE:
            pieces.append((alike, average_burst(alike, shared)))
    if not pieces:
        return None
    starts_s = [gate.start_s[alike.bursts] - alike.lead_s for alike, _ in pieces]
    first = int(_busiest_s(np.sort(np.concatenate(starts_s)), seconds) * rate_hz)
    out = np.zeros(round(seconds * rate_hz))
    for (alike, burst), start_s in zip(pieces, starts_s, strict=True):
        near = start_s[np.abs(start_s - first / rate_hz) < seconds + 1]
        at = np.floor(near * rate_hz)
        for place, waveform in zip(at, waveforms(alike, burst, near - at / rate_hz), strict=True):
            _add(out, _ends_faded(waveform, round(_EDGE_S * rate_hz)), int(place) - first)
    peak = float(np.max(np.abs(out)))
    return _whole_numbers(out * (PEAK / peak)) if peak > 0 else None


def quiet_clip(
    samples: Samples, first_sample: int, rate_hz: int, gate: Gate, *, seconds: float = SECONDS
) -> Samples | None:
    """The receiver without polls: the longest pause, or the quiet between polls joined; None below a second.

    Args:
        samples: shape (n,), audio as recorded, without gaps.
        first_sample: index of ``samples[0]`` in the recording.
        rate_hz: sample rate.
        gate: bursts in audio time, latency applied.
        seconds: at most this long.
    """
    low, high = _pauses(gate, first_sample, len(samples), rate_hz)
    if not len(low):
        return None
    longest = int(np.argmax(high - low))
    if high[longest] - low[longest] >= max(LEAST_S, 0.5 * seconds) * rate_hz:
        spare = max(0, int(high[longest] - low[longest]) - round(seconds * rate_hz))
        return _faded(samples[low[longest] + spare // 2 : high[longest] - (spare + 1) // 2], rate_hz)
    joined = _joined([samples[a:b] for a, b in zip(low, high, strict=True)], round(_JOIN_S * rate_hz))
    if len(joined) < LEAST_S * rate_hz:
        return None
    return _faded(joined[: round(seconds * rate_hz)], rate_hz)


def polled_clip(
    samples: Samples, first_sample: int, rate_hz: int, gate: Gate, *, seconds: float = SECONDS
) -> Samples | None:
    """The receiver while it is polled, as recorded; None without polls or below a second.

    Args:
        samples: shape (n,), audio as recorded, without gaps.
        first_sample: index of ``samples[0]`` in the recording.
        rate_hz: sample rate.
        gate: bursts in audio time, latency applied.
        seconds: at most this long.
    """
    at_s = gate.poll_start_s - first_sample / rate_hz
    at_s = at_s[(at_s >= 0) & (at_s < len(samples) / rate_hz)]
    if not len(at_s) or len(samples) < LEAST_S * rate_hz:
        return None
    first = round(max(0.0, min(_busiest_s(at_s, seconds) - 0.1, len(samples) / rate_hz - seconds)) * rate_hz)
    return _faded(samples[first : first + round(seconds * rate_hz)], rate_hz)


def _busiest_s(at_s: Floats, seconds: float) -> float:
    """The moment from which most of these moments, in order, lie within so many seconds."""
    count = np.searchsorted(at_s, at_s + seconds) - np.arange(len(at_s))
    return float(at_s[int(np.argmax(count))])


def _pauses(gate: Gate, first_sample: int, count: int, rate_hz: int) -> tuple[Ints, Ints]:
    """Where the stretches between polls begin and end, in samples from the first; short ones left out."""
    busy_from, busy_to = merged(gate.poll_start_s - GUARD_S, np.maximum.accumulate(gate.poll_end_s) + GUARD_S)
    edges = [np.rint(side * rate_hz).astype(np.int64) - first_sample for side in (busy_to, busy_from)]
    low, high = np.clip(np.append(0, edges[0]), 0, count), np.clip(np.append(edges[1], count), 0, count)
    use = high - low >= _LEAST_GAP_S * rate_hz
    return low[use], high[use]


def _joined(pieces: list[Samples], overlap: int) -> Samples:
    """Pieces one after the other, each faded over into the next at constant power."""
    length = sum(len(piece) - overlap for piece in pieces) + overlap
    out = np.zeros(length)
    at = 0
    rise = np.sin(np.linspace(0, np.pi / 2, overlap))
    for piece in pieces:
        part = piece.astype(np.float64)
        part[:overlap] *= rise
        part[-overlap:] *= rise[::-1]
        out[at : at + len(part)] += part
        at += len(part) - overlap
    return np.asarray(np.clip(np.rint(out), -FULL_SCALE, FULL_SCALE - 1), dtype=np.int16)


def _faded(samples: Samples, rate_hz: int) -> Samples:
    """Both ends brought to zero within 50 ms."""
    out = _ends_faded(samples.astype(np.float64), round(_FADE_S * rate_hz))
    return np.asarray(np.rint(out), dtype=np.int16)


def _ends_faded(waveform: Floats, length: int) -> Floats:
    """Raised-cosine ends."""
    length = min(length, len(waveform) // 2)
    rise = 0.5 - 0.5 * np.cos(np.pi * (np.arange(length) + 0.5) / max(length, 1))
    out = waveform.copy()
    out[:length] *= rise
    out[len(out) - length :] *= rise[::-1]
    return out


def _add(out: Floats, piece: Floats, at: int) -> None:
    """Add a piece at a place; what lies outside is lost."""
    low, high = max(at, 0), min(at + len(piece), len(out))
    if high > low:
        out[low:high] += piece[low - at : high - at]


def _whole_numbers(audio: Floats) -> Samples:
    """Full scale 1 to 16-bit samples."""
    return np.asarray(np.clip(np.rint(audio * FULL_SCALE), -FULL_SCALE, FULL_SCALE - 1), dtype=np.int16)
