"""The clocks of a recording, and what is said when the computer's own are set or stand still.

Session time is the monotonic clock. Setting the wall clock, by hand or by a time server, moves nothing in a
session. While the computer sleeps the monotonic clock stands still on most systems: without a word the two
sides of a sleep would look as if they followed each other at once.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

from telltick.model.clock import NS

LOOK_EVERY_NS = NS // 2
SLEPT_NS = NS // 2  # the kernel's own account of sleep is exact; shorter sleeps do not happen
SET_NS = 2 * NS  # a time server that slews the clock stays far below this


def _asleep_ns() -> int:
    """How long the computer has slept since it was started, as far as it says so."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)  # Linux: goes on during sleep
    return 0 if boot is None else time.clock_gettime_ns(boot) - time.clock_gettime_ns(time.CLOCK_MONOTONIC)


@dataclass(frozen=True, slots=True)
class Clocks:
    """Where a recording looks for the time.

    Attributes:
        mono_ns: the monotonic clock.
        wall_ns: the wall clock (Unix epoch).
        asleep_ns: time slept, of which the monotonic clock knows nothing.
    """

    mono_ns: Callable[[], int] = time.monotonic_ns
    wall_ns: Callable[[], int] = time.time_ns
    asleep_ns: Callable[[], int] = _asleep_ns


@dataclass(frozen=True, slots=True)
class ClockNews:
    """What happened to the clocks since the last look.

    Attributes:
        slept_s: the computer slept so long; 0 when it did not.
        set_s: the wall clock was set forward by so much (backward below 0); 0 when it was not.
    """

    slept_s: float = 0.0
    set_s: float = 0.0


class ClockWatch:
    """Compares the clocks with each other now and then."""

    def __init__(self, clocks: Clocks) -> None:
        self._clocks = clocks
        self._seen = self._look()

    def watch(self) -> ClockNews | None:
        """What happened since the last look; None while nothing did."""
        if self._clocks.mono_ns() - self._seen[0] < LOOK_EVERY_NS and not self._slept_ns():
            return None
        before, self._seen = self._seen, self._look()
        passed, wall, slept = (now - then for now, then in zip(self._seen, before, strict=True))
        slept = slept if slept > SLEPT_NS else 0
        moved = wall - passed - slept
        moved = moved if abs(moved) > SET_NS else 0
        return ClockNews(slept / NS, moved / NS) if slept or moved else None

    def _slept_ns(self) -> int:
        """Time slept since the last look, where it is long enough to speak of."""
        slept = self._clocks.asleep_ns() - self._seen[2]
        return slept if slept > SLEPT_NS else 0

    def _look(self) -> tuple[int, int, int]:
        return self._clocks.mono_ns(), self._clocks.wall_ns(), self._clocks.asleep_ns()
