"""A rhythm in the audio of a session without serial traffic, and how loud it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from telltick.engine.spans import Span
from telltick.measure.period import find_period
from telltick.measure.rhythm import gate_of_period, rhythmic_reading
from telltick.measure.rows import measure_rows
from telltick.model.characteristics import Period
from telltick.store.session import SessionReader

LISTEN_S = 60.0


def find_rhythm(reader: SessionReader, runs: Sequence[Span]) -> Period | None:
    """The rhythm that stands out in the middle minute of the longest capture run; None when none does."""
    run = max(runs, key=lambda one: one.seconds, default=None)
    if run is None:
        return None
    part, rate = run.middle(LISTEN_S), reader.facts.rate_hz
    first, end = int(part.start_s * rate), int(part.end_s * rate)
    samples = reader.audio.read(first, end - first)
    period = find_period(samples, first, rate)
    if period is None:
        return None
    rows = measure_rows(samples, first, rate, gate_of_period(period, part.start_s, part.end_s))
    return replace(period, reading=rhythmic_reading(rows)) if len(rows.poll) else period
