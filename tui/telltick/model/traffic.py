"""Serial traffic: bursts of bytes, polls, and the gate they open on the audio timeline."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from telltick.model.clock import NS, AudioClock, Floats

Ints = npt.NDArray[np.int64]


class Direction(StrEnum):
    """Which way bytes flow, seen from the computer."""

    TX = "tx"  # to the radio
    RX = "rx"  # from the radio


@dataclass(frozen=True, slots=True)
class Burst:
    """One run of bytes in one direction.

    Attributes:
        start_ns: session time of the first start bit.
        end_ns: session time of the end of the last stop bit.
        direction: to the radio or from it.
        data: the bytes themselves.
        poll: number of the poll it belongs to, or None when nobody counted (a tap, an import).
    """

    start_ns: int
    end_ns: int
    direction: Direction
    data: bytes
    poll: int | None = None


class PollOutcome(StrEnum):
    """How a poll ended."""

    REPLY = "reply"
    TIMEOUT = "timeout"
    ERROR = "error"


@dataclass(frozen=True, slots=True)
class Poll:
    """One request of our own poller and what came of it.

    Attributes:
        number: counts from 0 within the session.
        due_ns: when the schedule, jitter included, wanted it sent.
        sent_ns: when the request started on the line.
        outcome: reply, timeout or error.
        reply_ns: end of the request to start of the reply; None without a reply.
    """

    number: int
    due_ns: int
    sent_ns: int
    outcome: PollOutcome
    reply_ns: int | None = None


@dataclass(frozen=True)
class Rhythm:
    """How polls follow each other: all that need be known of a day of them, in little memory.

    Attributes:
        interval_s: shape (polls - 1,), from the start of one to that of the next.
        polls: how many they are.
        on_s: time during which their bytes flow, all together.
    """

    interval_s: Floats
    polls: int
    on_s: float


@dataclass(frozen=True)
class Gate:
    """Bursts laid on the audio timeline (seconds of audio: sample index / rate), latency not yet applied.

    Bursts are sorted by start. `poll` groups them: a poll is a request and the reply to it.

    Attributes:
        start_s: shape (bursts,), start of each burst.
        end_s: shape (bursts,), end of each burst.
        rx: shape (bursts,), True for bytes from the radio.
        poll: shape (bursts,), non-decreasing poll index counted from 0 within this gate.
        data: the bytes of each burst, for predicting the line's waveform.
    """

    start_s: Floats
    end_s: Floats
    rx: npt.NDArray[np.bool_]
    poll: Ints
    data: tuple[bytes, ...] = ()

    @property
    def polls(self) -> int:
        """Number of polls."""
        return int(self.poll[-1]) + 1 if len(self.poll) else 0

    @property
    def poll_start_s(self) -> Floats:
        """Shape (polls,): start of each poll's first burst."""
        return self.start_s[np.searchsorted(self.poll, np.arange(self.polls))]

    @property
    def poll_end_s(self) -> Floats:
        """Shape (polls,): end of each poll's last burst."""
        out = np.full(self.polls, -np.inf)
        np.maximum.at(out, self.poll, self.end_s)
        return out

    @property
    def on_s(self) -> Floats:
        """Shape (polls,): time during which bytes flow in each poll."""
        on_s = np.bincount(self.poll, weights=self.end_s - self.start_s, minlength=self.polls)
        return on_s.astype(np.float64)

    @property
    def rhythm(self) -> Rhythm:
        """How the polls follow each other."""
        return Rhythm(np.diff(self.poll_start_s), self.polls, float(self.on_s.sum()))

    def shifted(self, seconds: float | Floats) -> Gate:
        """The gate moved later by `seconds` (a number, or one per burst): serial time to audio time."""
        return Gate(self.start_s + seconds, self.end_s + seconds, self.rx, self.poll, self.data)

    def between(self, start_s: float, end_s: float) -> Gate:
        """The polls that lie wholly within [start_s, end_s), renumbered from 0."""
        inside = (self.poll_start_s >= start_s) & (self.poll_end_s < end_s)
        keep = inside[self.poll] if len(self.poll) else np.zeros(0, dtype=bool)
        return self._pick(keep)

    def _pick(self, keep: npt.NDArray[np.bool_]) -> Gate:
        _, poll = np.unique(self.poll[keep], return_inverse=True)
        data = tuple(d for d, k in zip(self.data, keep, strict=True) if k) if self.data else ()
        return Gate(self.start_s[keep], self.end_s[keep], self.rx[keep], poll.astype(np.int64), data)


def gate_from_bursts(bursts: Sequence[Burst], clock: AudioClock, turnaround_s: float = 0.5) -> Gate:
    """Lay bursts on the audio timeline and group them into polls.

    A burst belongs to the running poll when it carries the same poll number or, where nobody counted, when it
    comes from the radio within `turnaround_s` of the burst before it. Bursts without audio are left out.

    Args:
        bursts: any order.
        clock: the session's audio clock.
        turnaround_s: longest silence, in seconds, between a request and a reply that nobody numbered.
    """
    ordered = sorted(bursts, key=lambda b: b.start_ns)
    start = clock.sample_at([b.start_ns for b in ordered]) / clock.rate_hz
    length = np.array([b.end_ns - b.start_ns for b in ordered], dtype=np.float64) / NS
    heard = np.isfinite(start)
    kept = [b for b, h in zip(ordered, heard, strict=True) if h]
    start_s, end_s = start[heard], start[heard] + length[heard]
    poll = np.zeros(len(kept), dtype=np.int64)
    for i in range(1, len(kept)):
        poll[i] = poll[i - 1] + _begins_poll(kept[i - 1], kept[i], start_s[i] - end_s[i - 1], turnaround_s)
    rx = np.array([b.direction is Direction.RX for b in kept], dtype=bool)
    return Gate(start_s, end_s, rx, poll, tuple(b.data for b in kept))


def _begins_poll(before: Burst, burst: Burst, silence_s: float, turnaround_s: float) -> bool:
    if before.poll is not None or burst.poll is not None:
        return before.poll != burst.poll
    return burst.direction is Direction.TX or silence_s > turnaround_s
