"""Many polls at once: columns that grow. A day at five polls a second holds 432 000 of them."""

from __future__ import annotations

from collections.abc import Sequence
from operator import sub
from typing import Any, ClassVar

import numpy as np

from telltick.model.traffic import Ints, Poll, PollOutcome
from telltick.store.long_table import LongTable

_DUE, _WAITED = 1, 2  # places of columns
_NO_REPLY = -1  # a reply never starts before its request has ended
_OUTCOMES = tuple(PollOutcome)
_OUTCOME_AT = {str(outcome): index for index, outcome in enumerate(_OUTCOMES)}


class PollTable(LongTable[Poll]):
    """The polls of a journal in the order written: how each ended."""

    table, fetched = "poll", "number, due_ns, sent_ns, outcome, reply_ns"
    outcome_at: ClassVar[int]  # places of columns
    reply_at: ClassVar[int]

    def reply_ms(self, *shares: float) -> list[float] | None:
        """Times of reply that these shares of the replies do not exceed, as `numpy.percentile` has them.

        Counted from the end of the request to the start of the reply; None without replies.
        """
        reply_ns = np.sort(self._columns[self.reply_at].values)  # as short as it is held
        first = int(np.searchsorted(reply_ns, 0))
        last = len(reply_ns) - first - 1
        if last < 0:
            return None
        told = []
        for at in (share * last for share in shares):
            low = int(at)
            here, there = (float(reply_ns[first + min(rank, last)] / 1e6) for rank in (low, low + 1))
            part = at - low
            told.append(here + (there - here) * part if part < 0.5 else there - (there - here) * (1 - part))
        return told

    def ended_in(self, outcome: PollOutcome) -> int:
        """How many polls had an outcome."""
        return int(np.count_nonzero(self._columns[self.outcome_at].values == _OUTCOMES.index(outcome)))


class PollColumns(PollTable):
    """All that is known of each poll.

    Each takes about twenty bytes: when it was sent is held as the time since it was due.
    """

    width, outcome_at, reply_at = 5, 3, 4

    @property
    def sent_ns(self) -> Ints:
        """Shape (polls,): session time at which each request started on the line."""
        due_ns, waited_ns = self._columns[_DUE].values, self._columns[_WAITED].values
        return np.asarray(due_ns.astype(np.int64) + waited_ns)

    def _numbers(self, rows: Sequence[tuple[Any, ...]]) -> Sequence[Sequence[int]]:
        return _numbers_of(rows)

    def _item(self, *numbers: int) -> Poll:
        number, due_ns, waited_ns, outcome, reply_ns = numbers
        took_ns = None if reply_ns == _NO_REPLY else reply_ns
        return Poll(number, due_ns, due_ns + waited_ns, _OUTCOMES[outcome], took_ns)


class PollEnds(PollTable):
    """No more than how each poll ended, in five bytes: to be counted, not to be looked at one by one."""

    width, outcome_at, reply_at = 2, 0, 1

    def _numbers(self, rows: Sequence[tuple[Any, ...]]) -> Sequence[Sequence[int]]:
        return _numbers_of(rows)[3:]

    def _item(self, *numbers: int) -> Poll:
        raise TypeError("only how polls ended is held of them")


def _numbers_of(rows: Sequence[tuple[Any, ...]]) -> tuple[Sequence[int], ...]:
    """Number, due time, wait, place of the outcome and time of the reply of each poll.

    Raises:
        TypeError, ValueError, KeyError: a row holds something else than it should.
    """
    _, number, due, sent, outcome, reply = zip(*rows, strict=True)
    if {type(value) for column in (number, due, sent) for value in column} != {int}:
        raise TypeError("a poll's number or time is not a whole number")
    if not {*map(type, reply)} <= {int, type(None)}:
        raise TypeError("a poll's time of reply is not a whole number")
    if any(one is not None and one < 0 for one in reply):
        raise ValueError("a reply starts before its request has ended")
    at = [_OUTCOME_AT[word] for word in outcome]
    took = [_NO_REPLY if one is None else one for one in reply]
    return number, due, list(map(sub, sent, due)), at, took
