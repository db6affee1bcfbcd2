"""When to poll: a steady grid of slots, each moved by a seeded random jitter, or the draws of a coin trial.

A perfectly periodic poll leaves the latency between serial traffic and audio known only modulo the period; a
few milliseconds of known jitter resolve it. Pure: the caller brings the clock.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from telltick.model.clock import NS
from telltick.model.trial import Rhythm, TrialSlot, drawn_slot

MOST_JITTER = (
    0.4  # of the interval: neighbouring slots keep their order and at least a fifth of it between them
)


@dataclass(frozen=True, slots=True)
class Slot:
    """One moment at which a request may be sent.

    Attributes:
        due_ns: session time, jitter included.
        drawn: the draw behind it, in a coin trial; its poll is numbered when it is sent.
    """

    due_ns: int
    drawn: TrialSlot | None = None


class Schedule:
    """Slots at a fixed interval that never drift and never bunch up.

    Slot k is due at ``origin + k * interval + jitter_k`` whatever happened to the slots before it. Slots that
    have passed by the time the next is asked for are skipped, not made up for.
    """

    def __init__(self, interval_s: float, jitter_ms: float, seed: int) -> None:
        """Set up; call `restart` to place the grid.

        Args:
            interval_s: from slot to slot.
            jitter_ms: each slot moves within plus or minus this, bounded by `MOST_JITTER` of the interval.
            seed: of the jitter's random draws.
        """
        self._rng = np.random.default_rng(seed)
        self._jitter_ns = round(jitter_ms * 1e6)
        self.interval_ns = round(interval_s * NS)
        self._origin_ns = 0
        self._next = 0

    def restart(self, now_ns: int, interval_s: float | None = None) -> None:
        """Place the grid anew: the first slot as soon after `now_ns` as the jitter allows.

        Args:
            now_ns: session time.
            interval_s: new interval; None keeps it.
        """
        if interval_s is not None:
            self.interval_ns = round(interval_s * NS)
        self._origin_ns = now_ns + self._reach_ns
        self._next = 0

    def next_slot(self, now_ns: int) -> Slot:
        """The next slot that is not yet due at `now_ns`; each slot is given out once."""
        behind = now_ns - self._reach_ns - self._origin_ns
        self._next = max(self._next, -(-behind // self.interval_ns))
        while True:
            due_ns = self._origin_ns + self._next * self.interval_ns + self._draw_ns()
            self._next += 1
            if due_ns >= now_ns:
                return Slot(due_ns)

    @property
    def _reach_ns(self) -> int:
        return min(self._jitter_ns, int(MOST_JITTER * self.interval_ns))

    def _draw_ns(self) -> int:
        return int(self._rng.integers(-self._reach_ns, self._reach_ns, endpoint=True))


class TrialSchedule:
    """One poll in each cycle, in a slot that a recorded draw decides. Cycles follow each other without pause.

    A cycle whose slot has passed by the time it is asked for gets no poll. Its draw stands all the same: what
    counts in the end is where the poll was to go.
    """

    def __init__(self, rhythm: Rhythm, seed: int, leg: int) -> None:
        """Set up; call `restart` to place the first cycle.

        Args:
            rhythm: how a cycle is cut.
            seed: of the draws.
            leg: number of this stretch of trial.
        """
        self.rhythm = rhythm
        self._seed = seed
        self._leg = leg
        self._origin_ns = 0
        self._next = 0

    def restart(self, now_ns: int) -> None:
        """Begin the first cycle at session time `now_ns`."""
        self._origin_ns = now_ns
        self._next = 0

    def next_slot(self, now_ns: int) -> Slot:
        """The next slot that is not yet due at `now_ns`; each cycle is given out once."""
        self._next = max(self._next, (now_ns - self._origin_ns) // self.rhythm.cycle_ns)
        while True:
            cycle = self._next
            self._next += 1
            cycle_ns = self._origin_ns + cycle * self.rhythm.cycle_ns
            slot = drawn_slot(self._seed, self._leg, cycle, self.rhythm.slots)
            due_ns = cycle_ns + slot * self.rhythm.slot_ns
            if due_ns >= now_ns:
                drawn = TrialSlot(
                    -1, self._leg, cycle, cycle_ns, slot, self.rhythm.slots, self.rhythm.slot_ns
                )
                return Slot(due_ns, drawn)
