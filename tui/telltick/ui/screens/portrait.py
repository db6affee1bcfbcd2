"""The portrait: the mean response to a poll over its bytes, of the whole session or of one step."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from telltick.model.measurement import Measurement
from telltick.ui.rows import Role, Row, Run, row, shorten
from telltick.ui.screens.measured import MeasuredPage
from telltick.ui.widgets.portrait import Sitter, portrait_rows
from telltick.ui.widgets.sheet import Sheet, Sight
from telltick.ui.widgets.steps import step_line

if TYPE_CHECKING:
    from telltick.ui.screens.session import SessionScreen


class PortraitScreen(MeasuredPage):
    """One portrait at a time."""

    topic: ClassVar[str] = "portrait"
    action_name: ClassVar[str] = "portrait"

    def __init__(self, session: SessionScreen) -> None:
        super().__init__(session)
        self._at = 0  # 0 is the whole session, then the steps

    def draw_title(self) -> Row:
        """Whose portrait it is, and of how many."""
        count = len(self._sitters())
        which = (
            row(Run(f" PORTRAIT {self._at + 1} of {count}", Role.KEY))
            if count
            else row(Run(" PORTRAIT", Role.KEY))
        )
        return self.title_line(which)

    def draw_page(self) -> None:
        """The portrait, or what stands in its place before there is one."""
        sitters = self._sitters()
        if not sitters:
            self.sheet.lay(self.waiting_sheet())
            return
        self._at = min(self._at, len(sitters) - 1)
        rows = portrait_rows(sitters[self._at], self.sheet.room)
        self.sheet.lay(Sheet(head=tuple(rows)), Sight())

    def key_hints(self) -> list[tuple[str, str]]:
        """Keys of this page."""
        return [
            (f"{self.glyphs.left} {self.glyphs.right}", "whole session, steps"),
            (self.keymap.shown("portrait"), "measure again"),
            (self.keymap.shown("results"), "results"),
            (self.keymap.shown("help"), "what it means"),
            ("Esc", "back"),
        ]

    def pressed(self, key: str) -> bool:
        """From portrait to portrait."""
        move = {"left": -1, "up": -1, "right": 1, "down": 1, "tab": 1, "shift+tab": -1}.get(key)
        if move is None:
            return super().pressed(key)
        count = len(self._sitters())
        if count:
            self._at = (self._at + move) % count
            self.redraw()
        return True

    def _sitters(self) -> list[Sitter]:
        measurement = self.session.measuring.results.measurement
        return [] if measurement is None else sitters_of(measurement, self)


def sitters_of(measurement: Measurement, page: PortraitScreen) -> list[Sitter]:
    """The whole session and every step."""
    whole = Sitter(
        "whole session",
        measurement.portrait,
        measurement.heard,
        measurement.character,
        measurement.bits,
        measurement.coherent,
    )
    steps = []
    for step in measurement.steps:
        line = step_line(step, page.glyphs)
        name = shorten(f"step {line.number}: {line.setup}", max(page.size.width - 50, 20))
        steps.append(Sitter(name, step.portrait, step.heard, step.character))
    return [whole, *steps]
