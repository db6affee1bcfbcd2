"""The gate of a stretch of audio, from the bursts a session holds."""

from __future__ import annotations

from bisect import bisect_left
from operator import attrgetter

import numpy as np

from telltick.model.clock import NS, AudioClock
from telltick.model.traffic import Gate, gate_from_bursts
from telltick.store.session import SessionReader

MARGIN_S = 4.0  # rows and latency search need the polls next to a stretch


def gate_near(reader: SessionReader, start_s: float, end_s: float) -> Gate:
    """Bursts in and around [start_s, end_s] seconds of audio, no latency applied.

    Args:
        reader: the session.
        start_s: seconds of audio.
        end_s: seconds of audio.
    """
    clock = reader.clock
    samples = np.array([start_s - MARGIN_S, end_s + MARGIN_S]) * clock.rate_hz
    first_ns, last_ns = clock.t_at(np.maximum(samples, 0))
    bursts = reader.bursts
    low = bisect_left(bursts, int(first_ns), key=attrgetter("start_ns"))
    high = bisect_left(bursts, int(last_ns), key=attrgetter("start_ns"))
    return gate_from_bursts(bursts[low:high], clock)


def audio_s(clock: AudioClock, t_ns: int) -> float:
    """Seconds of audio at a session time; inside a gap, where audio comes back; outside all audio, the nearest.

    Args:
        clock: the session's audio clock, with at least one anchor.
        t_ns: session time.
    """
    sample = float(clock.sample_at([t_ns])[0])
    if np.isfinite(sample):
        return sample / clock.rate_hz
    for first, end in clock.runs:
        begin_ns = clock.t_at([first])[0]
        if t_ns < begin_ns:
            return first / clock.rate_hz
        last = end
    if not np.isfinite(last):
        last = first + max(0.0, (t_ns - begin_ns) / NS * clock.rate_hz)
    return last / clock.rate_hz
