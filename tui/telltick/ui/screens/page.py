"""What every full page beside the main screen has in common: its frame, its keys, the way back."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual import events
from textual.app import ComposeResult

from telltick.model.snapshot import Snapshot
from telltick.ui.keymap import Action
from telltick.ui.layout import Box
from telltick.ui.rows import Role, Row
from telltick.ui.widgets.footer import HintLine
from telltick.ui.widgets.header import Header
from telltick.ui.widgets.notice import NoticeLine
from telltick.ui.widgets.panel import Panel
from telltick.ui.widgets.sheet import SheetPanel
from telltick.ui.wire import WiredScreen

if TYPE_CHECKING:
    from telltick.ui.screens.session import SessionScreen

MOVES = {"up": -1, "down": 1}
PAGES = {"pageup": -1, "pagedown": 1}
ENDS = {"home": -1_000_000, "end": 1_000_000}
ON_THE_SPOT = {"mark", "undo", "redo", "lock", "polling", "resume", "theme", "redraw", "rate", "commands"}


class TitleRows(Panel):
    """The line that names the page."""


class PageScreen(WiredScreen[None]):
    """A page between the session's top line and a line of keys; the session goes on underneath.

    Keys of the page come first, then those of the main screen: what needs the main screen returns to it.
    Subclasses draw the title and the sheet, and say which keys are theirs.
    """

    DEFAULT_CSS = """
    PageScreen { background: $background; overflow: hidden; }
    """
    AUTO_FOCUS = ""
    topic: ClassVar[str] = ""  # page of the help that explains this one, unless `help_topic` says another
    action_name: ClassVar[str] = ""  # the action that opens this page

    def __init__(self, session: SessionScreen) -> None:
        """Prepare the page.

        Args:
            session: the main screen, whose session this is about.
        """
        super().__init__()
        self.session = session
        self.glyphs = session.glyphs
        self.keymap = session.keymap
        self.top = Header(session.facts, self.glyphs, session.answers)
        self.heading = TitleRows("heading", self.glyphs)
        self.sheet = SheetPanel("sheet", self.glyphs)
        self.notice = NoticeLine(self.glyphs)
        self.hints = HintLine(self.glyphs)

    def compose(self) -> ComposeResult:
        """Top line, title, page, notices, keys."""
        yield from (self.top, self.heading, self.sheet, self.notice, self.hints)

    def on_mount(self) -> None:
        """Show what is known."""
        self.top.show(self.session.desk.snapshot)
        self.begin()
        self.call_after_refresh(self.redraw)

    def on_resize(self, event: events.Resize) -> None:
        """Give every panel its place."""
        width, height = event.size
        boxes = {
            self.top: Box(0, 0, width, 1),
            self.heading: Box(0, 1, width, 1),
            self.sheet: Box(0, 2, width, max(height - 4, 0)),
            self.notice: Box(0, height - 2, width, 1),
            self.hints: Box(0, height - 1, width, 1),
        }
        for panel, box in boxes.items():
            panel.display = box.height > 0 and box.y >= 0 and box.y < height
            panel.place(box)
        self.call_after_refresh(self.redraw)

    # ---- for subclasses

    def begin(self) -> None:
        """The page has been opened."""

    def draw_title(self) -> Row:
        """The line that names the page."""
        return ()

    def draw_page(self) -> None:
        """Lay the sheet."""

    def key_hints(self) -> list[tuple[str, str]]:
        """Keys of this page and their words, what matters most first."""
        return []

    def pressed(self, key: str) -> bool:
        """A key was pressed; returns False when it means nothing here."""
        return False

    @property
    def help_topic(self) -> str:
        """Page of the help that explains what is shown."""
        return self.topic

    def again(self) -> None:
        """The key that opens this page was pressed on it."""

    def news(self, snapshot: Snapshot) -> None:
        """The session moved on."""

    # ---- what the main screen passes on

    def show(self, snapshot: Snapshot, *, figures: bool) -> None:
        """Show a new picture of the session.

        Args:
            snapshot: the picture.
            figures: figures may change; the eye wants them to stand for a moment.
        """
        if figures:
            self.top.show(snapshot)
            self.news(snapshot)

    def say(self, sentence: str, role: Role = Role.TEXT) -> None:
        """Put a sentence on the notice line."""
        self.notice.say(sentence, role)

    def redraw(self) -> None:
        """Draw everything that is not the session's own."""
        if self.is_mounted:
            self.heading.put([self.draw_title()])
            self.hints.show(self.key_hints())
            self.draw_page()

    # ---- keys

    async def on_key(self, event: events.Key) -> None:
        """Keys of the page, then keys of the main screen."""
        event.stop()
        event.prevent_default()
        if self._on_page(event.key) or (event.character is not None and self._on_page(event.character)):
            return
        action = self.keymap.action_on(event.key, event.character)
        if action is not None and (action.replay if self.session.is_replay else action.live):
            await self._do(action)

    def _on_page(self, key: str) -> bool:
        if self.pressed(key):
            return True
        if key == "escape":
            self.close()
        elif key in MOVES:
            self.sheet.move(MOVES[key])
        elif key in PAGES:
            self.sheet.page(PAGES[key])
        elif key in ENDS:
            self.sheet.move(ENDS[key])
        else:
            return False
        return True

    async def _do(self, action: Action) -> None:
        if action.name == self.action_name:
            self.again()
        elif action.name == "help":
            self.session.open_help(self.help_topic)
        elif action.name == "quit":
            self.close()
        elif action.name in ON_THE_SPOT:
            await self.session.run_action(action.call)
        else:
            self.close()
            await self.session.run_action(action.call)

    def close(self) -> None:
        """Back to the main screen."""
        if self.is_current:
            self.session.close_page()
