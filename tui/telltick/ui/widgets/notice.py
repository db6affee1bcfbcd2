"""The line above the keys: what the program has to say."""

from __future__ import annotations

from telltick.ui.glyphs import Glyphs
from telltick.ui.rows import Role, Row, Run, row, shorten
from telltick.ui.widgets.panel import Panel


class NoticeLine(Panel):
    """The newest sentence, until there is a newer one."""

    def __init__(self, glyphs: Glyphs) -> None:
        super().__init__("notice", glyphs)
        self._said: tuple[str, Role] = ("", Role.TEXT)
        self._passed_on: tuple[str, ...] = ()
        self._advised = ""

    @property
    def text(self) -> str:
        """What is said now."""
        return self._said[0]

    def say(self, sentence: str, role: Role = Role.TEXT) -> None:
        """Say something; text from outside is made harmless."""
        self._said = (self.glyphs.clean(sentence, 300), role)
        self.redraw()

    def pass_on(self, notices: tuple[str, ...]) -> None:
        """Say what is new among the session's notices."""
        new = [notice for notice in notices if notice not in self._passed_on]
        self._passed_on = notices
        if new:
            self.say(new[-1], Role.MARK)

    def advise(self, advice: str) -> None:
        """Say what to do about the input, when that is news."""
        if advice != self._advised:
            self._advised = advice
            if advice:
                self.say(advice, Role.WARN)

    def redraw(self) -> None:
        """Draw what is at hand."""
        self.put([draw_notice(*self._said, self.size.width)])


def draw_notice(sentence: str, role: Role, width: int) -> Row:
    """The line; warnings also start with an exclamation mark, since colour alone says nothing."""
    lead = "! " if role in (Role.WARN, Role.BAD) and sentence else "  "
    return row(Run(" " + lead, role), Run(shorten(sentence, max(width - 4, 0)), role))
