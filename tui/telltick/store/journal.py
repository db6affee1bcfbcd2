"""The one writer of ``journal.sqlite``."""

from __future__ import annotations

import contextlib
import os
import sqlite3
import threading
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import fields, replace
from pathlib import Path
from typing import Any, Self

import msgspec

from telltick.model.clock import Anchor
from telltick.model.closing import Closing
from telltick.model.errors import BadInputError, BadSessionError, JournalLockedError, StorageError
from telltick.model.marks import Mark, MarkKind, Origin
from telltick.model.session import Ending, Gap, HealthNote, Outcome, Request, SessionFacts, Verb
from telltick.model.text import plain_text
from telltick.model.traffic import Burst, Poll
from telltick.model.trial import TrialSlot
from telltick.store.folder import JOURNAL_NAME, check_session_folder, is_bagged
from telltick.store.follow import request_row
from telltick.store.readonly import DAMAGE
from telltick.store.schema import LONGEST_VALUE, check_schema, migrate

BUSY_S = 5.0


class Journal(Closing):
    """A session's journal, opened to write.

    Several processes may write one journal at a time (a recorder, and viewers that add marks and requests).
    Each `add_...` is one transaction unless a `batch` groups several. A journal may be used from any thread.
    """

    def __init__(self, db: sqlite3.Connection, folder: Path) -> None:
        """Use `create` or `open`."""
        self._db = db
        self._folder = folder
        self._turn = threading.RLock()
        self._depth = 0
        self._seen: int | None = None

    @classmethod
    def create(cls, folder: Path, facts: SessionFacts) -> Self:
        """Begin the journal of a new session; it appears in the folder with all its facts, or not at all.

        Raises:
            BadInputError: the folder holds a session already, or cannot be written.
            StorageError: the disk refused a write.
        """
        path, draft = folder / JOURNAL_NAME, folder / f"{JOURNAL_NAME}.new"
        if os.path.lexists(path):
            raise BadInputError(f"{folder} already holds a session; choose a new folder")
        try:
            draft.unlink(missing_ok=True)
            draft.touch(mode=0o600)
        except OSError as why:
            raise BadInputError(
                f"{folder} cannot be written ({why.strerror}); choose another folder"
            ) from why
        with _storage_errors(folder):
            _write_facts(draft, facts)
            draft.rename(path)
            return cls(_connect(path), folder)

    @classmethod
    def open(cls, folder: Path) -> Self:
        """Open the journal of an existing session to add to it.

        Raises:
            BadSessionError: not a session, damaged, or written by a newer telltick.
            BadInputError: it may not be written.
        """
        path = check_session_folder(folder) / JOURNAL_NAME
        if is_bagged(folder):
            raise BadInputError(
                f"{folder} is evidence in a bag; copy it out of there to add marks to the copy"
            )
        if not (os.access(path, os.W_OK) and os.access(folder, os.W_OK)):
            raise BadInputError(f"{folder} is read-only; copy the session to add marks or notes to it")
        try:
            db = _connect(path)
            check_schema(db, str(folder))
            migrate(db)
        except DAMAGE as why:
            raise BadSessionError(
                f"the journal of {folder} is damaged ({plain_text(str(why))}); take a fresh copy of it"
            ) from why
        return cls(db, folder)

    def close(self) -> None:
        """Close the journal; an ended session that nobody else has open becomes one plain file."""
        with self._turn:
            with contextlib.suppress(sqlite3.Error):
                if self._db.execute("SELECT 1 FROM ending").fetchone():
                    self._fold_log()
            self._db.close()

    def _fold_log(self) -> None:
        """Fold the write-ahead log into the database, so that the session also opens from read-only media."""
        self._db.execute("PRAGMA busy_timeout = 0")
        self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        self._db.execute("PRAGMA journal_mode = DELETE")  # refused while others have it open

    def wait_at_most(self, seconds: float) -> None:
        """Wait no longer than this while another program keeps the journal locked."""
        with self._turn:
            self._db.execute(f"PRAGMA busy_timeout = {round(seconds * 1000)}")

    @contextlib.contextmanager
    def batch(self) -> Iterator[None]:
        """One transaction around everything added inside; batches within a batch join it.

        Raises:
            StorageError: the disk refused the write; nothing of the batch is written then.
            JournalLockedError: another program kept the journal locked; nothing is written either.
        """
        with self._turn, _storage_errors(self._folder):
            if self._depth == 0:
                self._db.execute("BEGIN IMMEDIATE")
            self._depth += 1
            try:
                yield
            except BaseException:
                self._depth -= 1
                if self._depth == 0 and self._db.in_transaction:
                    self._db.execute("ROLLBACK")
                raise
            self._depth -= 1
            if self._depth == 0:
                self._commit()

    def _commit(self) -> None:
        try:
            self._db.execute("COMMIT")
        except sqlite3.Error:
            if self._db.in_transaction:
                self._db.execute("ROLLBACK")
            raise

    # ---- what the recorder adds

    def add_anchor(self, anchor: Anchor) -> None:
        """Note where the audio clock met the session clock."""
        self._insert("anchor", run=anchor.run, sample=anchor.sample, t_ns=anchor.t_ns, wall_ns=anchor.wall_ns)

    def add_bursts(self, bursts: Iterable[Burst]) -> None:
        """Note bursts of bytes, in one transaction."""
        rows = [(b.start_ns, b.end_ns, str(b.direction), b.data, b.poll) for b in bursts]
        if rows:
            with self.batch():
                self._db.executemany(
                    "INSERT INTO burst (start_ns, end_ns, direction, data, poll) VALUES (?, ?, ?, ?, ?)", rows
                )

    def add_poll(self, poll: Poll) -> None:
        """Note a poll and what came of it."""
        self._insert("poll", **_columns(poll))

    def add_trial_slot(self, drawn: TrialSlot) -> None:
        """Note into which slot a poll goes."""
        self._insert("trial_slot", **_columns(drawn))

    def open_gap(self, gap: Gap) -> int:
        """Note that audio stopped; returns the gap's number."""
        return self._insert("gap", **_columns(gap))

    def close_gap(self, number: int, sample: int, end_ns: int) -> None:
        """Note that audio came back.

        Args:
            number: what `open_gap` returned.
            sample: index of the first sample after the gap.
            end_ns: session time of that sample.

        Raises:
            ValueError: there is no such gap.
        """
        with self.batch():
            done = self._db.execute(
                "UPDATE gap SET sample = ?, end_ns = ? WHERE number = ?", (sample, end_ns, number)
            )
            if done.rowcount != 1:
                raise ValueError(f"there is no gap {number}")

    def add_health(self, note: HealthNote) -> None:
        """Note an observation about the inputs."""
        self._insert("health", **_columns(note))

    def end(self, ending: Ending) -> None:
        """Note how the session ended."""
        self._insert("ending", **_columns(ending))

    # ---- marks

    def add_mark(
        self,
        *,
        t_ns: int,
        kind: MarkKind,
        settled_ns: int | None = None,
        factor: str | None = None,
        value: str | None = None,
        note: str = "",
        origin: Origin = Origin.OPERATOR,
        late: bool = False,
    ) -> Mark:
        """Make a mark; its number is unique whoever else writes.

        Args:
            t_ns: session time at which the change began (or of the plain mark or note).
            kind: change, plain or note.
            settled_ns: end of the hands-on time; None leaves a change open. Plain marks and notes are settled
                where they stand.
            factor: which factor of the setup changes.
            value: its new value.
            note: free text.
            origin: operator or program.
            late: True when the session is no longer being recorded.
        """
        settled = t_ns if settled_ns is None and kind is not MarkKind.CHANGE else settled_ns
        with self.batch():
            (number,) = self._db.execute("SELECT COALESCE(MAX(number), 0) + 1 FROM mark").fetchone()
            mark = Mark(number, t_ns, settled, kind, factor, value, note, origin, late)
            self._add_mark_row(mark, withdrawn=False)
        return mark

    def restate_mark(self, mark: Mark) -> None:
        """State a mark anew; what was stated before stays in the journal.

        Raises:
            ValueError: there is no mark of that number.
        """
        self._follow_up(mark, withdrawn=False)

    def withdraw_mark(self, mark: Mark) -> None:
        """Undo a mark; it stays in the journal as withdrawn.

        Raises:
            ValueError: there is no mark of that number.
        """
        self._follow_up(mark, withdrawn=True)

    def _follow_up(self, mark: Mark, *, withdrawn: bool) -> None:
        with self.batch():
            if self._db.execute("SELECT 1 FROM mark WHERE number = ?", (mark.number,)).fetchone() is None:
                raise ValueError(f"there is no mark {mark.number}")
            self._add_mark_row(mark, withdrawn=withdrawn)

    def _add_mark_row(self, mark: Mark, *, withdrawn: bool) -> None:
        self._insert("mark", **_columns(mark), withdrawn=withdrawn)

    # ---- requests

    def add_request(self, t_ns: int, verb: Verb, value: str = "") -> Request:
        """Ask the recorder for something."""
        request = Request(0, t_ns, verb, value)
        number = self._insert("request", t_ns=t_ns, verb=str(verb), value=value)
        return replace(request, number=number)

    def add_outcome(self, outcome: Outcome) -> None:
        """Note what became of a request."""
        self._insert("outcome", **_columns(outcome))

    def pending_requests(self) -> tuple[Request, ...]:
        """Requests without an outcome, oldest first."""
        with self._turn, _storage_errors(self._folder):
            rows = self._db.execute(
                "SELECT number, t_ns, verb, value FROM request"
                " WHERE number NOT IN (SELECT request FROM outcome) ORDER BY number"
            ).fetchall()
        return tuple(_request(row) for row in rows)

    def changed(self) -> bool:
        """Whether anybody else has written since the last call. Cheap enough to ask 50 times a second.

        True the first time: the journal stood in the folder, open to others, before anybody could look.
        """
        with self._turn, _storage_errors(self._folder):
            version = self._data_version()
        changed, self._seen = version != self._seen, version
        return changed

    def _data_version(self) -> int:
        return int(self._db.execute("PRAGMA data_version").fetchone()[0])

    def _insert(self, table: str, **columns: Any) -> int:
        names, places = ", ".join(columns), ", ".join("?" * len(columns))
        with self.batch():
            done = self._db.execute(f"INSERT INTO {table} ({names}) VALUES ({places})", (*columns.values(),))
        return int(done.lastrowid or 0)


def _request(row: Sequence[Any]) -> Request:
    known = request_row(dict(zip(("number", "t_ns", "verb", "value"), row, strict=True)))
    return Request(known["number"], known["t_ns"], Verb(known["verb"]), str(known["value"]))


def _columns(fact: Any) -> dict[str, Any]:
    """A flat dataclass as column -> value; columns are named as the fields."""
    return {field.name: getattr(fact, field.name) for field in fields(fact)}


def _connect(path: Path) -> sqlite3.Connection:
    db = sqlite3.connect(path, timeout=BUSY_S, isolation_level=None, check_same_thread=False)
    db.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, LONGEST_VALUE)
    for pragma in ("trusted_schema = OFF", "foreign_keys = ON", "synchronous = NORMAL"):
        db.execute(f"PRAGMA {pragma}")
    return db


def _write_facts(path: Path, facts: SessionFacts) -> None:
    db = _connect(path)
    try:
        migrate(db)
        rows: Sequence[tuple[str, str]] = [
            (name, msgspec.json.encode(value).decode()) for name, value in _columns(facts).items()
        ]
        db.execute("BEGIN IMMEDIATE")
        db.executemany("INSERT INTO fact VALUES (?, ?)", rows)
        db.execute("COMMIT")
        db.execute("PRAGMA journal_mode = WAL")  # before others see it: later they might be in the way
    finally:
        db.close()


@contextlib.contextmanager
def _storage_errors(folder: Path) -> Iterator[None]:
    """Turn the database's complaints into one sentence."""
    try:
        yield
    except (sqlite3.Error, OSError) as why:
        if "full" in str(why):
            message = f"the disk is full: free some space for {folder}"
        elif "locked" in str(why):
            raise JournalLockedError(
                f"another program keeps the journal of {folder} locked: close it"
            ) from why
        else:
            message = f"the journal of {folder} cannot be written ({why}): check the disk"
        raise StorageError(message) from why
