"""Bursts and marks from CSV tables (RFC 4180, UTF-8, a header line, times in seconds)."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TypeVar

from telltick.model.clock import NS
from telltick.model.errors import BadInputError
from telltick.model.marks import Mark, MarkKind
from telltick.model.traffic import Burst, Direction

T = TypeVar("T")
Cells = dict[str, str]

BURST_COLUMNS = ("start_s", "end_s", "direction", "bytes_hex")
MARK_COLUMNS = ("time_s", "factor", "value", "note")
MAX_FILE_BYTES = 256_000_000
MAX_BURST_BYTES = 65_536
MAX_TEXT = {"factor": 200, "value": 200, "note": 2_000}  # characters
MAX_S = 100 * 86_400.0


def read_bursts_csv(path: Path) -> tuple[Burst, ...]:
    """Bursts from a table with the columns ``start_s,end_s,direction,bytes_hex``.

    Times are seconds from the first audio sample. Direction is tx (to the radio) or rx (from it); bytes are
    hex digits, spaces between them allowed, and may be empty where nobody knows them.

    Returns:
        the bursts in order of their start.

    Raises:
        BadInputError: the message names the line.
    """
    bursts = _rows(path, BURST_COLUMNS, set(BURST_COLUMNS), _burst)
    return tuple(sorted(bursts, key=lambda burst: burst.start_ns))


def read_marks_csv(path: Path) -> tuple[Mark, ...]:
    """Marks from a table with the columns ``time_s,factor,value,note``.

    A line with a factor and a value is a change of the setup, done at once; with a note alone a note; with
    neither a plain mark. Times are seconds from the first audio sample.

    Returns:
        the marks in order of time, numbered from 1.

    Raises:
        BadInputError: the message names the line.
    """
    marks = sorted(_rows(path, MARK_COLUMNS, {"time_s"}, _mark), key=lambda mark: mark.t_ns)
    return tuple(
        Mark(number, one.t_ns, one.settled_ns, one.kind, one.factor, one.value, one.note)
        for number, one in enumerate(marks, 1)
    )


def _burst(cells: Cells) -> Burst:
    start, end = _ns(cells, "start_s"), _ns(cells, "end_s")
    if end <= start:
        raise ValueError(f"end_s ({cells['end_s']}) must be later than start_s ({cells['start_s']})")
    word = cells["direction"].strip().lower()
    if word not in {"tx", "rx"}:
        raise ValueError(f"direction must be tx or rx, not {cells['direction'][:20]!r}")
    try:
        data = bytes.fromhex(cells["bytes_hex"])
    except ValueError:
        raise ValueError(f"bytes_hex must be hex digits, not {cells['bytes_hex'][:20]!r}") from None
    if len(data) > MAX_BURST_BYTES:
        raise ValueError(f"a burst may have {MAX_BURST_BYTES} bytes at most, not {len(data)}")
    return Burst(start, end, Direction(word), data)


def _mark(cells: Cells) -> Mark:
    t_ns = _ns(cells, "time_s")
    factor, value, note = (cells.get(name, "").strip() for name in ("factor", "value", "note"))
    for name, text in (("factor", factor), ("value", value), ("note", note)):
        if len(text) > MAX_TEXT[name]:
            raise ValueError(f"{name} may have {MAX_TEXT[name]} characters at most, not {len(text)}")
    if bool(factor) != bool(value):
        missing = "value" if factor else "factor"
        raise ValueError(f"a change needs a factor and a value; the {missing} is empty")
    if factor:
        return Mark(0, t_ns, t_ns, MarkKind.CHANGE, factor, value, note)
    return Mark(0, t_ns, t_ns, MarkKind.NOTE if note else MarkKind.PLAIN, note=note)


def _ns(cells: Cells, name: str) -> int:
    try:
        seconds = float(cells[name])
    except ValueError:
        raise ValueError(f"{name} must be a number of seconds, not {cells[name][:20]!r}") from None
    if not math.isfinite(seconds) or not 0 <= seconds <= MAX_S:
        raise ValueError(f"{name} must be 0 to {MAX_S:.0f} seconds, not {cells[name][:20]}")
    return round(seconds * NS)


def _rows(path: Path, columns: tuple[str, ...], needed: set[str], convert: Callable[[Cells], T]) -> list[T]:
    """Every line of a table, converted.

    Args:
        path: the file.
        columns: all column names it may have.
        needed: those it must have.
        convert: makes an object of a line's cells; raises ValueError with what is wrong.
    """
    rows: list[T] = []
    for line, cells in _lines(path, columns, needed):
        try:
            rows.append(convert(cells))
        except ValueError as why:
            raise BadInputError(f"{path}, line {line}: {why}") from why
    return rows


def _lines(path: Path, columns: tuple[str, ...], needed: set[str]) -> Iterator[tuple[int, Cells]]:
    """(line number, cells by column name) of each line that is not empty."""
    try:
        if path.exists() and not path.is_file():
            raise BadInputError(f"{path} cannot be read (it is not a file); give a CSV table")
        if path.stat().st_size > MAX_FILE_BYTES:
            raise BadInputError(f"{path} is too large: a table may have {MAX_FILE_BYTES // 10**6} MB at most")
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.reader(file, strict=True)
            header = _header(path, next(reader, []), columns, needed)
            for cells in reader:
                if len(cells) > len(header) or 0 < len(cells) < len(header):
                    raise BadInputError(
                        f"{path}, line {reader.line_num}: "
                        f"it has {len(cells)} cells, but the header has {len(header)}"
                    )
                if any(cell.strip() for cell in cells):
                    yield reader.line_num, dict(zip(header, cells, strict=True))
    except OSError as why:
        raise BadInputError(f"{path} cannot be read ({why.strerror or why})") from why
    except UnicodeDecodeError as why:
        raise BadInputError(f"{path} is not a table: it is not UTF-8 text") from why
    except csv.Error as why:
        raise BadInputError(f"{path}, line {reader.line_num}: {why}") from why


def _header(path: Path, cells: list[str], columns: tuple[str, ...], needed: set[str]) -> list[str]:
    names = [cell.strip().lower() for cell in cells]
    unknown = [name for name in names if name not in columns]
    missing = [name for name in columns if name in needed and name not in names]
    if unknown or missing or len(set(names)) < len(names):
        raise BadInputError(f"{path}, line 1: the header must be {','.join(columns)}")
    return names
