"""Numbers as text of a stable width, so that nothing on screen dances."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

from telltick.model.clock import NS
from telltick.model.readings import Estimate

MISSING = "--.-"


def db(value: float | None, width: int = 5, *, sign: bool = False) -> str:
    """A level or ratio in dB with one decimal, right-aligned; dashes when there is none.

    Args:
        value: in dB; None or NaN for "cannot be had".
        width: characters.
        sign: write a plus sign too.
    """
    if value is None or not math.isfinite(value):
        return MISSING.rjust(width)
    text = f"{value:+.1f}" if sign else f"{value:.1f}"
    return (text.replace("-0.0", " 0.0") if text == "-0.0" else text).rjust(width)


def interval(estimate: Estimate | None) -> str:
    """The 95 % interval of an estimate, always 14 characters: ``  5.9 to 6.5  ``."""
    low, high = (estimate.low, estimate.high) if estimate else (None, None)
    return f"{db(low)} to {db(high).strip():<5}"


def clock(t_ns: int) -> str:
    """Session time as ``h:mm:ss``."""
    sign, seconds = ("-", -t_ns // NS) if t_ns < 0 else ("", t_ns // NS)
    return f"{sign}{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


def short_clock(t_ns: int) -> str:
    """Session time as ``mm:ss``; the minutes run on past an hour."""
    seconds = max(t_ns, 0) // NS
    return f"{seconds // 60:02d}:{seconds % 60:02d}"


def span(seconds: float) -> str:
    """A length of time in words: ``12 s``, ``3 min``, ``1 h 05``."""
    whole = round(max(seconds, 0.0))
    if whole < 100:
        return f"{whole} s"
    if whole < 6000:
        return f"{whole // 60} min"
    return f"{whole // 3600} h {whole // 60 % 60:02d}"


def wall(started_wall_ns: int, t_ns: int, utc_offset_s: int) -> str:
    """Wall-clock time of a session time where the session was recorded, ``hh:mm:ss``."""
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(
        microseconds=(started_wall_ns + t_ns) // 1000, seconds=utc_offset_s
    )
    return moment.strftime("%H:%M:%S")


def number(value: float) -> str:
    """A plain number without needless digits."""
    return f"{value:g}"


def percent(part: int, whole: int) -> str:
    """A share in whole percent, five characters; only all is 100 %."""
    if not whole:
        return " --  "
    share = min(math.floor(100 * part / whole), 100)
    return f"{share:3d} %"
