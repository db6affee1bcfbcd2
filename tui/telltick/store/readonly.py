"""Reading a journal without changing it, whoever wrote it and whatever state it was left in."""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any
from urllib.parse import quote

from telltick.model.errors import BadSessionError, StorageError
from telltick.model.text import plain_text
from telltick.store.folder import JOURNAL_NAME
from telltick.store.schema import LONGEST_VALUE, check_schema, version_of

DAMAGE = (sqlite3.Error, OSError, UnicodeError)  # what reading a damaged database may raise
_BUSY_S = 5.0
_PAGE = 4096  # rows
_COMPANIONS = ("-wal", "-journal")  # what a killed writer may leave beside the database
_GRAIN_NS = 12_000_000  # file times tick this coarsely: a log written just now may change and look the same
_TRUST_S = 1.0  # and on some disks coarser still


class ReadOnlyJournal:
    """A read-only connection to a session's journal. Every read ends its own transaction at once."""

    def __init__(self, folder: Path) -> None:
        """Open and check the journal.

        Raises:
            BadSessionError: it is not ours, newer, damaged or unreadable.
        """
        self._folder = folder
        self._copy: tempfile.TemporaryDirectory[str] | None = None
        with self._damage_explained():
            try:
                self._db = _connect(folder / JOURNAL_NAME, str(folder))
            except sqlite3.OperationalError:
                # A write-ahead log left over in a place that cannot be written is recovered in a copy.
                self._db = self._connect_copy()
        self._seen: int | None = None
        self._log_path = str(folder / f"{JOURNAL_NAME}-wal")
        self._log: tuple[int, ...] | None = (
            None  # inode, size and time of the log, where they can be relied on
        )
        self._trusted_until_s = 0.0
        self._tell: Callable[[float], object] | None = None
        self._read_rows, self._rows_there = 0, 1

    def close(self) -> None:
        """Let go of the journal."""
        self._db.close()
        if self._copy is not None:
            self._copy.cleanup()
            self._copy = None

    def changed(self) -> bool:
        """Whether anybody may have written since the last call; True the first time. Takes microseconds.

        Writers append to the log or write it anew, so its size and time tell without a query. Where there is
        no log, SQLite is asked.
        """
        try:
            log = os.stat(self._log_path)  # noqa: PTH116 - ten times a second
        except OSError:
            self._log = None
            return self._has_new_version()
        stamp = (log.st_ino, log.st_size, log.st_mtime_ns)
        now_s = time.monotonic()
        if stamp == self._log and now_s < self._trusted_until_s:
            return False
        self._log = stamp if abs(time.time_ns() - log.st_mtime_ns) > _GRAIN_NS else None
        self._seen, self._trusted_until_s = None, now_s + _TRUST_S
        return True

    def _has_new_version(self) -> bool:
        with self._damage_explained():
            version = int(self._db.execute("PRAGMA data_version").fetchone()[0])
        changed, self._seen = version != self._seen, version
        return changed

    def version(self) -> int:
        """Schema version of the journal; a live session's may rise when a newer program opens it to write."""
        with self._damage_explained():
            return version_of(self._db)

    def rows(self, query: str, *values: int) -> list[tuple[Any, ...]]:
        """All rows of a query.

        Raises:
            BadSessionError: the file is damaged.
        """
        with self._damage_explained():
            return self._db.execute(query, values).fetchall()

    def pages(self, table: str, columns: str, after: int) -> Iterator[list[tuple[Any, ...]]]:
        """Rows of a table added after row `after`, a page at a time; the row number comes first in each.

        Each page is a transaction of its own, so that a long table never keeps the writer's log
        from shrinking.

        Raises:
            BadSessionError: the file is damaged.
        """
        query = f"SELECT rowid, {columns} FROM {table} WHERE rowid > ? ORDER BY rowid LIMIT {_PAGE}"
        while page := self.rows(query, after):
            numbers = [after, *(row[0] for row in page)]
            if any(a >= b for a, b in pairwise(numbers)):  # a damaged tree may lead in circles for ever
                raise BadSessionError(
                    f"the journal of {self._folder} is damaged; take a fresh copy of the session"
                )
            yield page
            after = numbers[-1]
            if self._tell is not None:
                self._read_rows += len(page)
                self._tell(min(self._read_rows / self._rows_there, 1.0))
            if len(page) < _PAGE:
                return

    def last_rows(self, tables: Sequence[str]) -> tuple[int, ...]:
        """Number of the last row of each table, -1 for an empty one, as in `Follower.last_row`.

        Raises:
            BadSessionError: the file is damaged.
        """
        numbers = self.rows(f"SELECT {', '.join(f'(SELECT max(rowid) FROM {table})' for table in tables)}")[0]
        return tuple(-1 if number is None else number for number in numbers)

    def tell_of(self, tables: Sequence[str], tell: Callable[[float], object]) -> None:
        """Tell from now on which share of what these tables hold now has been read.

        Args:
            tables: the long ones.
            tell: told the share after each page, 0 to 1.
        """
        there = sum(max(row, 0) for row in self.last_rows(tables))
        self._tell, self._read_rows, self._rows_there = tell, 0, max(there, 1)

    def tell_no_more(self) -> None:
        """Tell nobody any more."""
        self._tell = None

    def copy_to(self, path: Path) -> None:
        """Write the journal, as it is at one moment, to a new file of its own; writers are not held up.

        Raises:
            BadSessionError: the journal is damaged.
            StorageError: the disk refuses the copy.
        """
        copy = sqlite3.connect(path, isolation_level=None)
        try:
            with self._damage_explained(), _refusals_explained(path):
                self._db.backup(
                    copy
                )  # in one step: a journal that grows would start a slow copy over and over
                copy.execute("PRAGMA journal_mode = DELETE")  # one plain file, also on read-only media
        finally:
            copy.close()

    def _connect_copy(self) -> sqlite3.Connection:
        self._copy = tempfile.TemporaryDirectory(prefix="telltick-")
        try:
            for suffix in ("", *_COMPANIONS):
                with contextlib.suppress(FileNotFoundError):
                    shutil.copyfile(
                        self._folder / f"{JOURNAL_NAME}{suffix}",
                        Path(self._copy.name) / f"{JOURNAL_NAME}{suffix}",
                        follow_symlinks=False,
                    )
            return _connect(Path(self._copy.name) / JOURNAL_NAME, str(self._folder))
        except BaseException:
            self._copy.cleanup()
            raise

    @contextlib.contextmanager
    def _damage_explained(self) -> Iterator[None]:
        try:
            yield
        except DAMAGE as why:
            raise BadSessionError(
                f"the journal of {self._folder} cannot be read ({plain_text(str(why))}); "
                "take a fresh copy of the session"
            ) from why


def _connect(path: Path, where: str) -> sqlite3.Connection:
    db = sqlite3.connect(
        f"file:{quote(str(path.absolute()))}?mode=ro",
        uri=True,
        timeout=_BUSY_S,
        isolation_level=None,
        check_same_thread=False,
    )
    try:
        db.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, LONGEST_VALUE)
        for pragma in ("trusted_schema = OFF", "query_only = ON", "cell_size_check = ON"):
            db.execute(f"PRAGMA {pragma}")
        check_schema(db, where)
    except BaseException:
        db.close()
        raise
    return db


@contextlib.contextmanager
def _refusals_explained(path: Path) -> Iterator[None]:
    """A disk that takes no more is not damage of what is read."""
    try:
        yield
    except sqlite3.OperationalError as why:
        if not any(word in str(why) for word in ("full", "disk I/O", "readonly")):
            raise
        raise StorageError(f"{path} cannot be written ({why}): free some space") from why
