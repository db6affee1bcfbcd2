"""Which station? Asked before a recording begins, when the command line does not say."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from typing import ClassVar

from textual.app import ComposeResult

from telltick.model.cautions import FIRST, SERIAL_LINES_IN_SHORT
from telltick.model.errors import BadInputError
from telltick.model.plan import Settings, StationProfile
from telltick.ui.glyphs import Glyphs, glyphs_for, terminal_wants_ascii
from telltick.ui.palettes import Palette, choose_palette
from telltick.ui.rows import BLANK, Role, Room, Row, Run, row, rule, shorten, wrapped
from telltick.ui.widgets.panel import Panel
from telltick.ui.wire import WiredApp, WiredScreen

NEW = ""  # set up a station first
Offer = tuple[str, str]  # name, words about it


class ChoicePanel(Panel):
    """The whole screen."""

    DEFAULT_CSS = """
    ChoicePanel { position: relative; width: 100%; height: 100%; }
    """

    def __init__(self, offers: Sequence[Offer], glyphs: Glyphs) -> None:
        super().__init__("choice", glyphs)
        self._offers = offers
        self.at = 0

    def redraw(self) -> None:
        """Draw the list."""
        self.put(draw_choice(self._offers, self.at, self.room))

    def move(self, by: int) -> None:
        """Move up or down the list."""
        self.at = (self.at + by) % len(self._offers)
        self.redraw()


class ChoiceScreen(WiredScreen[None]):
    """Up, down, Enter."""

    BINDINGS: ClassVar = [
        ("up", "move(-1)", ""),
        ("down", "move(1)", ""),
        ("enter", "choose", ""),
        ("escape", "leave", ""),
        ("q", "leave", ""),
    ]

    def __init__(self, offers: Sequence[Offer], glyphs: Glyphs) -> None:
        super().__init__()
        self._offers = offers
        self._panel = ChoicePanel(offers, glyphs)

    def compose(self) -> ComposeResult:
        """The list alone."""
        yield self._panel

    def action_move(self, by: int) -> None:
        """Move up or down the list."""
        self._panel.move(by)

    def action_choose(self) -> None:
        """Take the one pointed at."""
        self.app.exit(self._offers[self._panel.at][0])

    def action_leave(self) -> None:
        """Take none."""
        self.app.exit(None)


class ChoiceApp(WiredApp[str]):
    """Leaves with a station's name, with `NEW`, or with None."""

    TITLE = "telltick"
    CSS = "Screen { scrollbar-size: 0 0; }"
    ENABLE_COMMAND_PALETTE = False
    ALLOW_SELECT = False

    def __init__(
        self,
        offers: Sequence[Offer],
        settings: Settings,
        *,
        ascii_only: bool,
        environ: Mapping[str, str] | None = None,
    ) -> None:
        environ = dict(os.environ if environ is None else environ)
        super().__init__(ansi_color=True if environ.get("NO_COLOR") else None)
        self.palette: Palette = choose_palette(settings.theme, environ)
        self.register_theme(self.palette.theme())
        self.theme = self.palette.name
        self._choice = ChoiceScreen(offers, glyphs_for(ascii_only=ascii_only))

    def on_mount(self) -> None:
        """Show the list."""
        self.push_screen(self._choice)


def offers_of(profiles: Mapping[str, StationProfile | BadInputError]) -> tuple[Offer, ...]:
    """What is offered: every kept station, then a new one."""
    kept = [(name, _about(profile)) for name, profile in profiles.items()]
    new = "choose and try inputs; they are kept under a name" if kept else "first run: choose and try inputs"
    return (*kept, (NEW, new))


def _about(profile: StationProfile | BadInputError) -> str:
    if isinstance(profile, BadInputError):
        return f"! cannot be used: {profile}"
    audio = profile.audio.device or "the system's default input"
    if profile.poll is None:
        return f"{audio}; audio alone"
    return f"{audio}; {profile.poll.port}, {profile.poll.baud} baud, each {profile.poll.interval_s:g} s"


def draw_choice(offers: Sequence[Offer], at: int, room: Room) -> list[Row]:
    """The list, the cautions that belong before a first open, and the keys."""
    glyphs, width = room.glyphs, room.width - 4
    rows: list[Row] = [rule("which station?", room), BLANK]
    for k, (name, about) in enumerate(offers):
        title = glyphs.clean(name, 40) if name else "set up a new station"
        lead = Run(f" {glyphs.here if k == at else ' '} ", Role.KEY)
        words = shorten(glyphs.clean(about, 200), max(width - 25, 0))
        rows.append(
            row(
                lead,
                Run(f"{shorten(title, 22):<24}", Role.NUMBER if k == at else Role.TEXT),
                Run(words, Role.LABEL),
            )
        )
    caution = f"Caution: {SERIAL_LINES_IN_SHORT} {FIRST}"
    rows += [BLANK, *(row(Run("   "), *line) for line in wrapped(caution, width, Role.WARN))]
    rows = rows[: max(room.height - 1, 0)]
    rows += [BLANK] * (room.height - 1 - len(rows))
    keys = ((glyphs.up_down, "choose"), ("Enter", "begins"), ("q", "leaves"))
    return [
        *rows,
        row(
            *(run for key, words in keys for run in (Run(f" {key} ", Role.KEY), Run(f"{words} ", Role.LABEL)))
        ),
    ]


def ask_station(profiles: Mapping[str, StationProfile | BadInputError], settings: Settings) -> str | None:
    """Ask; returns a name, `NEW`, or None when the operator leaves."""
    ascii_only = terminal_wants_ascii() if settings.ascii is None else settings.ascii
    return ChoiceApp(offers_of(profiles), settings, ascii_only=ascii_only).run(mouse=settings.mouse)
