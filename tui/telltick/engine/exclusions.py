"""Which cycles of a coin trial do not count: rules that cannot know the draw."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from telltick.engine.draws import Leg
from telltick.model.marks import Mark, MarkKind, Origin
from telltick.model.trial import FACTOR
from telltick.store.session import SessionReader

ENDS_A_LEG = {FACTOR, "polling", "poll interval", "baud"}


class Exclusions:
    """Hands-on times and the ends of legs, as the marks of a session have them."""

    def __init__(self, reader: SessionReader) -> None:
        self._reader = reader
        self.forget()

    def forget(self) -> None:
        """Begin anew: no cycle has been judged."""
        self._judged: tuple[int, list[tuple[int, int]]] = (0, [])  # up to when, and the hands-on times then

    def end_of_leg(self, leg: Leg, following: Leg | None) -> float:
        """Session time at which a leg ended; infinite while it goes on."""
        last_ns = leg.origin_ns + leg.polled[-1] * leg.cycle_ns
        ends = [] if following is None else [float(following.origin_ns)]
        if self._reader.ending is not None:
            ends.append(float(self._reader.ending.t_ns))
        ends += [
            float(mark.t_ns)
            for mark in self._reader.marks
            if mark.origin is Origin.PROGRAM and mark.factor in ENDS_A_LEG and mark.t_ns > last_ns
        ]
        return min(ends, default=np.inf)

    def hands_on(
        self, begin_ns: npt.NDArray[np.int64], end_ns: npt.NDArray[np.int64]
    ) -> npt.NDArray[np.bool_]:
        """Shape (cycles,): whether hands were on the bench in some part of each cycle."""
        out = np.zeros(len(begin_ns), dtype=bool)
        for from_ns, until_ns in self._hands_on_times():
            out |= (begin_ns <= until_ns) & (end_ns > from_ns)
        return out

    def open_mark_ns(self) -> float:
        """Cycles from here on wait until the operator confirms the change, or withdraws it."""
        return min((one.t_ns for one in self._changes() if self._settled_ns(one) is None), default=np.inf)

    def judge(self, until_ns: int) -> None:
        """Remember that cycles up to a session time were judged by the marks as they are now."""
        until_ns = max(until_ns, self._judged[0])
        self._judged = until_ns, self._times_before(until_ns)

    def changed(self) -> bool:
        """Was a mark withdrawn, restated or brought back among cycles that have been judged?"""
        until_ns, then = self._judged
        return then != self._times_before(until_ns)

    def _times_before(self, until_ns: int) -> list[tuple[int, int]]:
        return [one for one in self._hands_on_times() if one[0] < until_ns]

    def _hands_on_times(self) -> list[tuple[int, int]]:
        spans = ((mark.t_ns, self._settled_ns(mark)) for mark in self._changes())
        return [(from_ns, until_ns) for from_ns, until_ns in spans if until_ns is not None]

    def _settled_ns(self, mark: Mark) -> int | None:
        """When hands were off again, at the latest when the session ended; None while they may not be."""
        ending = self._reader.ending
        return mark.settled_ns if mark.settled_ns is not None or ending is None else ending.t_ns

    def _changes(self) -> Iterator[Mark]:
        for mark in self._reader.marks:
            if mark.kind is MarkKind.CHANGE and mark.origin is Origin.OPERATOR and not mark.late:
                yield mark
