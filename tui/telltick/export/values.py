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


def bits_words(heard: bool) -> str:
    """Whether the bits themselves are heard; where no proof was found, it is not denied either."""
    return "the bits themselves are heard" if heard else "whether the bits themselves are heard is not proved"


def numbered_steps(numbers: list[int]) -> str:
    """Steps in words, runs of three and more by their ends: steps 1, 3 to 5."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    words = [f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs]
    return f"step{'s' if len(numbers) > 1 else ''} {', '.join(words)}"


def wall_utc(facts: SessionFacts, t_ns: int = 0) -> str | None:
    """Wall-clock time of a session time as ISO 8601 in UTC; None when it is not known or cannot be."""
    return None if facts.imported else utc(facts.started_wall_ns + t_ns)


def recorded_words(facts: SessionFacts) -> str:
    """When a session was recorded, for a reader; not escaped for any format."""
    if not facts.imported:
        return wall_utc(facts) or "at an unknown time"
    imported = f"imported on {(utc(facts.started_wall_ns) or 'an unknown day')[:10]}"
    if facts.recorded:
        return f"{facts.recorded}, as the recording's file says ({imported})"
    return f"unknown ({imported})"


def utc(wall_ns: int) -> str | None:
    """A wall-clock time as ISO 8601 in UTC, to the millisecond; None when it cannot be.

    Args:
        wall_ns: nanoseconds since the Unix epoch.
    """
    try:
        moment = _EPOCH + timedelta(microseconds=wall_ns // 1000)
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
