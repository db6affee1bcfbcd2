"""The journal's tables: how they came to be, and whether a file really has them."""

from __future__ import annotations

import sqlite3
import time
from functools import cache

from telltick import __version__
from telltick.model.errors import BadSessionError
from telltick.model.session import SCHEMA

APPLICATION_ID = 0x7E11_71C4  # in the file's header: marks the database as a telltick journal
LONGEST_VALUE = 4_000_000  # bytes; no text or blob of a session is longer

_FIRST = (
    "CREATE TABLE migration (version INTEGER PRIMARY KEY, wall_ns INTEGER NOT NULL, program TEXT NOT NULL)",
    "CREATE TABLE fact (name TEXT PRIMARY KEY, json TEXT NOT NULL)",
    "CREATE TABLE anchor (row INTEGER PRIMARY KEY, run INTEGER NOT NULL, sample INTEGER NOT NULL,"
    " t_ns INTEGER NOT NULL, wall_ns INTEGER NOT NULL)",
    "CREATE TABLE burst (row INTEGER PRIMARY KEY, start_ns INTEGER NOT NULL, end_ns INTEGER NOT NULL,"
    " direction TEXT NOT NULL, data BLOB NOT NULL, poll INTEGER)",
    "CREATE TABLE poll (row INTEGER PRIMARY KEY, number INTEGER NOT NULL, due_ns INTEGER NOT NULL,"
    " sent_ns INTEGER NOT NULL, outcome TEXT NOT NULL, reply_ns INTEGER)",
    "CREATE TABLE mark (row INTEGER PRIMARY KEY, number INTEGER NOT NULL, t_ns INTEGER NOT NULL,"
    " settled_ns INTEGER, kind TEXT NOT NULL, factor TEXT, value TEXT, note TEXT NOT NULL,"
    " origin TEXT NOT NULL, late INTEGER NOT NULL, withdrawn INTEGER NOT NULL)",
    "CREATE INDEX mark_number ON mark (number)",
    "CREATE TABLE gap (number INTEGER PRIMARY KEY, kind TEXT NOT NULL, sample INTEGER NOT NULL,"
    " start_ns INTEGER NOT NULL, end_ns INTEGER, note TEXT NOT NULL)",
    "CREATE TABLE request (number INTEGER PRIMARY KEY, t_ns INTEGER NOT NULL, verb TEXT NOT NULL,"
    " value TEXT NOT NULL)",
    "CREATE TABLE outcome (row INTEGER PRIMARY KEY, request INTEGER NOT NULL UNIQUE REFERENCES request,"
    " t_ns INTEGER NOT NULL, done INTEGER NOT NULL, note TEXT NOT NULL)",
    "CREATE TABLE health (row INTEGER PRIMARY KEY, t_ns INTEGER NOT NULL, kind TEXT NOT NULL,"
    " value REAL NOT NULL, note TEXT NOT NULL)",
    "CREATE TABLE ending (row INTEGER PRIMARY KEY, t_ns INTEGER NOT NULL, how TEXT NOT NULL,"
    " note TEXT NOT NULL)",
)
_SECOND = (
    "CREATE TABLE trial_slot (row INTEGER PRIMARY KEY, poll INTEGER NOT NULL, leg INTEGER NOT NULL,"
    " cycle INTEGER NOT NULL, cycle_ns INTEGER NOT NULL, slot INTEGER NOT NULL, slots INTEGER NOT NULL,"
    " slot_ns INTEGER NOT NULL)",
)
MIGRATIONS = (_FIRST, _SECOND)  # one tuple of statements for each schema version, oldest first
assert len(MIGRATIONS) == SCHEMA


def migrate(db: sqlite3.Connection) -> None:
    """Bring a journal to the present schema; each step and its record are one transaction.

    Args:
        db: a connection in autocommit mode.
    """
    for version in range(version_of(db) + 1, SCHEMA + 1):
        db.execute("BEGIN IMMEDIATE")
        try:
            for statement in MIGRATIONS[version - 1]:
                db.execute(statement)
            record = (version, time.time_ns(), f"telltick {__version__}")
            db.execute("INSERT INTO migration VALUES (?, ?, ?)", record)
            db.execute(f"PRAGMA user_version = {version}")
            db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            db.execute("COMMIT")
        except BaseException:
            if db.in_transaction:
                db.execute("ROLLBACK")
            raise


def version_of(db: sqlite3.Connection) -> int:
    """Schema version of a journal; 0 for an empty database."""
    return int(db.execute("PRAGMA user_version").fetchone()[0])


def check_schema(db: sqlite3.Connection, where: str) -> None:
    """Accept only a journal whose tables are exactly ours: no views, triggers or computed columns.

    Args:
        db: a connection.
        where: name of the session for the message.

    Raises:
        BadSessionError: it is something else, or newer.
        sqlite3.DatabaseError: the file is damaged.
    """
    version = version_of(db)
    if db.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        raise BadSessionError(f"{where} is not a telltick session: its journal was written by something else")
    if version > SCHEMA:
        raise BadSessionError(
            f"{where} was written by a newer telltick (schema {version}); update telltick to open it"
        )
    if _tables(db) != _expected_tables(version):
        raise BadSessionError(
            f"the journal of {where} does not have the tables of schema {version}; "
            "take a fresh copy of the session"
        )


def _tables(db: sqlite3.Connection) -> frozenset[tuple[str, str, str | None]]:
    return frozenset(db.execute("SELECT type, name, sql FROM sqlite_master LIMIT 1000"))


@cache
def _expected_tables(version: int) -> frozenset[tuple[str, str, str | None]]:
    db = sqlite3.connect(":memory:")
    try:
        for statements in MIGRATIONS[:version]:
            for statement in statements:
                db.execute(statement)
        return _tables(db)
    finally:
        db.close()
