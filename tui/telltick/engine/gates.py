"""The gate of a stretch of audio, from the bursts a session holds."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from telltick.model.traffic import Gate
from telltick.store.session import SessionReader

PIECE_S = 3600.0  # of a gate as a whole in memory
MARGIN_S = 4.0  # rows and latency search need the polls next to a stretch


def gate_near(reader: SessionReader, start_s: float, end_s: float, *, texts: bool = True) -> Gate:
    """Bursts in and around [start_s, end_s] seconds of audio, no latency applied; their bytes if wanted."""
    samples = np.array([start_s - MARGIN_S, end_s + MARGIN_S]) * reader.facts.rate_hz
    first_ns, last_ns = reader.clock.t_at(np.maximum(samples, 0))
    return reader.gate(int(first_ns), int(last_ns), texts=texts)


def polls_alone(reader: SessionReader, seconds: float) -> Gate:
    """All polls of so many seconds of audio, each as one burst as long as its bytes, read hour by hour."""
    start_s, on_s = [], []
    edges = [-np.inf, *np.arange(PIECE_S, seconds, PIECE_S).tolist(), np.inf]
    for begin_s, end_s in pairwise(edges):
        gate = gate_near(reader, max(begin_s, 0.0), min(end_s, seconds), texts=False)
        inside = (gate.poll_start_s >= begin_s) & (gate.poll_start_s < end_s)
        start_s.append(gate.poll_start_s[inside])
        on_s.append(gate.on_s[inside])
    begins = np.concatenate(start_s)
    rx = np.zeros(len(begins), dtype=bool)
    return Gate(begins, begins + np.concatenate(on_s), rx, np.arange(len(begins)))
