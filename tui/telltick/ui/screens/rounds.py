"""Choose a guided round."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from textual.app import ComposeResult
from textual.screen import ModalScreen

from telltick.model.rounds import Round
from telltick.ui.glyphs import Glyphs
from telltick.ui.rows import BLANK, Role, Room, Row, Run, framed, row, shorten, wrapped
from telltick.ui.widgets.panel import Panel

WIDTH, HEIGHT = 72, 18


class RoundRows(Panel):
    """The rounds there are."""

    raised = True
    DEFAULT_CSS = f"""
    RoundRows {{ position: relative; width: {WIDTH}; height: {HEIGHT}; }}
    """

    def __init__(self, rounds: Mapping[str, Round], faults: tuple[str, ...], glyphs: Glyphs) -> None:
        super().__init__("rounds", glyphs)
        self._rounds = tuple(rounds.values())
        self._faults = faults
        self.at = 0

    def move(self, by: int) -> None:
        """Move up or down the list."""
        self.at = min(max(self.at + by, 0), max(len(self._rounds) - 1, 0))
        self.redraw()

    @property
    def chosen(self) -> Round | None:
        """The round pointed at."""
        return self._rounds[self.at] if self._rounds else None

    def redraw(self) -> None:
        """Draw the list."""
        self.put(draw_rounds(self._rounds, self._faults, self.at, self.room))


class RoundScreen(ModalScreen[Round | None]):
    """Up, down, Enter; Escape leaves."""

    DEFAULT_CSS = """
    RoundScreen { align: center middle; background: transparent; }
    """
    BINDINGS: ClassVar = [
        ("down", "move(1)", ""),
        ("up", "move(-1)", ""),
        ("enter", "choose", ""),
        ("escape", "leave", ""),
        ("q", "leave", ""),
    ]

    def __init__(self, rounds: Mapping[str, Round], faults: tuple[str, ...], glyphs: Glyphs) -> None:
        super().__init__()
        self._rows = RoundRows(rounds, faults, glyphs)

    def compose(self) -> ComposeResult:
        """The list alone."""
        yield self._rows

    def action_move(self, by: int) -> None:
        """Move up or down the list."""
        self._rows.move(by)

    def action_choose(self) -> None:
        """Take the round pointed at."""
        self.dismiss(self._rows.chosen)

    def action_leave(self) -> None:
        """Take none."""
        self.dismiss(None)


def draw_rounds(rounds: tuple[Round, ...], faults: tuple[str, ...], at: int, room: Room) -> list[Row]:
    """A title line for each round, the words about the one pointed at, and what is wrong with files."""
    glyphs, width = room.glyphs, room.width - 4
    lines: list[Row] = [
        row(Run(" A round proposes one swap after the other and measures each.", Role.LABEL)),
        BLANK,
    ]
    about: list[Row] = []
    for k, one in enumerate(rounds):
        here = k == at
        title = shorten(glyphs.clean(one.title, 60), width - 22)
        lead = Run(f" {glyphs.here if here else ' '} ", Role.KEY)
        size = f"{len(one.tasks):>3} tasks, about {one.minutes:g} min"
        pad = " " * max(width - 3 - len(title) - len(size), 1)
        lines.append(row(lead, Run(title, Role.NUMBER if here else Role.TEXT), Run(pad + size, Role.LABEL)))
        if here:
            about = wrapped(glyphs.clean(one.about, 400), width, Role.TEXT)
    lines += [BLANK, *(row(Run(" "), *line) for line in about), BLANK]
    for fault in faults:
        lines += [row(Run(" "), *line) for line in wrapped(f"! {glyphs.clean(fault, 200)}", width, Role.WARN)]
    lines = lines[: room.height - 3]
    lines += [BLANK] * (room.height - 3 - len(lines))
    lines.append(
        row(
            Run(f" {glyphs.up_down} ", Role.KEY),
            Run("choose  ", Role.LABEL),
            Run("Enter ", Role.KEY),
            Run("begins it  ", Role.LABEL),
            Run("Esc ", Role.KEY),
            Run("leaves", Role.LABEL),
        )
    )
    return framed("guided rounds", lines, room)
