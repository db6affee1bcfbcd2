"""Everything that happened on the simulated serial line lately, as edges for the receiver."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Iterable

import numpy as np

from telltick.model.clock import NS, Floats
from telltick.model.framing import Framing, line_edges
from telltick.model.traffic import Burst


def burst_edges(burst: Burst, framing: Framing) -> tuple[Floats, Floats]:
    """Times (seconds on the burst's clock) and steps of a burst's edges, each of shape (edges,)."""
    baud = len(burst.data) * framing.bits_per_char * NS / (burst.end_ns - burst.start_ns)
    at, step = line_edges(burst.data, baud, framing)
    return burst.start_ns / NS + at, step


def joined_edges(bursts: Iterable[Burst], framing: Framing) -> tuple[Floats, Floats]:
    """The edges of several bursts in order of time, each of shape (edges,)."""
    return _joined([burst_edges(burst, framing) for burst in bursts])


def _joined(pieces: list[tuple[Floats, Floats]]) -> tuple[Floats, Floats]:
    if not pieces:
        return np.zeros(0), np.zeros(0)
    at, step = (np.concatenate(column) for column in zip(*pieces, strict=True))
    order = np.argsort(at, kind="stable")
    return at[order], step[order]


class LineLog:
    """Edges by time; written by the radio's thread, read once by the receiver's."""

    def __init__(self, framing: Framing) -> None:
        self._framing = framing
        self._lock = threading.Lock()
        self._pending: deque[tuple[Floats, Floats]] = deque()

    def add(self, bursts: Iterable[Burst]) -> None:
        """Put bursts on the line; they may lie in the future."""
        fresh = [burst_edges(burst, self._framing) for burst in bursts if burst.data]
        with self._lock:
            self._pending.extend(fresh)

    def take_until(self, end_s: float) -> tuple[Floats, Floats]:
        """Remove and return the edges before `end_s`, in order of time."""
        with self._lock:
            pieces, self._pending = self._pending, deque()
            taken = []
            for at, step in pieces:
                cut = int(np.searchsorted(at, end_s))
                if cut:
                    taken.append((at[:cut], step[:cut]))
                if cut < len(at):
                    self._pending.append((at[cut:], step[cut:]))
        return _joined(taken)
