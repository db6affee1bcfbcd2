"""The screen as a program: palettes, life and leaving."""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
from collections.abc import Mapping
from dataclasses import replace

from telltick.engine.feed import SessionFeed
from telltick.model.errors import BadInputError, TelltickError
from telltick.model.plan import Settings
from telltick.ui.glyphs import glyphs_for, terminal_wants_ascii
from telltick.ui.keymap import Keymap
from telltick.ui.leaving import ScreenExit, end_at_once
from telltick.ui.palettes import Palette, choose_palette
from telltick.ui.rows import Role
from telltick.ui.screens.page import PageScreen
from telltick.ui.screens.session import SessionScreen
from telltick.ui.wardrobe import Wardrobe
from telltick.ui.widgets.panel import Panel
from telltick.ui.wire import HUNG_UP, WiredApp

__all__ = ["ScreenExit", "TelltickApp", "run_screen"]

QUICK_S = 0.3  # leaving waits this long for a look under way


class TelltickApp(WiredApp[ScreenExit]):
    """One session on screen."""

    TITLE = "telltick"
    CSS = """
    Screen { scrollbar-size: 0 0; }
    """
    ENABLE_COMMAND_PALETTE = False  # the session has a list of commands that every terminal can show
    ALLOW_SELECT = False
    ESCAPE_TO_MINIMIZE = False

    def __init__(
        self,
        feed: SessionFeed,
        settings: Settings,
        *,
        ascii_only: bool,
        notice: str = "",
        environ: Mapping[str, str] | None = None,
    ) -> None:
        """Prepare the screen.

        Args:
            feed: the session.
            settings: the operator's preferences.
            ascii_only: draw with ASCII alone.
            notice: said on the notice line at the start.
            environ: the environment; None takes the process's.

        Raises:
            BadInputError: the settings' palette or keys cannot be used.
        """
        environ = dict(os.environ if environ is None else environ)
        self._without_colour = bool(environ.get("NO_COLOR"))
        self.palette = choose_palette(settings.theme, environ)
        self._wardrobe = Wardrobe(self.palette)
        keymap = Keymap(settings.keys)
        if not self._without_colour:
            # Present but empty says nothing; the toolkit would take it for a wish.
            os.environ.pop("NO_COLOR", None)
        # The toolkit settles how to drop colour before it knows a theme: terminal colours alone drop cleanly.
        super().__init__(ansi_color=True if self._without_colour else None)
        self.register_theme(self.palette.theme())
        self.theme = self.palette.name
        self._feed = feed
        self.nobody_there = False
        self.session = SessionScreen(feed, keymap, glyphs_for(ascii_only=ascii_only), notice)
        self.set_keymap(keymap.bindings())

    def on_mount(self) -> None:
        """Show the session; leave at once when the terminal goes away."""
        self.push_screen(self.session, callback=None)
        for name, leave in (("SIGHUP", self.lose_terminal), ("SIGTERM", self.hang_up)):
            with contextlib.suppress(AttributeError, NotImplementedError, RuntimeError, ValueError):
                asyncio.get_running_loop().add_signal_handler(getattr(signal, name), leave)

    def on_unmount(self) -> None:
        """Stop looking before the feed is closed."""
        self.session.stop(QUICK_S)

    # ---- palettes

    def next_palette(self) -> str:
        """Take the next palette there is; returns a sentence about it."""
        if self._without_colour:
            return "NO_COLOR is set: the screen stays without colour"
        palette, sentence = self._wardrobe.next()
        self.wear(palette)
        return sentence

    def wear(self, palette: Palette) -> None:
        """Put on a palette."""
        self.palette = palette
        self.register_theme(palette.theme())
        self.theme = palette.name
        for screen in self.screen_stack:
            for panel in screen.query(Panel):
                panel.ink(palette)

    # ---- leaving

    async def action_quit(self) -> None:
        """Leave by the toolkit's own key, with the same question as by ours."""
        if self.screen is self.session or isinstance(self.screen, PageScreen):
            self.session.action_quit()

    def action_help_quit(self) -> None:
        """Ctrl-C leaves like every other key for it."""
        if self.screen is self.session or isinstance(self.screen, PageScreen):
            self.session.action_quit()

    def leave_done(self) -> None:
        """Leave a session that nobody records."""
        self.leave(ScreenExit.DONE)

    def leave(self, choice: ScreenExit) -> None:
        """Leave; a change that was begun stays in the journal as a plain mark."""
        self._close_question()
        if choice is ScreenExit.FINISH:
            self.session.desk.finish()
        self.exit_answered(choice)

    def hang_up(self) -> None:
        """Leave at once, without questions; the recorder goes on."""
        self._close_question()
        self.exit(ScreenExit.DONE if self._feed.is_replay else ScreenExit.LEAVE_RECORDING)

    def terminal_lost(self) -> None:
        """The same because nobody is there any more."""
        self.nobody_there = True
        self.hang_up()

    def tick(self) -> None:
        """Look at the session when it is time to, and at the palette's file."""
        try:
            palette = self._wardrobe.changed()
        except BadInputError as why:
            self.session.say(str(why), Role.BAD)
        else:
            if palette is not None:
                self.wear(palette)
        self.session.look_when_due()

    def frame_answered(self) -> None:
        """The terminal has drawn a frame: show what had to wait."""
        self.session.show_waiting()

    def _close_question(self) -> None:
        question = self.session.open_question()
        if question is not None:
            with contextlib.suppress(Exception):
                self.session.desk.leave(question)


def run_screen(
    feed: SessionFeed, settings: Settings, *, theme: str | None = None, notice: str = ""
) -> ScreenExit:
    """Show a session until the operator leaves, then close the feed.

    Args:
        feed: the session.
        settings: the operator's preferences.
        theme: palette by name or file; goes before the settings' one.
        notice: said on the notice line at the start.

    Raises:
        BadInputError: the palette or the keys cannot be used.
    """
    if theme is not None:
        settings = replace(settings, theme=theme)
    ascii_only = terminal_wants_ascii() if settings.ascii is None else settings.ascii
    app = TelltickApp(feed, settings, ascii_only=ascii_only, notice=notice)
    left = None
    try:
        left = app.run(mouse=settings.mouse)
    finally:
        # A look that hangs (a dead network disk) must not keep the terminal: the process is about to end.
        if app.session.stop(QUICK_S):
            feed.close()
        else:
            end_at_once(0 if left is not None else 1)
        if app.nobody_there:
            os._exit(HUNG_UP)  # all is written; tidying up a large process takes half a second
    if left is None:
        raise TelltickError("the screen ended by a fault of its own; the recorder is not affected")
    return left
