"""The gate of a stretch of audio, from the bursts a session holds."""

from __future__ import annotations

import numpy as np

from telltick.model.traffic import Gate
from telltick.store.session import SessionReader

MARGIN_S = 4.0  # rows and latency search need the polls next to a stretch


def gate_near(reader: SessionReader, start_s: float, end_s: float) -> Gate:
    """Bursts in and around [start_s, end_s] seconds of audio, no latency applied."""
    samples = np.array([start_s - MARGIN_S, end_s + MARGIN_S]) * reader.facts.rate_hz
    first_ns, last_ns = reader.clock.t_at(np.maximum(samples, 0))
    return reader.gate(int(first_ns), int(last_ns))
