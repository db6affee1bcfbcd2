"""What on the bench makes the noise, as edges that the receiver may hear.

The serial line's own edges; the radio at work on a request, from the end of the request to the start of its
reply; or the computer, at moments of its own that have nothing to do with the polls. Everything is drawn from
seeds, so that the live bench and the offline one make the same noise.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

import numpy as np

from telltick.model.clock import NS, Floats
from telltick.model.framing import Framing, line_edges
from telltick.model.traffic import Burst, Direction
from telltick.sources.bench.paths import Source

WORK_EDGE_S = 0.0001  # mean time from edge to edge of logic at work: far above the audio band
COMPUTER_BURSTS_PER_S = 6
COMPUTER_BURST_S = (0.015, 0.035)
Pieces = list[tuple[Floats, Floats]]


def burst_edges(burst: Burst, framing: Framing) -> tuple[Floats, Floats]:
    """Times (seconds on the burst's clock) and steps of a burst's edges, each of shape (edges,)."""
    baud = len(burst.data) * framing.bits_per_char * NS / (burst.end_ns - burst.start_ns)
    at, step = line_edges(burst.data, baud, framing)
    return burst.start_ns / NS + at, step


def emitted(bursts: Sequence[Burst], framing: Framing, source: Source) -> Pieces:
    """What successive bursts make the source emit, as pairs of edge times and steps.

    Args:
        bursts: in the order in which the radio tells them: a request, then the replies to it.
        framing: the line's character framing.
        source: what makes the noise.
    """
    if source is Source.LINE:
        return [burst_edges(burst, framing) for burst in bursts if burst.data]
    if source is Source.HANDLING:
        pairs = pairwise(burst for burst in bursts if burst.data)
        return [
            _work(asked.end_ns / NS, reply.start_ns / NS, asked.end_ns)
            for asked, reply in pairs
            if reply.direction is Direction.RX
        ]
    return []


def computer_pieces(seed: int, first_second: int, end_second: int) -> Pieces:
    """What the computer emits in whole seconds of any clock, whether polled or not."""
    out: Pieces = []
    for second in range(first_second, end_second):
        rng = np.random.default_rng((seed, second))
        for start_s in np.sort(second + rng.random(COMPUTER_BURSTS_PER_S)):
            length_s = rng.uniform(*COMPUTER_BURST_S)
            out.append(_work(float(start_s), float(start_s + length_s), int(rng.integers(1 << 40))))
    return out


def joined(pieces: Pieces) -> tuple[Floats, Floats]:
    """The edges of several pieces in order of time, each of shape (edges,)."""
    if not pieces:
        return np.zeros(0), np.zeros(0)
    at, step = (np.concatenate(column) for column in zip(*pieces, strict=True))
    order = np.argsort(at, kind="stable")
    return at[order], step[order]


def joined_edges(bursts: Iterable[Burst], framing: Framing) -> tuple[Floats, Floats]:
    """The edges of several bursts in order of time, each of shape (edges,)."""
    return joined([burst_edges(burst, framing) for burst in bursts])


def _work(start_s: float, end_s: float, seed: int) -> tuple[Floats, Floats]:
    """Edges at random moments, up and down by turns, as many up as down."""
    rng = np.random.default_rng(seed)
    count = 2 * int((end_s - start_s) / WORK_EDGE_S / 2)
    at = np.sort(rng.uniform(start_s, end_s, count))
    return at, np.resize([1.0, -1.0], count)


class ComputerNoise:
    """The computer's edges as time goes by; read once by the receiver."""

    def __init__(self, seed: int) -> None:
        self._seed = seed
        self._known_s: int | None = None
        self._pending: tuple[Floats, Floats] = (np.zeros(0), np.zeros(0))

    def add(self, bursts: Iterable[Burst]) -> None:
        """Traffic on the line leaves the computer's own noise alone."""

    def take_until(self, end_s: float) -> tuple[Floats, Floats]:
        """The edges before `end_s` that have not been taken yet, in order of time."""
        until = int(np.ceil(end_s)) + 1
        first = until - 2 if self._known_s is None else self._known_s
        self._known_s = max(first, until)
        at, step = joined([self._pending, *computer_pieces(self._seed, first, until)])
        cut = int(np.searchsorted(at, end_s))
        self._pending = (at[cut:], step[cut:])
        return at[:cut], step[:cut]
