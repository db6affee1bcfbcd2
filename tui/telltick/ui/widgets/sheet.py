"""A page of rows longer than its room: a head that stays, items to choose from, and what is out of sight."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from telltick.ui.glyphs import Glyphs
from telltick.ui.rows import BLANK, Role, Room, Row, Run, row
from telltick.ui.widgets.panel import Panel

LEAD = 2  # columns left of the items, for the sign of the chosen one


@dataclass(frozen=True)
class Item:
    """Some rows that belong together.

    Attributes:
        rows: what is drawn.
        about: what a key pressed on it is about; None for rows that cannot be chosen.
    """

    rows: tuple[Row, ...]
    about: object = None


@dataclass(frozen=True)
class Sheet:
    """What stands on a page.

    Attributes:
        head: rows that stay at the top.
        items: rows that scroll.
        foot: rows that stay at the bottom.
    """

    head: tuple[Row, ...] = ()
    items: tuple[Item, ...] = ()
    foot: tuple[Row, ...] = ()

    @property
    def choices(self) -> list[int]:
        """Indices of the items that can be chosen."""
        return [k for k, item in enumerate(self.items) if item.about is not None]


def plain(rows: Sequence[Row]) -> tuple[Item, ...]:
    """Rows as items that cannot be chosen, each of which can be scrolled away."""
    return tuple(Item((line,)) for line in rows)


@dataclass(frozen=True)
class Sight:
    """What of a sheet is in view.

    Attributes:
        at: index of the chosen item; None where nothing is chosen.
        top: first row of the items in view.
    """

    at: int | None = None
    top: int = 0


class SheetPanel(Panel):
    """Shows a sheet; keys move the choice, or the rows where there is nothing to choose."""

    def __init__(self, name: str, glyphs: Glyphs) -> None:
        super().__init__(name, glyphs)
        self._sheet = Sheet()
        self._sight = Sight()

    @property
    def chosen(self) -> object:
        """What the chosen item is about; None when nothing is chosen."""
        at = self._sight.at
        return None if at is None or at >= len(self._sheet.items) else self._sheet.items[at].about

    @property
    def sight(self) -> Sight:
        """What is in view, to come back to."""
        return self._sight

    def lay(self, sheet: Sheet, sight: Sight | None = None) -> None:
        """Show a sheet; the choice and the view stay where they are unless others are given."""
        self._sheet = sheet
        self._see(sight or self._sight)

    def move(self, by: int) -> None:
        """Choose the next (positive) or a former item, or scroll where nothing can be chosen."""
        choices = self._sheet.choices
        if not choices:
            self._see(Sight(None, self._sight.top + by))
            return
        now = choices.index(self._sight.at) if self._sight.at in choices else 0
        to = min(max(now + by, 0), len(choices) - 1)
        # The heading above the first choice comes into view with it.
        self._see(Sight(choices[to], 0 if to == 0 else self._sight.top))

    def page(self, by: int) -> None:
        """Move by a page."""
        rows = rows_for_items(self._sheet, self.size.height)
        each = max(len(flat(self._sheet)) // max(len(self._sheet.items), 1), 1)
        self.move(by * max(rows // each if self._sheet.choices else rows - 1, 1))

    def redraw(self) -> None:
        """Draw what is at hand."""
        self._see(self._sight)

    def _see(self, sight: Sight) -> None:
        self._sight = in_view(self._sheet, sight, self.size.height)
        self.put(draw_sheet(self._sheet, self._sight, self.room))


def flat(sheet: Sheet) -> list[tuple[int, Row]]:
    """Every row of the items with the index of its item."""
    return [(k, line) for k, item in enumerate(sheet.items) for line in item.rows]


def rows_for_items(sheet: Sheet, height: int) -> int:
    """Rows that the items have; one goes to telling what is out of sight."""
    free = max(height - len(sheet.head) - len(sheet.foot), 0)
    return free if len(flat(sheet)) <= free else max(free - 1, 0)


def in_view(sheet: Sheet, sight: Sight, height: int) -> Sight:
    """A view that lies within the sheet and has the chosen item in it."""
    lines, rows = flat(sheet), rows_for_items(sheet, height)
    choices = sheet.choices
    at = sight.at if sight.at in choices else (choices[0] if choices else None)
    top = min(max(sight.top, 0), max(len(lines) - rows, 0))
    if at is not None:
        mine = [y for y, (k, _) in enumerate(lines) if k == at]
        if mine:
            top = max(top, mine[-1] - rows + 1)
            top = min(top, mine[0])
    return Sight(at, top)


def draw_sheet(sheet: Sheet, sight: Sight, room: Room) -> list[Row]:
    """The rows in view, the chosen item pointed at."""
    lines, rows = flat(sheet), rows_for_items(sheet, room.height)
    shown: list[Row] = []
    for y in range(sight.top, min(sight.top + rows, len(lines))):
        k, line = lines[y]
        first = y == 0 or lines[y - 1][0] != k
        sign = room.glyphs.here if k == sight.at and first else " "
        shown.append(row(Run(f"{sign:<{LEAD}}", Role.KEY), *line))
    shown += [BLANK] * (rows - len(shown))
    if rows < len(lines):
        shown.append(out_of_sight(sight.top, len(lines) - sight.top - rows))
    return [*sheet.head, *shown, *sheet.foot][: room.height]


def out_of_sight(above: int, below: int, lead: int = LEAD) -> Row:
    """How many rows stand above and below those in view."""
    said = [f"{count} more {where}" for count, where in ((above, "above"), (below, "below")) if count]
    return row(Run(" " * lead + ", ".join(said), Role.LABEL))
