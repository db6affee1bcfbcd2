"""Sessions as no honest recorder writes them: mutated by a seed, so that what goes wrong can be repeated."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from telltick.store.segments import HEADER

EVIL = (
    "\x1b[2J\x1b]0;owned\x07 [bold red]x[/] [link=file:///etc]y[/link] <script>alert(1)</script> "
    "=cmd|' /C calc'!A0 \u202e\u2066\x9b31m\x00\r\n$(reboot) `id` %s {0}"
)
WORDS = (
    EVIL,
    "",
    "x" * 5000,
    "é" * 300,
    "../../../etc/passwd",
    "nan",
    "inf",
    "-1",
    "1e999",
    "[/]",
    "[[",
    "\\",
)
NUMBERS = (0, -1, 1, 2**31, 2**53, 2**62, 2**63 - 1, -(2**63), 10**18, 7)
FLOATS = (0.5, -0.0, 1e300, float("inf"), -float("inf"), 1e-320)
TABLES = ("anchor", "burst", "poll", "mark", "gap", "request", "outcome", "health", "ending", "trial_slot")
Rng = np.random.Generator
Mutation = Callable[[Path, Rng], None]


def value(rng: Rng) -> Any:
    """Something that might stand in a cell of a table."""
    kind = rng.integers(10)
    if kind < 4:
        return NUMBERS[rng.integers(len(NUMBERS))]
    if kind < 5:
        return int(rng.integers(-(2**40), 2**40))
    if kind < 6:
        return FLOATS[rng.integers(len(FLOATS))]
    if kind < 8:
        return WORDS[rng.integers(len(WORDS))]
    if kind < 9:
        return rng.bytes(int(rng.integers(0, 300)))
    return None


def hostile_cells(folder: Path, rng: Rng) -> None:
    """Some cells of an intact database hold something else."""
    with database(folder) as db:
        for _ in range(rng.integers(1, 4)):
            table = TABLES[rng.integers(len(TABLES))]
            columns = [row[1] for row in db.execute(f"PRAGMA table_info({table})")]
            column = columns[rng.integers(len(columns))]
            rows = [row[0] for row in db.execute(f"SELECT rowid FROM {table}")]
            if not rows:
                continue
            some = rng.choice(rows, size=min(len(rows), int(rng.integers(1, 4))), replace=False)
            every = rng.random() < 0.15
            with contextlib.suppress(sqlite3.Error, OverflowError):
                where, keys = ("", ()) if every else (" WHERE rowid = ?", (int(some[0]),))
                db.execute(f"UPDATE {table} SET {column} = ?{where}", (value(rng), *keys))


def plausible_cells(folder: Path, rng: Rng) -> None:
    """Cells of the right type with values that no recorder would write."""
    with database(folder) as db:
        for _ in range(rng.integers(1, 5)):
            table = TABLES[rng.integers(len(TABLES))]
            info = [(row[1], row[2]) for row in db.execute(f"PRAGMA table_info({table})")]
            column, kind = info[rng.integers(len(info))]
            new: Any = rng.bytes(int(rng.integers(0, 300)))
            if kind == "INTEGER":
                new = int(rng.choice([*NUMBERS[:6], 10**10, 10**14, -(10**10)]))
            elif kind == "TEXT":
                new = WORDS[rng.integers(len(WORDS))]
            elif kind == "REAL":
                new = FLOATS[rng.integers(len(FLOATS))]
            rows = [row[0] for row in db.execute(f"SELECT rowid FROM {table}")]
            if rows:
                with contextlib.suppress(sqlite3.Error):
                    db.execute(
                        f"UPDATE {table} SET {column} = ? WHERE rowid = ?", (new, int(rng.choice(rows)))
                    )


def hostile_facts(folder: Path, rng: Rng) -> None:
    """The session's own description lies."""
    values = (
        '"text"', "0", "-1", "48000.5", "8000", "384000", "1e999", "null", "[]", "{}", "9223372036854775807",
        '{"baud": "fast", "interval_s": []}', '{"interval_s": -5, "baud": 0, "framing": "9X9"}',
        '{"interval_s": 1e308, "baud": 1e308, "reply_timeout_ms": 1e308}', '{"a": {"b": {"c": [1, [2]]}}}',
        '{"antenna": 5}', '{"[bold]x[/]": "\\u001b[2J", "": ""}', '"\\ud800"', '"\\u001b[2J"',
        '{"interval_s": "0.2", "baud": null, "reply_timeout_ms": "x"}', '"' + "x" * 100_000 + '"',
    )  # fmt: skip
    with database(folder) as db:
        names = [row[0] for row in db.execute("SELECT name FROM fact")]
        for name in rng.choice(names, size=int(rng.integers(1, 3)), replace=False):
            db.execute(
                "UPDATE fact SET json = ? WHERE name = ?", (values[rng.integers(len(values))], str(name))
            )


def many_rows(folder: Path, rng: Rng) -> None:
    """A table that never seems to end."""
    table = TABLES[rng.integers(3, 8)]
    with database(folder) as db:
        info = [row[1] for row in db.execute(f"PRAGMA table_info({table})")][1:]
        columns = ", ".join(info)
        db.execute("BEGIN")
        with contextlib.suppress(sqlite3.Error):
            for _ in range(5):
                numbered = columns.replace("number", "number + (SELECT MAX(number) FROM mark)")
                chosen = numbered if table == "mark" else columns
                db.execute(f"INSERT INTO {table} ({columns}) SELECT {chosen} FROM {table} LIMIT 3000")
        db.execute("COMMIT")


def evil_text(folder: Path, _: Rng) -> None:
    """Control sequences and markup wherever text may stand."""
    with database(folder) as db:
        db.execute("UPDATE mark SET note = ?, factor = coalesce(factor, ?), value = ?", (EVIL, EVIL, EVIL))
        db.execute("UPDATE gap SET note = ?", (EVIL,))
        db.execute("UPDATE health SET kind = ?, note = ?", (EVIL, EVIL))
        db.execute("UPDATE outcome SET note = ?", (EVIL,))
        db.execute("UPDATE request SET value = ?", (EVIL,))
        db.execute("UPDATE ending SET how = ?, note = ?", (EVIL, EVIL))
        db.execute("UPDATE fact SET json = json_quote(?) WHERE name IN ('name', 'host', 'port')", (EVIL,))


def flipped_bytes(folder: Path, rng: Rng) -> None:
    """Damage to the database file itself."""
    path = folder / "journal.sqlite"
    content = bytearray(path.read_bytes())
    for at in rng.integers(0, len(content), rng.integers(1, 60)):
        content[at] = rng.integers(256)
    if rng.random() < 0.2:
        del content[rng.integers(len(content)) :]
    path.write_bytes(content)


def torn_audio(folder: Path, rng: Rng) -> None:
    """Segments cut, emptied, renamed, with other headers, or far away."""
    paths = sorted((folder / "audio").iterdir())
    path = paths[rng.integers(len(paths))]
    match rng.integers(7):
        case 0:
            os.truncate(path, int(rng.integers(0, path.stat().st_size)))
        case 1:
            content = bytearray(path.read_bytes())
            for at in rng.integers(0, HEADER.size, rng.integers(1, 10)):
                content[at] = rng.integers(256)
            path.write_bytes(content)
        case 2:
            path.rename(path.with_name(f"{rng.integers(10**12 - 1):012d}.wav"))
        case 3:
            path.with_name("999999999999.wav").write_bytes(path.read_bytes()[:100])
        case 4:
            path.write_bytes(bytes(HEADER.size) + rng.bytes(999))
        case 5:
            path.unlink()
        case _:
            (folder / "audio" / "000000000000.wav.d").mkdir()


def false_files(folder: Path, rng: Rng) -> None:
    """Links, pipes and folders in place of files; names that lead out."""
    paths = sorted((folder / "audio").iterdir())
    path = [*paths, folder / "journal.sqlite", folder / "audio"][rng.integers(len(paths) + 2)]
    aside = folder.parent / "aside"
    path.rename(aside)
    match rng.integers(4):
        case 0:
            path.symlink_to(aside)
        case 1:
            os.mkfifo(path)
        case 2:
            path.mkdir()
        case _:
            path.symlink_to(path)


def tampered_trial(folder: Path, rng: Rng) -> None:
    """Draws of a coin trial that never was."""
    with database(folder) as db:
        for poll in range(int(rng.integers(1, 60))):
            row = [int(rng.choice([poll, 0, 1, 8, 10**7, 10**9, 10**12, 2**62, -5])) for _ in range(7)]
            db.execute("INSERT INTO trial_slot VALUES (NULL, ?, ?, ?, ?, ?, ?, ?)", row)


MUTATIONS: tuple[Mutation, ...] = (
    hostile_cells,
    plausible_cells,
    hostile_facts,
    many_rows,
    evil_text,
    flipped_bytes,
    torn_audio,
    false_files,
    tampered_trial,
)


@contextlib.contextmanager
def database(folder: Path):
    """The journal with every protection off."""
    db = sqlite3.connect(folder / "journal.sqlite", isolation_level=None)
    try:
        db.execute("PRAGMA ignore_check_constraints = ON")
        yield db
    finally:
        db.close()


def mutate(folder: Path, seed: int) -> str:
    """Do one or two things to a session; returns which."""
    rng = np.random.default_rng(seed)
    first = MUTATIONS[seed % len(MUTATIONS)]
    done = [first]
    first(folder, rng)
    if rng.random() < 0.3 and first is not false_files:
        more = MUTATIONS[rng.integers(len(MUTATIONS))]
        done.append(more)
        with contextlib.suppress(sqlite3.Error, OSError, ValueError):
            more(folder, rng)
    return ", ".join(one.__name__ for one in done)
