"""The gate of a stretch of audio, from the bursts a session holds."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from telltick.engine.spans import Span
from telltick.model.clock import Floats
from telltick.model.columns import Column
from telltick.model.traffic import Gate, Rhythm
from telltick.store.session import SessionReader

PIECE_S = 3600.0  # of a gate as a whole in memory
MOST_EXACT = 450_000  # intervals; those of more than a day are held to some nanoseconds
MARGIN_S = 4.0  # rows and latency search need the polls next to a stretch


def gate_near(reader: SessionReader, start_s: float, end_s: float, *, texts: bool = True) -> Gate:
    """Bursts in and around [start_s, end_s] seconds of audio, no latency applied; their bytes if wanted."""
    samples = np.array([start_s - MARGIN_S, end_s + MARGIN_S]) * reader.facts.rate_hz
    first_ns, last_ns = reader.clock.t_at(np.maximum(samples, 0))
    return reader.gate(int(first_ns), int(last_ns), texts=texts)


def gate_of(reader: SessionReader, spans: Sequence[Span]) -> Gate:
    """Bursts in and around several stretches in order of time, without their bytes."""
    near: list[Span] = []
    for span in spans:
        joins = bool(near) and span.start_s - near[-1].end_s <= 2 * MARGIN_S
        near.append(Span(near.pop().start_s, span.end_s) if joins else span)
    gates = [gate_near(reader, span.start_s, span.end_s, texts=False) for span in near]
    polls = np.cumsum([0] + [gate.polls for gate in gates])
    return Gate(
        np.concatenate([gate.start_s for gate in gates]),
        np.concatenate([gate.end_s for gate in gates]),
        np.concatenate([gate.rx for gate in gates]),
        np.concatenate([gate.poll + before for gate, before in zip(gates, polls, strict=False)]),
    )


def poll_starts(reader: SessionReader, span: Span) -> Floats:
    """Shape (polls,): when each poll in and around a stretch starts, no latency applied."""
    found = Column(np.zeros(0))
    for gate, inside in _by_the_hour(reader, span):
        found.extend(gate.poll_start_s[inside])
    return found.values


def poll_rhythm(reader: SessionReader, seconds: float) -> Rhythm:
    """How the polls of so many seconds of audio follow each other."""
    intervals, polls, on_s = Column(np.zeros(0)), 0, 0.0
    last = np.zeros(0)
    for gate, inside in _by_the_hour(reader, Span(0.0, seconds)):
        begins = gate.poll_start_s[inside]
        intervals.extend(np.diff(np.concatenate([last, begins])).astype(intervals.values.dtype))
        if len(intervals) > MOST_EXACT and intervals.values.dtype != np.float32:
            intervals = Column(intervals.values.astype(np.float32))
        polls, on_s = polls + len(begins), on_s + float(gate.on_s[inside].sum())
        last = begins[-1:] if len(begins) else last
    return Rhythm(intervals.values, polls, on_s)


def _by_the_hour(reader: SessionReader, span: Span) -> Iterator[tuple[Gate, npt.NDArray[np.bool_]]]:
    """Gates of a stretch and its margins, an hour in memory at a time, and which polls begin in that hour."""
    edges = [-np.inf, *np.arange(span.start_s + PIECE_S, span.end_s, PIECE_S).tolist(), np.inf]
    for begin_s, end_s in pairwise(edges):
        gate = gate_near(reader, max(begin_s, span.start_s), min(end_s, span.end_s), texts=False)
        starts_s = gate.poll_start_s
        yield gate, (starts_s >= begin_s) & (starts_s < end_s)
