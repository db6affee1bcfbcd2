"""The coin trial: in each cycle of polling, a recorded random draw decides into which slot the poll goes.

The slots that were not drawn are the poll's own controls. The draw is made from the session's seed by a
published hash, so that anybody can repeat it with any tool and see that no poll was moved by hand.
"""

from __future__ import annotations

from dataclasses import dataclass
from hashlib import sha256

MOST_SLOTS = 16
ENOUGH_SLOTS = 5  # with two, interference must be 1 dB stronger to be proven by as many polls
FEWEST_SLOTS = 2  # in sessions that are read
FACTOR = "coin trial"  # of the setup: on, off


def drawn_slot(seed: int, leg: int, cycle: int, slots: int) -> int:
    """The slot that a cycle's poll goes into, 0 to `slots` - 1, each equally likely.

    SHA-256 (FIPS 180-4) of the text ``seed:leg:cycle``, read as one number, highest byte first, modulo
    `slots`.

    Args:
        seed: the session's seed.
        leg: number of the leg.
        cycle: number of the cycle within the leg.
        slots: slots in a cycle.
    """
    digest = sha256(f"{seed}:{leg}:{cycle}".encode("ascii")).digest()
    return int.from_bytes(digest, "big") % slots


@dataclass(frozen=True, slots=True)
class Rhythm:
    """How a cycle is cut.

    Attributes:
        slots: equal slots in a cycle.
        slot_ns: length of a slot.
        stretched: the cycle is longer than the poll interval, which leaves no room for five slots.
    """

    slots: int
    slot_ns: int
    stretched: bool = False

    @property
    def cycle_ns(self) -> int:
        """Length of a cycle."""
        return self.slots * self.slot_ns

    def __str__(self) -> str:
        slots = (
            f"{self.slots} slots of {self.slot_ns / 1e6:.1f} ms in a cycle of {self.cycle_ns / 1e6:.0f} ms"
        )
        return f"{slots} (longer than the poll interval, to make room)" if self.stretched else slots


def rhythm_for(interval_ns: int, need_ns: int) -> Rhythm:
    """Cut a poll interval into as many equal slots as fit, 5 to 16; stretch it where five do not fit.

    A proof takes K / (K - 1) times as many polls with K slots as it would with any number of them. Five in a
    longer cycle take 1.6 times as long as two, but leave quiet beside each poll for the noise floor.

    Args:
        interval_ns: the poll interval.
        need_ns: what a poll needs, from the start of its request until the line is free again.
    """
    slots = min(MOST_SLOTS, interval_ns // need_ns)
    if slots < ENOUGH_SLOTS:
        return Rhythm(ENOUGH_SLOTS, need_ns, stretched=True)
    return Rhythm(int(slots), interval_ns // int(slots))


@dataclass(frozen=True, slots=True)
class TrialSlot:
    """One draw: where in its cycle a poll was to go. Journalled before the poll is sent.

    Attributes:
        poll: number of the poll.
        leg: stretch of trial with one rhythm; counts from 0 within the session.
        cycle: counts from 0 within the leg; cycle c starts at the leg's start plus c cycle lengths.
        cycle_ns: session time at which the cycle starts.
        slot: the slot drawn, counted from 0.
        slots: equal slots in the cycle.
        slot_ns: length of a slot.
    """

    poll: int
    leg: int
    cycle: int
    cycle_ns: int
    slot: int
    slots: int
    slot_ns: int


def odds_to_one(log10_e: float) -> str:
    """An e-value such as ``430 to 1`` or ``10^7 to 1``: two digits, no more than it deserves.

    Below one, where chance is ahead, it is turned about: ``1 to 3.2``.
    """
    if log10_e >= 6:
        return f"10^{int(log10_e)} to 1"
    if log10_e < 0:
        return f"1 to {_two_digits(10 ** min(-log10_e, 6.0))}"
    return f"{_two_digits(10**log10_e)} to 1"


def _two_digits(value: float) -> str:
    rounded = float(f"{value:.2g}")
    return f"{rounded:.0f}" if rounded >= 10 else f"{rounded:g}"
