"""What happened on the simulated serial line lately makes noise: edges for the receiver, by time."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Sequence
from typing import Protocol

import numpy as np

from telltick.model.clock import Floats
from telltick.model.framing import Framing
from telltick.model.traffic import Burst
from telltick.sources.bench.emissions import burst_edges, emitted, joined, joined_edges
from telltick.sources.bench.paths import Source

__all__ = ["EdgeLog", "LineLog", "burst_edges", "joined_edges"]


class EdgeLog(Protocol):
    """Where a receiver takes edges from, and the radio tells of traffic."""

    def add(self, bursts: Sequence[Burst]) -> None:
        """Put bursts on the line; they may lie in the future."""

    def take_until(self, end_s: float) -> tuple[Floats, Floats]:
        """Remove and return the edges before `end_s`, in order of time."""


class LineLog:
    """Edges by time; written by the radio's thread, read once by the receiver's."""

    def __init__(self, framing: Framing, source: Source = Source.LINE) -> None:
        """Set up.

        Args:
            framing: the line's character framing.
            source: what the traffic makes emit noise: the line itself, or the radio at work.
        """
        self._framing = framing
        self._source = source
        self._lock = threading.Lock()
        self._pending: deque[tuple[Floats, Floats]] = deque()

    def add(self, bursts: Sequence[Burst]) -> None:
        """Put bursts on the line; they may lie in the future."""
        fresh = emitted(bursts, self._framing, self._source)
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
        return joined(taken)
