"""Where things lie on the audio timeline: capture runs, steps, and the middle of a step."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from telltick.model.marks import Step, steps_of
from telltick.model.readings import Latency
from telltick.store.session import SessionReader


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of audio, in seconds from the first sample."""

    start_s: float
    end_s: float

    @property
    def seconds(self) -> float:
        """Its length."""
        return max(0.0, self.end_s - self.start_s)

    def middle(self, seconds: float) -> Span:
        """Its middle, at most so long."""
        spare_s = max(0.0, self.seconds - seconds) / 2
        return Span(self.start_s + spare_s, self.end_s - spare_s)

    def within(self, other: Span) -> Span:
        """The part that both have."""
        return Span(max(self.start_s, other.start_s), min(self.end_s, other.end_s))


def session_steps(reader: SessionReader) -> tuple[Step, ...]:
    """The steps of a session so far; none before there is audio."""
    if not reader.anchors or not reader.audio.samples:
        return ()
    return steps_of(reader.facts.setup, reader.marks, reader.start_ns, reader.end_ns)


def capture_runs(reader: SessionReader) -> list[Span]:
    """The runs of audio without loss, in order."""
    rate, samples = reader.facts.rate_hz, reader.audio.samples
    if not reader.anchors:
        return []
    return [
        Span(first / rate, min(end, samples) / rate) for first, end in reader.clock.runs if first < samples
    ]


def step_span(
    reader: SessionReader, step: Step, runs: Sequence[Span], latencies: Sequence[Latency | None]
) -> Span:
    """A step's seconds of audio, each end moved by the latency of the run it lies in.

    Args:
        reader: an open session.
        step: the step.
        runs: its capture runs.
        latencies: of each of them; None moves nothing.
    """
    start_s, end_s = (
        float(at) + shift_s(latencies[run_at(runs, float(at))], float(at))
        for at in reader.clock.nearest_s([step.start_ns, step.end_ns])
    )
    return Span(start_s, end_s)


def shift_s(latency: Latency | None, at_s: float) -> float:
    """A latency, drift included, at a moment of serial time; 0 without one."""
    return 0.0 if latency is None else float(latency.shift_s(np.asarray(at_s)))


def run_at(runs: Sequence[Span], at_s: float) -> int:
    """Number of the run that a moment of audio lies in."""
    return max((index for index, run in enumerate(runs) if run.start_s <= at_s + 1e-9), default=0)
