"""The anchors of the audio clock: one comes each second, a day holds 86 400 of them."""

from __future__ import annotations

from collections.abc import Sequence
from operator import sub
from typing import Any

import numpy as np

from telltick.model.clock import Anchor
from telltick.store.long_table import LongTable

_RUN, _SAMPLE, _TIME = 0, 1, 2  # places of columns


class AnchorColumns(LongTable[Anchor]):
    """The anchors of a journal in the order written.

    Each takes about twenty bytes: by how far the wall clock is ahead of session time is held as its change
    since the first.
    """

    table, fetched, width = "anchor", "run, sample, t_ns, wall_ns", 4

    def __init__(self) -> None:
        super().__init__()
        self._ahead_ns: int | None = None

    @property
    def newest_ns(self) -> int:
        """Session time of the one written last; 0 without any."""
        return int(self._columns[_TIME].values[-1]) if len(self) else 0

    def check(self, first: int) -> None:
        """Refuse anchors from number `first` on from which no audio could have come.

        Raises:
            ValueError: one lies before the first sample, or before the one written before it.
        """
        for column in self._columns[_RUN], self._columns[_SAMPLE]:
            values = column.values[max(first - 1, 0) :]
            if np.any(values[1:] < values[:-1]):
                raise ValueError("the audio clock runs backwards")
        if self._columns[_SAMPLE].values[0] < 0:
            raise ValueError("the audio clock is tied to a sample before the first")

    def _numbers(self, rows: Sequence[tuple[Any, ...]]) -> Sequence[Sequence[int]]:
        _, run, sample, t_ns, wall_ns = zip(*rows, strict=True)
        if {type(value) for column in (run, sample, t_ns, wall_ns) for value in column} != {int}:
            raise TypeError("a number of an anchor is not a whole number")
        if self._ahead_ns is None:
            self._ahead_ns = wall_ns[0] - t_ns[0]
        ahead = [ahead_ns - self._ahead_ns for ahead_ns in map(sub, wall_ns, t_ns)]
        return run, sample, t_ns, ahead

    def _item(self, *numbers: int) -> Anchor:
        run, sample, t_ns, ahead_ns = numbers
        return Anchor(run, sample, t_ns, t_ns + (self._ahead_ns or 0) + ahead_ns)
