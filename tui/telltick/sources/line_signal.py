"""A serial line heard as sound: its edges, and the bursts and characters that they make.

The line comes through the user's own attenuator, often through a capacitor: levels droop, or only pulses at
the edges are left, and nobody knows which way up it is. So edges are looked for, not levels: the difference
over two samples, against a threshold that follows the signal's own edges and stays clear of its noise. An
idle line is at mark; the first edge after silence is a start bit, whatever its sign.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from telltick.model.framing import Framing

Samples = npt.NDArray[np.int16]

SPLIT_S = 0.002  # silence that parts two bursts
UNKNOWN_CHAR_S = 0.012  # longest silence within a burst when nobody knows the rate: a character at 1200 baud
MOST_EDGES = 4096  # a burst without end is told in pieces
LEARNT = 64  # edges whose size is remembered
EDGE_SHARE = 0.6  # of the usual edge: what counts as one
NOISE_TIMES = 8.0  # an edge stands this far above the noise's typical difference
LEAST_STEP = 40.0  # codes of 32768: below, there is no line to hear
LONG_NOISE_S = 5.0
CHUNK, OVERLAP = 480, 4  # samples looked at together, and how many of the next are needed beside them


@dataclass(frozen=True, slots=True)
class LineBurst:
    """Characters one right after the other.

    Attributes:
        start: sample index, with fraction, of the first start bit's edge.
        end: of the end of the last stop bit; without a known rate, of a bit time after the last edge.
        data: the characters; empty where they could not be read.
    """

    start: float
    end: float
    data: bytes = b""


class LineSignal:
    """Finds bursts in one channel of audio, block after block."""

    def __init__(self, rate_hz: int, baud: float | None = None, framing: Framing | None = None) -> None:
        """Begin with silence.

        Args:
            rate_hz: sample rate of the audio.
            baud: bits per second; None where nobody knows: bursts are found, characters are not read.
            framing: shape of a character; 8N1 when left out.
        """
        self._rate_hz = rate_hz
        self._framing = framing or Framing()
        self._bit = None if baud is None else rate_hz / baud
        char_s = UNKNOWN_CHAR_S if baud is None else self._framing.char_time_s(baud)
        self._silence = (char_s + SPLIT_S) * rate_hz
        self._steps: deque[float] = deque(maxlen=LEARNT)
        self._noise = 0.0
        self._waiting = np.zeros(0)
        self._next = 0  # index of the first sample that waits, or of the next block
        self._edges: list[tuple[float, bool]] = []  # position, rising

    def feed(self, first: int, samples: Samples) -> list[LineBurst]:
        """Take in a block; returns the bursts that are over.

        Args:
            first: index of its first sample; where it does not follow the block before, all begins anew.
            samples: shape (n,).
        """
        done = [] if first == self._next + len(self._waiting) else self.flush()
        if not len(self._waiting):
            self._next = first
        self._waiting = np.concatenate([self._waiting, samples.astype(np.float64)])
        while len(self._waiting) >= CHUNK + OVERLAP:  # pieces of one size, however the audio is cut
            done += self._look_at(self._waiting[: CHUNK + OVERLAP])
            self._waiting = self._waiting[CHUNK:]
            self._next += CHUNK
        return done + self._close_before(self._next)

    def _look_at(self, x: npt.NDArray[np.float64]) -> list[LineBurst]:
        done = []
        for position, rising in self._find_edges(x):
            done += self._close_before(position)
            self._take_edge(position, rising)
        return done

    def flush(self) -> list[LineBurst]:
        """Tell of what is under way, and begin with silence."""
        rest, self._waiting = self._waiting, np.zeros(0)
        done = self._look_at(rest) if len(rest) > OVERLAP else []
        return done + self._decoded()

    # ---- edges

    def _find_edges(self, x: npt.NDArray[np.float64]) -> list[tuple[float, bool]]:
        """Local extremes of the difference over two samples that stand out; (position, rising)."""
        d = x[2:] - x[:-2]  # centred on sample k + 1
        size = np.abs(d)
        threshold = self._threshold(size)
        inner = size[1:-1]
        peak = np.flatnonzero((inner >= threshold) & (inner >= size[:-2]) & (inner > size[2:])) + 1
        found = []
        for k in peak.tolist():
            left, top, right = size[k - 1], size[k], size[k + 1]
            bend = left - 2 * top + right
            shift = 0.5 * (left - right) / bend if bend < 0 else 0.0
            self._steps.append(float(top))
            found.append((self._next + k + 1 + float(np.clip(shift, -0.5, 0.5)), bool(d[k] > 0)))
        return found

    def _threshold(self, size: npt.NDArray[np.float64]) -> float:
        """What counts as an edge: a share of the usual one, clear of the noise between the edges."""
        typical = float(np.median(size))
        share = len(size) / (LONG_NOISE_S * self._rate_hz)
        quiet = not self._steps or typical < EDGE_SHARE * float(np.median(self._steps)) / 2
        if not self._noise or quiet:
            self._noise = typical if not self._noise else self._noise + share * (typical - self._noise)
        clear = max(NOISE_TIMES * self._noise, LEAST_STEP)
        if self._steps:
            return max(EDGE_SHARE * float(np.median(self._steps)), clear)
        return max(EDGE_SHARE * float(size.max()), clear)

    def _take_edge(self, position: float, rising: bool) -> None:
        """A line cannot fall twice: the second of two like edges is noise, or ringing of the first."""
        if not self._edges or self._edges[-1][1] != rising:
            self._edges.append((position, rising))

    # ---- bursts

    def _close_before(self, position: float) -> list[LineBurst]:
        if not self._edges:
            return []
        over = position - self._edges[-1][0] > self._silence
        return self._decoded() if over or len(self._edges) >= MOST_EDGES else []

    def _decoded(self) -> list[LineBurst]:
        edges, self._edges = np.array([position for position, _ in self._edges]), []
        if len(edges) < 2:  # a click is no character: that has a start and a stop
            return []
        if self._bit is None:
            return [LineBurst(float(edges[0]), float(edges[-1] + np.diff(edges).min()))]
        characters = read_characters(edges, self._bit, self._framing)
        return _bursts_of(characters, SPLIT_S * self._rate_hz) or [
            LineBurst(float(edges[0]), float(edges[-1] + self._bit))
        ]


def read_characters(
    edges: npt.NDArray[np.float64], bit: float, framing: Framing
) -> list[tuple[float, float, int]]:
    """Start-stop characters (ANSI/TIA-404-B) from the edges of a line that was idle before the first.

    Each character is read from its own start edge, at the middle of its bits.

    Args:
        edges: shape (n,), positions at which the level changes, rising order.
        bit: length of a bit in the same unit.
        framing: shape of a character.

    Returns:
        start, end and value of each; empty when even the first does not end with a stop bit.
    """
    found: list[tuple[float, float, int]] = []
    checked = framing.data_bits + (framing.parity != "N") + 1  # up to the first stop bit
    middle = (np.arange(1, checked + 1) + 0.5) * bit
    at = 0
    while at < len(edges):
        start = float(edges[at])
        changes = np.searchsorted(edges, start + middle, side="right") - at - 1
        marks = changes % 2 == 1  # at space after the start edge; each change turns it over
        if not marks[-1]:
            break
        found.append((start, start + framing.bits_per_char * bit, _value(marks, framing)))
        stop_from = start + (checked + 0.25) * bit
        at = int(np.searchsorted(edges, stop_from, side="left"))
    return found


def _value(marks: npt.NDArray[np.bool_], framing: Framing) -> int:
    """Least significant bit first."""
    return int(marks[: framing.data_bits] @ (1 << np.arange(framing.data_bits)))


def _bursts_of(characters: list[tuple[float, float, int]], split: float) -> list[LineBurst]:
    """Characters in groups without a silence longer than `split`."""
    bursts: list[LineBurst] = []
    for start, end, value in characters:
        if bursts and start - bursts[-1].end <= split:
            last = bursts.pop()
            bursts.append(LineBurst(last.start, end, last.data + bytes([value])))
        else:
            bursts.append(LineBurst(start, end, bytes([value])))
    return bursts
