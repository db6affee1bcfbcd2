"""Many polls at once: columns that grow. A day at five polls a second holds 432 000 of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, overload

import numpy as np

from telltick.model.clock import Floats
from telltick.model.traffic import Ints, Poll, PollOutcome
from telltick.store.readonly import ReadOnlyJournal

_COLUMNS = "number, due_ns, sent_ns, outcome, reply_ns"
_SENT, _OUTCOME, _REPLY = 2, 3, 4
_NO_REPLY = -(1 << 63)  # no time is that long ago
_OUTCOMES = tuple(PollOutcome)
_OUTCOME_AT = {str(outcome): index for index, outcome in enumerate(_OUTCOMES)}
_PAGE = 4096


class PollColumns(Sequence[Poll]):
    """The polls of a journal in the order written; a poll is made when it is asked for."""

    table, since = "poll", 1

    def __init__(self) -> None:
        self._columns = np.zeros((5, 0), dtype=np.int64)
        self._count = 0
        self.last_row = -1  # number of the newest row that was fetched

    def __len__(self) -> int:
        return self._count

    @overload
    def __getitem__(self, index: int) -> Poll: ...

    @overload
    def __getitem__(self, index: slice) -> tuple[Poll, ...]: ...

    def __getitem__(self, index: int | slice) -> Poll | tuple[Poll, ...]:
        if isinstance(index, slice):
            return tuple(map(_poll, *self._columns[:, : self._count][:, index].tolist()))
        return _poll(*self._columns[:, range(self._count)[index]].tolist())

    def __iter__(self) -> Iterator[Poll]:
        for first in range(0, self._count, _PAGE):
            yield from self[first : first + _PAGE]

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Sequence) and tuple(self) == tuple(other)

    __hash__ = None  # type: ignore[assignment]

    @property
    def sent_ns(self) -> Ints:
        """Shape (polls,): session time at which each request started on the line."""
        return self._columns[_SENT, : self._count]

    @property
    def reply_ms(self) -> Floats:
        """Shape (polls with a reply,): end of the request to start of the reply."""
        reply_ns = self._columns[_REPLY, : self._count]
        return np.asarray(reply_ns[reply_ns != _NO_REPLY] / 1e6)

    def ended_in(self, outcome: PollOutcome) -> int:
        """How many polls had an outcome."""
        return int(np.count_nonzero(self._columns[_OUTCOME, : self._count] == _OUTCOMES.index(outcome)))

    def fetch(self, journal: ReadOnlyJournal) -> bool:
        """Fetch what is new; True when something is.

        Raises:
            BadSessionError: the file is damaged.
            TypeError, KeyError: a row holds something else than it should.
        """
        before = self._count
        for page in journal.pages(self.table, _COLUMNS, self.last_row):
            self._extend(page)
            self.last_row = page[-1][0]
        return self._count > before

    def forget(self, first: int) -> None:
        """Let go of the first polls; what is fetched next is not affected."""
        self._columns = self._columns[:, first : self._count].copy()
        self._count = self._columns.shape[1]

    def _extend(self, rows: Sequence[tuple[Any, ...]]) -> None:
        _, number, due, sent, outcome, reply = zip(*rows, strict=True)
        if {type(value) for column in (number, due, sent) for value in column} != {int}:
            raise TypeError("a poll's number or time is not a whole number")
        if not {*map(type, reply)} <= {int, type(None)}:
            raise TypeError("a poll's time of reply is not a whole number")
        at = [_OUTCOME_AT[word] for word in outcome]
        took = [_NO_REPLY if one is None else one for one in reply]
        new = slice(self._count, self._count + len(rows))
        if new.stop > self._columns.shape[1]:
            grown = np.zeros((5, new.stop + new.stop // 4 + 64), dtype=np.int64)
            grown[:, : self._count] = self._columns[:, : self._count]
            self._columns = grown
        self._columns[:, new] = (number, due, sent, at, took)
        self._count = new.stop


def _poll(number: int, due_ns: int, sent_ns: int, outcome: int, reply_ns: int) -> Poll:
    return Poll(number, due_ns, sent_ns, _OUTCOMES[outcome], None if reply_ns == _NO_REPLY else reply_ns)
