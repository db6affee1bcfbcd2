"""Rows of coloured text: what panels draw, before it knows of any terminal.

A run is text in one role, a row is a few runs. Drawing functions return rows, so that tests can read them as
text and a panel can tell which of them changed.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from rich.cells import cell_len, set_cell_size

from telltick.ui.glyphs import Glyphs


class Role(StrEnum):
    """What a piece of the screen means; a palette gives each role its colour."""

    TEXT = "text"
    LABEL = "label"  # words that name a number
    RULE = "rule"  # lines and axes
    NUMBER = "number"  # the numbers themselves
    QUIET = "quiet"  # sound while no bytes flow
    FLOOR = "floor"  # the noise floor
    RISE = "rise"  # what rises above it while bytes flow: the one accent
    FLOOR_IN_RISE = "floor_in_rise"  # where the floor's line runs through a rise; palettes need not name it
    TO_RADIO = "to_radio"
    FROM_RADIO = "from_radio"
    MARK = "mark"
    LATE = "late"  # marks added after the recording
    HANDS = "hands"  # hands-on time runs
    KEY = "key"  # keys to press, the place where something moves
    GOOD = "good"
    WARN = "warn"
    BAD = "bad"


class Run(NamedTuple):
    """Text in one role."""

    text: str
    role: Role = Role.TEXT


@dataclass(frozen=True)
class Room:
    """What a panel has to draw in and with.

    Attributes:
        width: in cells.
        height: in rows.
        glyphs: the characters to draw with.
    """

    width: int
    height: int
    glyphs: Glyphs


Row = tuple[Run, ...]
BLANK: Row = ()


class FittedRow(tuple[Run, ...]):
    """A row of a known width, so that nobody need count its cells again.

    Attributes:
        width: in cells.
    """

    width: int

    @classmethod
    def of(cls, runs: Iterable[Run], width: int) -> FittedRow:
        """Runs that together take `width` cells."""
        fitted = cls(runs)
        fitted.width = width
        return fitted


def row(*runs: Run | str) -> Row:
    """A row of runs; bare strings are in the text role. Neighbours of one role are joined."""
    joined: list[Run] = []
    for item in runs:
        run = item if isinstance(item, Run) else Run(item)
        if not run.text:
            continue
        if joined and joined[-1].role is run.role:
            joined[-1] = Run(joined[-1].text + run.text, run.role)
        else:
            joined.append(run)
    return tuple(joined)


def width_of(line: Iterable[Run]) -> int:
    """Cells a row takes."""
    return sum(cell_len(run.text) for run in line)


def fit(line: Row, width: int) -> Row:
    """The row cut or padded with blanks to exactly `width` cells."""
    if isinstance(line, FittedRow) and line.width == width:
        return line
    out: list[Run] = []
    left = width
    for run in line:
        length = cell_len(run.text)
        if length > left:
            out.append(Run(set_cell_size(run.text, left), run.role))
            left = 0
            break
        out.append(run)
        left -= length
    if left:
        out.append(Run(" " * left))
    return FittedRow.of(row(*out), width)


def spread(left: Row, right: Row, width: int) -> Row:
    """`left` at the left edge and `right` at the right one; the left gives way."""
    return (*fit(left, max(width - width_of(right), 0)), *right)


def text_of(line: Iterable[Run]) -> str:
    """The text of a row."""
    return "".join(run.text for run in line)


def shorten(text: str, width: int) -> str:
    """Text cut to `width` cells; a cut shows as two dots."""
    if cell_len(text) <= width:
        return text
    return set_cell_size(text, max(width - 2, 0)).rstrip() + ".."[:width]


def wrapped(text: str, width: int, role: Role = Role.TEXT) -> list[Row]:
    """Text broken into rows at its spaces."""
    return [row(Run(line, role)) for line in textwrap.wrap(text, max(width, 1))]


def rule(title: str, room: Room, *legends: Row) -> Row:
    """The line a panel is titled on, with the first of the legends that fits at its right end."""
    line = room.glyphs.rule
    head = row(Run(line, Role.RULE), Run(f" {title} ", Role.LABEL))
    for legend in legends:
        tail = row(Run(" "), *legend, Run(f" {line}", Role.RULE))
        free = room.width - width_of(head) - width_of(tail)
        if free >= 1:
            return row(*head, Run(line * free, Role.RULE), *tail)
    return row(*head, Run(line * max(room.width - width_of(head), 0), Role.RULE))


def framed(title: str, lines: Sequence[Row], room: Room) -> list[Row]:
    """Rows in a frame that fills the room, so that a dialog stands out where all grounds are one."""
    line, side, inner = room.glyphs.rule, Run(room.glyphs.axis, Role.LABEL), room.width - 2
    head = Run(f"{line} {title} ", Role.LABEL)
    top = row(side, head, Run(line * max(inner - cell_len(head.text), 0), Role.LABEL), side)
    body = [row(side, *fit(content, inner), side) for content in (*lines, *[BLANK] * room.height)]
    bottom = row(side, Run(line * inner, Role.LABEL), side)
    return [top, *body[: max(room.height - 2, 0)], bottom]


def blocks(bottom: int, top: float, height: int, glyphs: Glyphs) -> list[tuple[int, str]]:
    """A solid bar as (row above the lower edge, glyph), its top drawn to an eighth of a row.

    Args:
        bottom: first row.
        top: upper end, in rows; the first row is drawn even when it ends below its first eighth.
        height: rows there are.
        glyphs: the characters to draw with.
    """
    bars: list[tuple[int, str]] = []
    for r in range(bottom, min(math.ceil(top), height)):
        eighths = round((top - r) * 8)
        if eighths >= 8:
            bars.append((r, glyphs.full))
        elif eighths > 0 or r == bottom:
            bars.append((r, glyphs.steps[max(eighths, 1) - 1]))
    return bars


class Canvas:
    """A grid of cells to draw plots on; row 0 is the top."""

    def __init__(self, width: int, height: int) -> None:
        self.width, self.height = width, height
        self._text = [[" "] * width for _ in range(height)]
        self._roles = [[Role.TEXT] * width for _ in range(height)]
        self._rows: list[Row | None] = [None] * height  # None: drawn on since
        self._touched: list[tuple[int, int]] | None = None

    def watch(self) -> None:
        """Take note from now on of cells that are drawn on."""
        self._touched = []

    def touched(self) -> list[tuple[int, int, str, Role]]:
        """(column, row, character, role) of the cells drawn on since the last call, row by row."""
        cells = sorted({(y, x) for y, x in self._touched or ()})
        self.watch()
        return [(x, y, self._text[y][x], self._roles[y][x]) for y, x in cells]

    def put(self, x: int, y: int, text: str, role: Role) -> None:
        """Write text of single-cell characters from (x, y) to the right; what lies outside is dropped."""
        if not 0 <= y < self.height:
            return
        self._rows[y] = None
        for offset, char in enumerate(text):
            if 0 <= x + offset < self.width:
                self._text[y][x + offset] = char
                self._roles[y][x + offset] = role
                if self._touched is not None:
                    self._touched.append((y, x + offset))

    def put_unless_text(self, x: int, y: int, char: str, role: Role) -> None:
        """Write one character where no letter or digit stands."""
        if 0 <= x < self.width and 0 <= y < self.height and not self._text[y][x].isalnum():
            self.put(x, y, char, role)

    def put_column(self, x: int, y: int, cells: Sequence[tuple[str, Role]]) -> None:
        """Write single characters from (x, y) downwards; what lies outside is dropped."""
        if not 0 <= x < self.width:
            return
        for r, (char, role) in enumerate(cells[: self.height - y], y):
            if self._text[r][x] != char or self._roles[r][x] is not role:
                self._text[r][x], self._roles[r][x] = char, role
                self._rows[r] = None
                if self._touched is not None:
                    self._touched.append((r, x))

    def clear_row(self, y: int, first: int = 0) -> None:
        """Blank a row from a column on."""
        if 0 <= y < self.height:
            self.put(first, y, " " * (self.width - first), Role.TEXT)

    def rows(self) -> list[Row]:
        """What was drawn, one run per stretch of one role."""
        for y, known in enumerate(self._rows):
            if known is None:
                self._rows[y] = _runs(self._text[y], self._roles[y])
        return [known or BLANK for known in self._rows]


def _runs(text: Sequence[str], roles: Sequence[Role]) -> Row:
    runs: list[Run] = []
    start = 0
    role = roles[0] if roles else Role.TEXT
    for x, (char, now) in enumerate(zip(text, roles, strict=True)):
        # A blank has no colour of its own: it joins what is around it, unless that has its own ground.
        if now is not role and (char != " " or role is Role.FLOOR_IN_RISE):
            if x > start:
                runs.append(Run("".join(text[start:x]), role))
            start, role = x, now
    runs.append(Run("".join(text[start:]), role))
    return FittedRow.of(runs, len(text))
