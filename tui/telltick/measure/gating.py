"""Which frames belong to which poll, and how much of each frame is filled with bytes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from telltick.model.clock import Floats
from telltick.model.traffic import Gate, Ints

LEAST_GUARD_S = 0.003  # and so much where polls lie so close that no quiet would be left
GUARD_S = 0.008  # audio rings on after the bytes and poll timing jitters: keep this much clear on both sides
RIM_S = 0.020  # a steep filter may ring so long into the quiet, faintly
REACH_S = 1.0  # quiet time on each side of a poll that belongs to it
IDLE = -1  # poll number of a row without a poll


@dataclass(frozen=True)
class Spans:
    """Time cut into rows: one per poll, one per second without polls. Sorted by start, never overlapping.

    Attributes:
        start_s: shape (rows,).
        end_s: shape (rows,).
        poll: shape (rows,), poll number within the gate, or `IDLE`.
    """

    start_s: Floats
    end_s: Floats
    poll: Ints


def row_spans(gate: Gate, start_s: float, end_s: float) -> Spans:
    """Rows that lie wholly within [start_s, end_s) and can no longer change when more polls become known.

    A poll's row reaches `REACH_S` to either side, or half way to the neighbouring poll. The time that is left
    is cut at whole seconds of audio. The gate must also hold the polls next to the span.
    """
    first, last = gate.poll_start_s, np.maximum.accumulate(gate.poll_end_s)
    half_way = (last[:-1] + first[1:]) / 2
    left = np.maximum(first - REACH_S, np.concatenate([[-np.inf], half_way]))
    right = np.minimum(last + REACH_S, np.concatenate([half_way, [np.inf]]))
    # The last poll known may have a successor still to come; one that starts later than this cannot matter.
    settled = np.concatenate([np.ones(len(half_way), dtype=bool), last[-1:] + 2 * REACH_S <= end_s])
    polls = Spans(left[settled], right[settled], np.flatnonzero(settled))
    idle = _idle_spans(left, right, start_s, end_s - REACH_S)
    return _sorted_within(polls, idle, start_s, end_s)


def _idle_spans(left: Floats, right: Floats, start_s: float, end_s: float) -> Spans:
    """Whole seconds, less the polls' rows."""
    edges = np.arange(np.floor(start_s), np.floor(end_s) + 1)
    cuts = np.union1d(edges, np.concatenate([left, right]))
    cuts = cuts[(cuts >= start_s) & (cuts <= end_s)]
    middle = (cuts[:-1] + cuts[1:]) / 2
    taken = np.searchsorted(left, middle, side="right") - np.searchsorted(right, middle, side="right") > 0
    free = ~taken & (np.diff(cuts) > GUARD_S)
    return Spans(cuts[:-1][free], cuts[1:][free], np.full(int(free.sum()), IDLE))


def _sorted_within(a: Spans, b: Spans, start_s: float, end_s: float) -> Spans:
    start = np.concatenate([a.start_s, b.start_s])
    end = np.concatenate([a.end_s, b.end_s])
    poll = np.concatenate([a.poll, b.poll]).astype(np.int64)
    order = np.argsort(start, kind="stable")
    order = order[(start[order] >= start_s) & (end[order] <= end_s)]
    return Spans(start[order], end[order], poll[order])


def merged(start_s: Floats, end_s: Floats) -> tuple[Floats, Floats]:
    """Union of intervals (sorted by start) as disjoint intervals."""
    if not len(start_s):
        return start_s, end_s
    reach = np.maximum.accumulate(end_s)
    begins = np.append(True, start_s[1:] > reach[:-1])
    return start_s[begins], reach[np.append(np.flatnonzero(begins)[1:] - 1, len(reach) - 1)]


def polls_with_guard(gate: Gate, frame_s: float, guard_s: float = GUARD_S) -> tuple[Floats, Floats]:
    """Disjoint intervals that no quiet frame may touch: the polls with a guard on both sides.

    Where two polls lie so close that not two frames would fit between them, the guard yields down to 3 ms: a
    Hann window hardly hears its ends, so that jitter of 2 ms brings about 1e-5 of a burst into a frame.
    """
    gap_s = gate.poll_start_s[1:] - np.maximum.accumulate(gate.poll_end_s)[:-1]
    between = np.clip((gap_s - 1.5 * frame_s) / 2, LEAST_GUARD_S, guard_s)
    before, after = np.append(guard_s, between)[: gate.polls], np.append(between, guard_s)[: gate.polls]
    start_s = np.minimum.accumulate((gate.poll_start_s - before)[::-1])[::-1]
    return merged(start_s, gate.poll_end_s + after)


def touches(from_s: Floats, to_s: Floats, start_s: Floats, end_s: Floats) -> npt.NDArray[np.bool_]:
    """True where [from_s, to_s] meets one of the disjoint, sorted intervals [start_s, end_s]."""
    passed = np.searchsorted(end_s, from_s, side="right")
    begun = np.searchsorted(start_s, to_s, side="left")
    return np.asarray(begun > passed)


def gate_share(from_s: Floats, length_s: float, start_s: Floats, end_s: Floats) -> Floats:
    """Share of each frame's energy that falls into the gate, for steady power.

    ``o = sum w^2 g / sum w^2`` with Hann window w and gate g, in closed form.

    Args:
        from_s: shape (frames,), start of each frame.
        length_s: length of a frame.
        start_s: starts of disjoint, sorted intervals.
        end_s: their ends.
    """
    first = np.searchsorted(end_s, from_s, side="right")
    count = np.searchsorted(start_s, from_s + length_s, side="left") - first
    share = np.zeros(len(from_s))
    for step in range(int(count.max(initial=0))):
        rows = np.flatnonzero(count > step)
        burst = first[rows] + step
        into = _hann_energy((end_s[burst] - from_s[rows]) / length_s)
        share[rows] += into - _hann_energy((start_s[burst] - from_s[rows]) / length_s)
    return share


def _hann_energy(x: Floats) -> Floats:
    """Share of a Hann window's energy up to x (0 to 1): integral of sin^4(pi x), normalised."""
    x = np.clip(x, 0.0, 1.0)
    return np.asarray(x - np.sin(2 * np.pi * x) * 2 / (3 * np.pi) + np.sin(4 * np.pi * x) / (12 * np.pi))
