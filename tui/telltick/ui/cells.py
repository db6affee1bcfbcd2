"""What a terminal shows, cell by cell, and how to make it show something else in few bytes.

The toolkit repaints whole spans of rows, most of whose cells stand on the terminal already. Here the
difference is written, each move of the cursor and each change of look in as few bytes as it takes.
"""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Iterable
from functools import lru_cache
from typing import NamedTuple

from rich.cells import split_graphemes
from rich.color import ColorSystem
from rich.segment import Segment
from rich.style import Style
from textual.strip import Strip

FEW = 400  # cells
# ASCII, box drawing, blocks and geometric shapes: a cell each, and nothing in them combines.
_PLAIN_TEXT = re.compile(r"[ -~\u2500-\u25fc]*")
UNSEEN_IN_BLANKS = {"", "1", "2", "3"}  # bold, faint, italic
MOST_KEPT = 512  # entries of each cache below, twice what one screen uses: more is memory that grows


class Look(NamedTuple):
    """How a cell looks, as SGR parameters (ECMA-48 8.3.117).

    Attributes:
        attributes: bold, underlined and so on.
        ink: foreground; None where it cannot be seen: in a blank.
        ground: background.
    """

    attributes: str
    ink: str | None
    ground: str


Cell = tuple[
    str, Look
]  # a character (with what combines with it) and its look; "" is a wide one's second half
Piece = tuple[int, int, Strip]  # row, first column, what stands there

Change = tuple[int, int, Cell]  # row, column, what is to stand there
Rows = list[list[Cell | None]]

PLAIN = Look("", "", "")


class Wire:
    """What a terminal shows, cell by cell, and how to make it show something else in few bytes."""

    def __init__(self) -> None:
        self._rows: Rows = []  # None: nobody knows what stands there
        self.width = 0
        self._may_clear = False
        self._cells: dict[Segment, list[Cell]] = {}
        self._tables: dict[Look, _Cells] = {}
        self._colours: ColorSystem | None = None

    @property
    def height(self) -> int:
        """Rows of the terminal; 0 while nothing is known of it."""
        return len(self._rows)

    def forget(self) -> None:
        """Nobody knows any more what stands on the terminal."""
        self.width, self._rows = 0, []

    def begin(self, width: int, height: int, *, erases_in_colour: bool = False) -> None:
        """Start with a terminal of this size that shows nobody knows what.

        Args:
            width: in cells.
            height: in cells.
            erases_in_colour: the terminal clears to the background colour set last, so that the first frame
                may clear it and leave the blanks out.
        """
        self.width = width
        self._may_clear = erases_in_colour
        self._rows = [[None] * width for _ in range(height)]

    def encode(self, pieces: Iterable[Piece], colours: ColorSystem = ColorSystem.TRUECOLOR) -> str:
        """Bytes that make the terminal show some pieces; empty when it shows them already.

        Args:
            pieces: what shall stand where; pieces outside the terminal are cut off.
            colours: what colours the terminal has.
        """
        self._use_colours(colours)
        runs = [
            (y, first, [cell for part in strip if not part.control for cell in self._cells_of(part)])
            for y, first, strip in pieces
            if 0 <= y < len(self._rows)
        ]
        cleared = self._clear(runs) if self._may_clear else ""
        changes: list[Change] = []
        for y, first, cells in runs:
            self._change(y, first, cells, changes)
        return cleared + shortest(changes, self._rows)

    def encode_cells(
        self, cells: Iterable[tuple[int, int, str, Style]], colours: ColorSystem = ColorSystem.TRUECOLOR
    ) -> str:
        """The same for single cells.

        Args:
            cells: (row, column, character, style) within the terminal, row by row.
            colours: what colours the terminal has.
        """
        self._use_colours(colours)
        changes: list[Change] = []
        for y, x, char, style in cells:
            self._change(y, x, self._cells_of(Segment(char, style)), changes)
        return shortest(changes, self._rows)

    def _clear(self, runs: list[tuple[int, int, list[Cell]]]) -> str:
        """Clear the terminal to the blank it is to show most."""
        self._may_clear = False
        blanks = Counter(
            cell for _, _, cells in runs for cell in cells if cell[0] == " " and not cell[1].attributes
        )
        if not blanks:
            return ""
        blank = blanks.most_common(1)[0][0]
        self._rows = [[blank] * self.width for _ in self._rows]
        return f"{sgr_change(None, blank[1])}\x1b[2J\x1b[0m"

    def _change(self, y: int, x: int, cells: list[Cell], changes: list[Change]) -> None:
        """Take note of those of a run of cells that differ from what the terminal shows."""
        row = self._rows[y]
        if row[x : x + len(cells)] == cells:
            return
        for at, cell in enumerate(cells[: max(self.width - x, 0)], x):
            now = row[at]
            if now is not cell and now != cell:
                self._break_wide(row, at, cell)
                row[at] = cell
                if cell[0]:
                    changes.append((y, at, cell))

    @staticmethod
    def _break_wide(row: list[Cell | None], x: int, cell: Cell) -> None:
        """A wide character loses both halves when one is written over: what is left of it nobody knows."""
        if cell[0] and x and _is_second_half(row[x]):
            row[x - 1] = None
        if x + 1 < len(row) and _is_second_half(row[x + 1]):
            row[x + 1] = None

    def _use_colours(self, colours: ColorSystem) -> None:
        if colours is not self._colours or len(self._cells) > MOST_KEPT:
            self._cells.clear()
            self._tables.clear()
            self._colours = colours

    def _cells_of(self, segment: Segment) -> list[Cell]:
        cells = self._cells.get(segment)
        if cells is None:
            look = self._look_of(segment.style)
            # In a blank neither foreground nor weight can be seen, unless something is drawn through it.
            drawn = set(look.attributes.split(";")) - UNSEEN_IN_BLANKS
            blank = look if drawn else Look("", None, look.ground)
            # Equal cells are one object, so that comparing them is quick.
            table = self._tables.setdefault(look, _Cells(look))
            table[" "] = self._tables.setdefault(blank, _Cells(blank))[" "]
            cells = self._cells[segment] = [table[text] for text in split_cells(segment.text)]
        return cells

    def _look_of(self, style: Style | None) -> Look:
        if style is None:
            return PLAIN
        return look_of(Strip.render_ansi(style, self._colours or ColorSystem.TRUECOLOR))


class _Cells(dict[str, Cell]):
    """Cells of one look by their character."""

    def __init__(self, look: Look) -> None:
        super().__init__()
        self._look = look

    def __missing__(self, text: str) -> Cell:
        cell = self[text] = (text, self._look)
        return cell


def _is_second_half(cell: Cell | None) -> bool:
    return cell is not None and not cell[0]


@lru_cache(MOST_KEPT)
def split_cells(text: str) -> tuple[str, ...]:
    """Text by cells: each character with what combines with it; an empty string is a wide one's second half.

    Control characters take no cell and never reach the terminal.
    """
    if _PLAIN_TEXT.fullmatch(text):
        return tuple(text)
    if not text.isprintable():
        text = "".join(c for c in text if unicodedata.category(c) != "Cc")
    cells: list[str] = []
    for start, end, width in split_graphemes(text)[0]:
        part = text[start:end]
        if width:
            cells += [part, *[""] * (width - 1)]
        elif cells and cells[-1]:
            cells[-1] += part
    return tuple(cells)


@lru_cache(MOST_KEPT)
def look_of(sgr: str) -> Look:
    """SGR parameters by what they set.

    Args:
        sgr: parameters as a style renders them: ``1;38;5;12;48;5;0``.
    """
    parameters = iter(sgr.split(";") if sgr else ())
    attributes, ink, ground = [], "", ""
    for parameter in parameters:
        number = int(parameter)
        if number in (38, 48):
            kind = next(parameters)
            colour = ";".join([parameter, kind, *(next(parameters) for _ in range(1 if kind == "5" else 3))])
        else:
            colour = parameter
        if number == 38 or 30 <= number <= 37 or 90 <= number <= 97:
            ink = colour
        elif number == 48 or 40 <= number <= 47 or 100 <= number <= 107:
            ground = colour
        elif number not in (39, 49):
            attributes.append(parameter)
    return Look(";".join(attributes), ink, ground)


def shortest(changes: list[Change], rows: Rows) -> str:
    """A frame that makes some changes: row by row or look by look, whichever takes fewer characters.

    Row by row few moves are needed, look by look few changes of look. A sweep through a plot, which touches
    two or three cells of each row, is half as long the second way; few changes never gain much by the first.

    Args:
        changes: in order of rows and columns.
        rows: what the terminal shows after them.
    """
    by_look = _Pen(rows).draw(sorted(changes, key=lambda change: _order(change[2][1])))
    if len(changes) < FEW:
        return by_look
    return min(by_look, _Pen(rows).draw(changes), key=len)


def _order(look: Look) -> tuple[str, str, str]:
    """Blanks come beside the looks they can be drawn in."""
    return look.attributes, look.ground, look.ink or ""


class _Pen:
    """Writes one frame, each move and each change of look in as few bytes as it takes."""

    def __init__(self, rows: Rows) -> None:
        self._rows = rows
        self._out: list[str] = []
        self._y = self._x = -1  # where the terminal's cursor stands; -1: nobody knows
        self._look: Look | None = None

    def draw(self, changes: Iterable[Change]) -> str:
        """The frame; the look goes back to plain, since others write to the terminal too."""
        for y, x, (text, look) in changes:
            self._write(y, x, text, look)
        if self._look is not None and self._look != PLAIN:
            self._out.append("\x1b[0m")
        return "".join(self._out)

    def _write(self, y: int, x: int, text: str, look: Look) -> None:
        if (y, x) != (self._y, self._x):
            self._go(y, x)
        if self._look is None or not self._shows(look):
            self._take(look)
        self._out.append(text)
        # Terminals disagree on how wide some characters are: after such a one the cursor is placed anew.
        sure = len(text) == 1 and not (x + 1 < len(self._rows[y]) and _is_wide(text))
        self._y, self._x = (y, x + 1) if sure and x + 1 < len(self._rows[y]) else (-1, -1)

    def _shows(self, look: Look) -> bool:
        now = self._look
        return now == look or (
            now is not None
            and look.ink is None
            and (now.attributes, now.ground) == (look.attributes, look.ground)
        )

    def _take(self, look: Look) -> None:
        if look.ink is None:
            kept = self._look.ink if self._look and self._look.attributes == look.attributes else ""
            look = look._replace(ink=kept)
        self._out.append(sgr_change(self._look, look))
        self._look = look

    def _go(self, y: int, x: int) -> None:
        move = cursor_move(self._y, self._x, y, x)
        if y == self._y and 0 < x - self._x <= len(move):
            between = self._rows[y][self._x : x]
            if all(cell is not None and cell[0] and self._shows(cell[1]) for cell in between):
                again = "".join(cell[0] for cell in between if cell is not None)
                if again.isascii():  # typing the few cells between once more is shorter
                    self._out.append(again)
                    return
        self._out.append(move)


@lru_cache(MOST_KEPT)
def _is_wide(text: str) -> bool:
    return len(split_cells(text)) != 1


@lru_cache(MOST_KEPT)
def sgr_change(before: Look | None, after: Look) -> str:
    """The shortest SGR that turns one look into another; None stands for an unknown one."""
    if before == after:
        return ""
    if before is None or before.attributes != after.attributes:
        return "\x1b[" + ";".join(["0", *(part for part in after if part)]) + "m"
    changes = [after.ink or "39"] if before.ink != after.ink else []
    changes += [after.ground or "49"] if before.ground != after.ground else []
    return f"\x1b[{';'.join(changes)}m"


def cursor_move(y0: int, x0: int, y: int, x: int) -> str:
    """The shortest move of the cursor between two cells; `y0` is -1 when nobody knows where it stands.

    Args:
        y0: row it stands in, from 0.
        x0: column it stands in, from 0.
        y: row to go to.
        x: column to go to.
    """
    place = f"\x1b[{y + 1};{x + 1}H" if x else f"\x1b[{y + 1}H"
    if y0 < 0 or not 0 <= y - y0 <= 1:
        return place
    down = "\x1b[B" if y > y0 else ""
    along = "\b" * (x0 - x) or ("\x1b[C" if x == x0 + 1 else f"\x1b[{x - x0}C" if x > x0 else "")
    return min(place, down + along, key=len)
