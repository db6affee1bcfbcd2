"""How single values are written, whatever the format."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

from telltick.model.clock import NS
from telltick.model.document import SessionDocument
from telltick.model.session import SessionFacts

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def number(value: float | None) -> float | None:
    """A number that JSON can hold; None instead of infinity and NaN."""
    return value if value is not None and math.isfinite(value) else None


def wall_utc(facts: SessionFacts, t_ns: int = 0) -> str | None:
    """Wall-clock time of a session time as ISO 8601 in UTC, to the millisecond; None when it cannot be."""
    try:
        moment = _EPOCH + timedelta(microseconds=(facts.started_wall_ns + t_ns) // 1000)
    except OverflowError:
        return None
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def audio_s(session: SessionDocument, t_ns: int | None) -> float | None:
    """Seconds of audio at a session time, to the nanosecond; None without a time or without audio."""
    if t_ns is None:
        return None
    seconds = session.audio_s(t_ns)
    return None if seconds is None else round(seconds, 9)


def span_s(start_ns: int, end_ns: int | None) -> float | None:
    """Length of a span of session time in seconds; None while it has no end."""
    return None if end_ns is None else (end_ns - start_ns) / NS
