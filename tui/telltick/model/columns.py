"""Columns of numbers that grow, in little memory."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

Numbers = npt.NDArray[Any]
_WHOLE = (np.int8, np.int16, np.int32, np.int64)
_REACH = {np.dtype(kind): (int(np.iinfo(kind).min), int(np.iinfo(kind).max)) for kind in _WHOLE}


class Column:
    """Numbers, or rows of numbers, that come in pieces; each piece is copied once and need not be kept.

    What was handed out before stays as it is when the column grows. Room for what is still to come takes no
    memory until it is used.
    """

    def __init__(self, first: Numbers) -> None:
        """Begin with a first piece, whose kind of numbers and width the column takes on."""
        self._held = np.zeros((0, *first.shape[1:]), dtype=first.dtype)
        self._count = 0
        self.extend(first)

    def __len__(self) -> int:
        return self._count

    @property
    def values(self) -> Numbers:
        """All of them so far; what is here is not to be written to."""
        return self._held[: self._count]

    def extend(self, piece: Numbers) -> None:
        """Append a piece; the column takes on a longer kind of numbers where the piece needs it."""
        dtype = np.promote_types(self._held.dtype, piece.dtype)
        until = self._count + len(piece)
        if until > len(self._held) or dtype != self._held.dtype:
            grown = np.empty((until + until // 4 + 64, *self._held.shape[1:]), dtype=dtype)
            grown[: self._count] = self.values
            self._held = grown
        self._held[self._count : until] = piece
        self._count = until

    def extend_by_few(self, numbers: Sequence[int]) -> None:
        """Append whole numbers, at least one; in a tenth of the time where room and kind of numbers serve."""
        until = self._count + len(numbers)
        low, high = _REACH.get(self._held.dtype, (0, -1))
        if until <= len(self._held) and low <= min(numbers) and max(numbers) <= high:
            self._held[self._count : until] = numbers
            self._count = until
        else:
            self.extend(shortest(np.array(numbers, dtype=np.int64)))

    def keep(self, chosen: slice | npt.NDArray[np.bool_]) -> None:
        """Hold on to some of them only."""
        self._held = self.values[chosen].copy()
        self._count = len(self._held)


def shortest(numbers: npt.NDArray[np.int64]) -> Numbers:
    """Whole numbers in the shortest signed kind that holds them all."""
    low, high = int(numbers.min(initial=0)), int(numbers.max(initial=0))
    fits = (kind for kind in _WHOLE if np.iinfo(kind).min <= low and high <= np.iinfo(kind).max)
    return numbers.astype(next(fits))
