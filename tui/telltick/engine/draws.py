"""The journalled draws of a coin trial, checked against the seed as they come in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from telltick.model.clock import NS
from telltick.model.traffic import Ints
from telltick.model.trial import FEWEST_SLOTS, MOST_SLOTS, TrialSlot, drawn_slot

SHORTEST_SLOT_NS = NS // 1000
AHEAD_NS = 60 * NS  # how far beyond the audio a draw may lie


@dataclass
class Leg:
    """A stretch of trial with one rhythm.

    Attributes:
        first: its first draw in the journal.
        seed: of the draws.
        polled: cycles that have a draw in the journal, in order.
    """

    first: TrialSlot
    seed: int
    polled: list[int] = field(default_factory=list)
    _slots: list[int] = field(default_factory=list)

    @property
    def cycle_ns(self) -> int:
        """Length of a cycle."""
        return self.first.slots * self.first.slot_ns

    @property
    def origin_ns(self) -> int:
        """Session time at which cycle 0 starts."""
        return self.first.cycle_ns - self.first.cycle * self.cycle_ns

    def slots(self, count: int) -> Ints:
        """Shape (count,): the slots drawn for the first cycles, whether a poll was sent in them or not."""
        while len(self._slots) < count:
            cycle = len(self._slots)
            self._slots.append(drawn_slot(self.seed, self.first.leg, cycle, self.first.slots))
        return np.array(self._slots[:count], dtype=np.int64)

    def has_poll(self, count: int) -> npt.NDArray[np.bool_]:
        """Shape (count,): whether a poll was sent in each of the first cycles."""
        out = np.zeros(count, dtype=bool)
        cycles = np.array(self.polled, dtype=np.int64)
        out[cycles[cycles < count]] = True
        return out


class DrawLedger:
    """Follows the draws of a session.

    Attributes:
        legs: the legs so far, in order.
        sound: every draw repeats from the seed and lies where its leg's rhythm puts it.
    """

    def __init__(self, seed: int) -> None:
        self._seed = seed
        self._seen = 0
        self.legs: list[Leg] = []
        self.sound = True

    def follow(self, drawn: Sequence[TrialSlot], end_ns: int) -> None:
        """Take in draws that were added at the end.

        Args:
            drawn: all draws.
            end_ns: session time of the end of the audio; a draw far beyond it is nonsense.
        """
        for one in drawn[self._seen :]:
            self.sound = self.sound and self._fits(one) and one.cycle_ns <= end_ns + AHEAD_NS
            if self.sound:
                self.legs[-1].polled.append(one.cycle)
        self._seen = len(drawn)

    def _fits(self, one: TrialSlot) -> bool:
        """Check a draw; a leg that it opens is added."""
        if not FEWEST_SLOTS <= one.slots <= MOST_SLOTS or one.slot_ns < SHORTEST_SLOT_NS or one.cycle < 0:
            return False
        if drawn_slot(self._seed, one.leg, one.cycle, one.slots) != one.slot:
            return False
        leg = Leg(one, self._seed)
        if not self.legs or one.leg > self.legs[-1].first.leg:
            self.legs.append(leg)
            return leg.origin_ns >= 0
        known = self.legs[-1]
        same = (known.first.leg, known.origin_ns, known.cycle_ns, known.first.slots)
        in_order = one.cycle > known.polled[-1]
        return in_order and same == (one.leg, leg.origin_ns, leg.cycle_ns, one.slots)
