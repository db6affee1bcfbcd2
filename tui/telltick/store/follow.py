"""Tables of the journal as growing tuples of model objects."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Generic, TypeVar

import msgspec

from telltick.model.text import plain_text
from telltick.store.readonly import ReadOnlyJournal

T = TypeVar("T")
Row = dict[str, Any]

TEXT_LIMIT = 200
NOTE_LIMIT = 2_000


class Follower(Generic[T]):
    """One table, fetched row by row as it grows.

    Values from the file are checked against the types of the model class whose fields the columns name.
    """

    def __init__(
        self, kind: type[T], columns: str, table: str, prepare: Callable[[Row], Row] | None = None
    ) -> None:
        """Follow a table.

        Args:
            kind: the model class of one row.
            columns: the columns to fetch, named as the fields of `kind`.
            table: the table.
            prepare: turns a row into the fields of `kind`; None takes it as it is.
        """
        self._kind = kind
        self._names = [word.strip() for word in columns.split(",")]
        self._query = f"SELECT rowid, {columns} FROM {table} WHERE rowid > ? ORDER BY rowid"
        self._prepare = prepare
        self._rowids: list[int] = []
        self._items: list[T] = []
        self._frozen: tuple[T, ...] = ()

    @property
    def items(self) -> tuple[T, ...]:
        """Every row so far, in the order written."""
        if len(self._frozen) != len(self._items):
            self._frozen = tuple(self._items)
        return self._frozen

    def fetch(self, journal: ReadOnlyJournal) -> bool:
        """Fetch what is new; True when something is.

        Raises:
            BadSessionError: the file is damaged.
            msgspec.ValidationError: a value is not of its column's type.
        """
        found = journal.rows(self._query, self._rowids[-1] if self._rowids else -1)
        rows = [dict(zip(self._names, row[1:], strict=True)) for row in found]
        if self._prepare is not None:
            rows = [self._prepare(row) for row in rows]
        self._items += msgspec.convert(rows, list[self._kind])  # type: ignore[name-defined]
        self._rowids += [row[0] for row in found]
        return bool(found)

    def forget_from(self, unfinished: Callable[[T], bool]) -> None:
        """Fetch the first unfinished row, and those after it, anew next time."""
        first = next((i for i, item in enumerate(self._items) if unfinished(item)), len(self._items))
        del self._items[first:], self._rowids[first:]
        self._frozen = ()


def clean(row: Row) -> Row:
    """A row whose text holds nothing but printable characters."""
    return {
        name: plain_text(value, NOTE_LIMIT if name == "note" else TEXT_LIMIT)
        if isinstance(value, str)
        else value
        for name, value in row.items()
    }


def clean_deep(value: Any) -> Any:
    """The same for JSON values of any depth."""
    if isinstance(value, str):
        return plain_text(value, TEXT_LIMIT)
    if isinstance(value, Mapping):
        return {plain_text(str(key), TEXT_LIMIT): clean_deep(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [clean_deep(inner) for inner in value]
    return value
