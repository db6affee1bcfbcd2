"""A table of the journal with very many rows, held as columns of numbers; an item is made when asked for."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterator, Sequence
from typing import Any, ClassVar, TypeVar, overload

import numpy as np
import numpy.typing as npt

from telltick.model.columns import Column
from telltick.store.readonly import ReadOnlyJournal

T = TypeVar("T")
_PAGE = 4096


class LongTable(Sequence[T]):
    """The rows of a table in the order written."""

    table: ClassVar[str]
    fetched: ClassVar[str]  # names of its columns
    width: ClassVar[int]  # numbers that an item is held as
    since = 1  # the schema version that brought the table

    def __init__(self) -> None:
        self._columns = [Column(np.zeros(0, dtype=np.int8)) for _ in range(self.width)]
        self.last_row = -1  # number of the newest row that was fetched

    @abstractmethod
    def _numbers(self, rows: Sequence[tuple[Any, ...]]) -> Sequence[Sequence[int]]:
        """Columns of numbers from rows of the journal, the row's number first.

        Raises:
            TypeError, ValueError, KeyError: a row holds something else than it should.
        """

    @abstractmethod
    def _item(self, *numbers: int) -> T:
        """An item from its numbers."""

    def __len__(self) -> int:
        return len(self._columns[0])

    @overload
    def __getitem__(self, index: int) -> T: ...

    @overload
    def __getitem__(self, index: slice) -> tuple[T, ...]: ...

    def __getitem__(self, index: int | slice) -> T | tuple[T, ...]:
        if isinstance(index, slice):
            some = (column.values[index].tolist() for column in self._columns)
            return tuple(map(self._item, *some))
        return self._item(*(int(column.values[index]) for column in self._columns))

    def __iter__(self) -> Iterator[T]:
        for first in range(0, len(self), _PAGE):
            yield from self[first : first + _PAGE]

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Sequence) and tuple(self) == tuple(other)

    __hash__ = None  # type: ignore[assignment]

    def fetch(self, journal: ReadOnlyJournal) -> bool:
        """Fetch what is new; True when something is.

        Raises:
            BadSessionError: the file is damaged.
            TypeError, ValueError, KeyError, OverflowError: a row holds something else than it should.
        """
        before = len(self)
        for page in journal.pages(self.table, self.fetched, self.last_row):
            for column, new in zip(self._columns, self._numbers(page), strict=True):
                column.extend_by_few(new)
            self.last_row = page[-1][0]
        return len(self) > before

    def keep(self, chosen: slice | npt.NDArray[np.bool_]) -> None:
        """Hold on to some of the items only; what is fetched next is not affected."""
        for column in self._columns:
            column.keep(chosen)
