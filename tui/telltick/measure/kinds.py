"""Which frames hold bytes, and which are clear enough of them: to be compared with, and to tell the floor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from telltick.measure.frames import FrameSpec
from telltick.measure.gating import GUARD_S, RIM_S, gate_share, merged, polls_with_guard, touches
from telltick.model.clock import Floats
from telltick.model.traffic import Gate, Ints

Flags = npt.NDArray[np.bool_]

QUIET, ACTIVE, BETWEEN = 0, 1, 2
FLOOR_GUARD_S = 0.004  # jitter of 2 ms seldom carries bytes across, and a Hann window hardly hears its ends
CLOSE_GUARD_S = -0.001  # around weak polls: of these the little that comes across is nothing


def kinds_of(frames: Ints, spec: FrameSpec, gate: Gate) -> tuple[npt.NDArray[np.int8], Floats]:
    """Shape (frames,) each: quiet, active, or in the silence inside a poll; and the gate share."""
    from_s, to_s = _times(frames, spec)
    bursts = merged(gate.start_s, gate.end_s)
    near = merged(gate.start_s - GUARD_S, gate.end_s + GUARD_S)
    kinds = np.full(len(frames), QUIET, dtype=np.int8)
    guarded = touches(from_s, to_s, *polls_with_guard(gate, spec.length_s))
    kinds[guarded] = BETWEEN
    kinds[guarded & touches(from_s, to_s, *near)] = ACTIVE
    return kinds, gate_share(from_s, spec.length_s, *bursts)


@dataclass(frozen=True)
class FloorFrames:
    """Frames that tell the floor; shape (frames,) each.

    Attributes:
        quiet: clear of every poll.
        rim: quiet, and within 20 ms of a poll.
        close: not as clear: they tell the floor beside weak polls.
    """

    quiet: Flags
    rim: Flags
    close: Flags


def floor_frames(frames: Ints, spec: FrameSpec, gate: Gate) -> FloorFrames:
    """Which frames tell the floor.

    The weaker interference is, the nearer frames may come to it, and the better the floor is known: above all
    between close polls, where a guard of 8 ms leaves next to nothing.
    """
    from_s, to_s = _times(frames, spec)
    quiet = ~touches(from_s, to_s, *polls_with_guard(gate, spec.length_s, FLOOR_GUARD_S))
    polls, rim = (
        merged(gate.poll_start_s - reach_s, gate.poll_end_s + reach_s) for reach_s in (CLOSE_GUARD_S, RIM_S)
    )
    return FloorFrames(
        quiet, quiet & touches(from_s, to_s, *rim), np.asarray(~quiet & ~touches(from_s, to_s, *polls))
    )


def _times(frames: Ints, spec: FrameSpec) -> tuple[Floats, Floats]:
    """Start and end of frames, in seconds of audio."""
    from_s = np.asarray(frames * spec.hop / spec.rate_hz, dtype=np.float64)
    return from_s, from_s + spec.length_s
