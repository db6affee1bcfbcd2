"""Tables of the journal as growing tuples of model objects."""

from __future__ import annotations

from array import array
from collections.abc import Callable, Mapping, Sequence
from itertools import compress
from typing import Any, Generic, TypeVar

import msgspec

from telltick.model.session import Verb
from telltick.model.text import plain_text
from telltick.store.readonly import ReadOnlyJournal

T = TypeVar("T")
Row = dict[str, Any]

TEXT_LIMIT = 200
NOTE_LIMIT = 2_000


class Follower(Generic[T]):
    """One table, fetched row by row as it grows."""

    def __init__(
        self,
        table: str,
        columns: str,
        convert: Callable[[list[tuple[Any, ...]]], list[T]],
        since: int = 1,
    ) -> None:
        """Follow a table.

        Args:
            table: the table.
            columns: the columns to fetch.
            convert: makes model objects of rows, each a row number and the columns;
                raises ValueError, TypeError, KeyError or msgspec.ValidationError when a value is not what
                its column should hold.
            since: the schema version that brought the table.
        """
        self.since = since
        self.table = table
        self._columns = columns
        self._convert = convert
        self._rowids = array(
            "q"
        )  # a day has half a million polls: a list of numbers takes five times as much
        self._items: list[T] = []
        self._frozen: tuple[T, ...] = ()

    @property
    def items(self) -> tuple[T, ...]:
        """Every row so far, in the order written."""
        if len(self._frozen) != len(self._items):
            self._frozen = tuple(self._items)
        return self._frozen

    @property
    def last_row(self) -> int:
        """Number of the newest row that is held; -1 without any."""
        return self._rowids[-1] if self._rowids else -1

    def fetch(self, journal: ReadOnlyJournal) -> bool:
        """Fetch what is new; True when something is.

        Raises:
            BadSessionError: the file is damaged.
        """
        before = len(self._items)
        for page in journal.pages(self.table, self._columns, self.last_row):
            self._items += self._convert(page)
            self._rowids.extend(row[0] for row in page)
        return len(self._items) > before

    def keep(self, chosen: Sequence[bool]) -> None:
        """Hold on to some of the items only; what is fetched next is not affected.

        Args:
            chosen: one for each item; the last must be true.
        """
        self._items = list(compress(self._items, chosen))
        self._rowids = array("q", compress(self._rowids, chosen))
        self._frozen = ()

    def forget_from(self, unfinished: Callable[[T], bool]) -> None:
        """Fetch the first unfinished row, and those after it, anew next time."""
        first = next((i for i, item in enumerate(self._items) if unfinished(item)), len(self._items))
        if first < len(self._items):
            del self._items[first:], self._rowids[first:]
            self._frozen = ()


def following(
    kind: type[T],
    table: str,
    columns: str,
    prepare: Callable[[Row], Row] | None = None,
    since: int = 1,
) -> Follower[T]:
    """Follow a table whose columns are named as the fields of a model class.

    Args:
        kind: the model class of one row; values are checked against the types of its fields.
        table: the table.
        columns: the columns to fetch.
        prepare: turns a row into the fields of `kind`; None makes its text harmless.
        since: the schema version that brought the table.
    """
    names = [word.strip() for word in columns.split(",")]
    ready = prepare or clean

    def convert(rows: Sequence[tuple[Any, ...]]) -> list[T]:
        return [msgspec.convert(ready(dict(zip(names, row[1:], strict=True))), kind) for row in rows]

    return Follower(table, columns, convert, since)


def request_row(row: Row) -> Row:
    """A request whose verb nobody here knows says so, and the word becomes its value."""
    verb = row["verb"]
    if verb in {str(known) for known in Verb}:
        return clean(row)
    return clean({**row, "verb": str(Verb.UNKNOWN), "value": str(verb)})


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
