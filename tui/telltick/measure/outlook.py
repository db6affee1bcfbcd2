"""How much longer a stretch must be measured."""

from __future__ import annotations

import math

from telltick.model.readings import Reading

WANTED_DB = 0.5  # half-width of the interval that is narrow enough for most questions


def more_seconds(reading: Reading, wanted_db: float = WANTED_DB) -> float | None:
    """Seconds still needed until the excess is known to within `wanted_db` either way.

    The half-width h of an interval falls as one over the root of the polls, and so of the time t measured at
    a steady pace: t (h / wanted)^2 - t more seconds.

    Args:
        reading: of the stretch so far.
        wanted_db: the half-width wanted, in dB.

    Returns:
        0 when the interval is that narrow; None without an interval, or where nothing was measured yet.
    """
    excess = reading.excess_db
    if excess is None or reading.seconds <= 0:
        return None
    half_db = max(excess.high - excess.value, excess.value - excess.low)
    more_s = reading.seconds * ((half_db / wanted_db) ** 2 - 1)
    return max(0.0, more_s) if math.isfinite(more_s) else None
