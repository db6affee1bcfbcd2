"""Bursts of more than a day stay in the journal: held is only where each page of them lies, and when.

A day at five polls a second brings 864 000 bursts, which take 17 MB: so many are held. Measuring asks for
them a minute at a time, and nearly always in order.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from telltick.model.clock import AudioClock
from telltick.model.columns import Column
from telltick.model.traffic import Gate, Ints
from telltick.store.bursts import BurstColumns, BurstRow

MOST_HELD = 900_000  # a day of them
PAGE = 4096  # bursts; pages shorter than this grow
_AHEAD = 8  # pages that are fetched at once: most of an hour
Fetch = Callable[[BurstColumns, int, int], None]
"""Appends bursts of the journal from one row number to another, both included."""


class BurstsOnDisk:
    """The bursts of a journal, of which a gate can be made."""

    def __init__(self, fetch: Fetch) -> None:
        """Begin.

        Args:
            fetch: reads bursts; what it raises is passed on.
        """
        self._fetch = fetch
        self._pages = Column(np.zeros((0, 4), dtype=np.int64))  # first row, last row, start_ns, end_ns
        self._count = self._in_last = 0
        self.newest_start_ns = 0
        self._held = BurstColumns()
        self._holds: Ints = np.zeros(0, dtype=np.int64)  # pages

    def __len__(self) -> int:
        return self._count

    def extend(self, rows: Sequence[BurstRow]) -> None:
        """Look at bursts, once and in order.

        Raises:
            TypeError, ValueError, KeyError: a row holds something else than it should.
        """
        if not rows:
            return
        self._take_in(rows)
        page_ns = [min(row[1] for row in rows), max(row[2] for row in rows)]
        if 0 < self._in_last < PAGE:
            first, _, start_ns, end_ns = self._pages.values[-1].tolist()
            self._pages.keep(slice(0, -1))
            page_ns = [min(start_ns, page_ns[0]), max(end_ns, page_ns[1])]
        else:
            first, self._in_last = rows[0][0], 0
        self._pages.extend(np.array([[first, rows[-1][0], *page_ns]], dtype=np.int64))
        self._in_last += len(rows)
        self.newest_start_ns = rows[-1][1]

    def _take_in(self, rows: Sequence[BurstRow]) -> None:
        """Hold bursts as long as they are not too many; find fault with them in any case."""
        if self._count + len(rows) > MOST_HELD:
            self._held, self._holds = BurstColumns(), self._holds[:0]
        self._held.extend(rows)
        self._count += len(rows)
        if self._count > MOST_HELD:
            self._held = BurstColumns()

    def gate(
        self,
        clock: AudioClock,
        start_ns: int | None = None,
        end_ns: int | None = None,
        *,
        texts: bool = True,
    ) -> Gate:
        """The same as `BurstColumns.gate`."""
        begins, ends = self._pages.values[:, 2], self._pages.values[:, 3]
        near = np.ones(len(begins), dtype=np.bool_)
        if start_ns is not None:
            near &= ends >= start_ns
        if end_ns is not None:
            near &= begins < end_ns
        self._hold(np.flatnonzero(near))
        return self._held.gate(clock, start_ns, end_ns, texts=texts)

    def _hold(self, pages: Ints) -> None:
        """Have at least these pages in memory."""
        if self._count <= MOST_HELD or np.isin(pages, self._holds).all():
            return
        ahead = np.arange(pages[-1] + 1, min(pages[0] + _AHEAD, len(self._pages)))
        self._holds, self._held = self._holds[:0], BurstColumns()
        wanted = np.concatenate([pages, ahead])
        for first, last in self._pages.values[wanted, :2].tolist():
            self._fetch(self._held, first, last)
        self._holds = wanted
