"""Leaving a session that is being recorded."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.screen import ModalScreen

from telltick.ui.glyphs import Glyphs
from telltick.ui.leaving import ScreenExit
from telltick.ui.rows import BLANK, Role, Room, Row, Run, framed, row
from telltick.ui.widgets.panel import Panel

WIDTH, HEIGHT = 46, 7


class LeaveRows(Panel):
    """The question."""

    raised = True
    DEFAULT_CSS = f"""
    LeaveRows {{ position: relative; width: {WIDTH}; height: {HEIGHT}; }}
    """

    def __init__(self, glyphs: Glyphs) -> None:
        super().__init__("leave", glyphs)

    def redraw(self) -> None:
        """Draw the question."""
        self.put(draw_leave(self.room))


class LeaveScreen(ModalScreen[ScreenExit | None]):
    """Stop and save, leave recording, or stay."""

    DEFAULT_CSS = """
    LeaveScreen { align: center middle; background: transparent; }
    """
    BINDINGS: ClassVar = [
        ("s", "choose('FINISH')", ""),
        ("l", "choose('LEAVE_RECORDING')", ""),
        ("escape", "choose('')", ""),
    ]

    def __init__(self, glyphs: Glyphs) -> None:
        super().__init__()
        self._glyphs = glyphs

    def compose(self) -> ComposeResult:
        """The question alone."""
        yield LeaveRows(self._glyphs)

    def action_choose(self, name: str) -> None:
        """Answer, or stay."""
        self.dismiss(ScreenExit[name] if name else None)


def draw_leave(room: Room) -> list[Row]:
    """The question's rows."""
    choices = (
        ("s", "stop and save"),
        ("l", "leave the screen, go on recording"),
        ("Esc", "stay"),
    )
    lines = [row(Run(f"  {key:<5}", Role.KEY), Run(words, Role.TEXT)) for key, words in choices]
    return framed("still recording", [BLANK, *lines], room)
