"""Many polls at once: columns that grow. A day at five polls a second holds 432 000 of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from operator import sub
from typing import Any, overload

import numpy as np

from telltick.model.clock import Floats
from telltick.model.columns import Column
from telltick.model.traffic import Ints, Poll, PollOutcome
from telltick.store.readonly import ReadOnlyJournal

_COLUMNS = "number, due_ns, sent_ns, outcome, reply_ns"
_DUE, _WAITED, _OUTCOME, _REPLY, _WIDTH = 1, 2, 3, 4, 5
_NO_REPLY = -1  # a reply never starts before its request has ended
_OUTCOMES = tuple(PollOutcome)
_OUTCOME_AT = {str(outcome): index for index, outcome in enumerate(_OUTCOMES)}
_PAGE = 4096


class PollColumns(Sequence[Poll]):
    """The polls of a journal in the order written; a poll is made when it is asked for.

    Each takes about twenty bytes: when it was sent is held as the time since it was due.
    """

    table, since = "poll", 1

    def __init__(self) -> None:
        self._columns = [Column(np.zeros(0, dtype=np.int8)) for _ in range(_WIDTH)]
        self.last_row = -1  # number of the newest row that was fetched

    def __len__(self) -> int:
        return len(self._columns[0])

    @overload
    def __getitem__(self, index: int) -> Poll: ...

    @overload
    def __getitem__(self, index: slice) -> tuple[Poll, ...]: ...

    def __getitem__(self, index: int | slice) -> Poll | tuple[Poll, ...]:
        if isinstance(index, slice):
            some = (column.values[index].tolist() for column in self._columns)
            return tuple(map(_poll, *some))
        return _poll(*(int(column.values[index]) for column in self._columns))

    def __iter__(self) -> Iterator[Poll]:
        for first in range(0, len(self), _PAGE):
            yield from self[first : first + _PAGE]

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Sequence) and tuple(self) == tuple(other)

    __hash__ = None  # type: ignore[assignment]

    @property
    def sent_ns(self) -> Ints:
        """Shape (polls,): session time at which each request started on the line."""
        due_ns, waited_ns = self._columns[_DUE].values, self._columns[_WAITED].values
        return np.asarray(due_ns.astype(np.int64) + waited_ns)

    @property
    def reply_ms(self) -> Floats:
        """Shape (polls with a reply,): end of the request to start of the reply."""
        reply_ns = self._columns[_REPLY].values
        return np.asarray(reply_ns[reply_ns != _NO_REPLY] / 1e6)

    def ended_in(self, outcome: PollOutcome) -> int:
        """How many polls had an outcome."""
        return int(np.count_nonzero(self._columns[_OUTCOME].values == _OUTCOMES.index(outcome)))

    def fetch(self, journal: ReadOnlyJournal) -> bool:
        """Fetch what is new; True when something is.

        Raises:
            BadSessionError: the file is damaged.
            TypeError, KeyError: a row holds something else than it should.
        """
        before = len(self)
        for page in journal.pages(self.table, _COLUMNS, self.last_row):
            self._extend(page)
            self.last_row = page[-1][0]
        return len(self) > before

    def forget(self, first: int) -> None:
        """Let go of the first polls; what is fetched next is not affected."""
        for column in self._columns:
            column.keep(slice(first, None))

    def _extend(self, rows: Sequence[tuple[Any, ...]]) -> None:
        _, number, due, sent, outcome, reply = zip(*rows, strict=True)
        if {type(value) for column in (number, due, sent) for value in column} != {int}:
            raise TypeError("a poll's number or time is not a whole number")
        if not {*map(type, reply)} <= {int, type(None)}:
            raise TypeError("a poll's time of reply is not a whole number")
        if any(one is not None and one < 0 for one in reply):
            raise ValueError("a reply starts before its request has ended")
        at = [_OUTCOME_AT[word] for word in outcome]
        took = [_NO_REPLY if one is None else one for one in reply]
        waited = list(map(sub, sent, due))
        for column, new in zip(self._columns, (number, due, waited, at, took), strict=True):
            column.extend_by_few(new)


def _poll(number: int, due_ns: int, waited_ns: int, outcome: int, reply_ns: int) -> Poll:
    took_ns = None if reply_ns == _NO_REPLY else reply_ns
    return Poll(number, due_ns, due_ns + waited_ns, _OUTCOMES[outcome], took_ns)
