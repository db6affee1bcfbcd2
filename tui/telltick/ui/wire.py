"""What goes over the wire: only cells that changed, and only when the terminal keeps up.

`WiredApp` sends the toolkit's frames through `telltick.ui.cells`, asks the terminal after each frame to say
when it has drawn it (`telltick.ui.pacing`), and draws later what it may not draw now.

This is the one module that touches private parts of Textual; `PRIVATE_PARTS` lists them for a test.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import select
import signal
import termios
import threading
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, TypeVar, cast

from rich.console import COLOR_SYSTEMS, Console
from rich.style import Style
from textual import events
from textual._compositor import ChopsUpdate, Compositor, CompositorUpdate, LayoutUpdate
from textual.app import App, ReturnType
from textual.geometry import Region
from textual.screen import Screen
from textual.strip import Strip
from textual.widget import Widget

from telltick.ui.cells import Piece, Wire
from telltick.ui.descriptor import screen_apart
from telltick.ui.pacing import Pacer

PRIVATE_PARTS = (
    "textual._compositor:ChopsUpdate.render_segments(self, console)",
    "textual._compositor:LayoutUpdate.render_segments(self, console)",
    "textual._compositor:ChopsUpdate.__init__(self, chops, spans, chop_ends)",
    "textual._compositor:LayoutUpdate.__init__(self, strips, region)",
    "textual._compositor:Compositor.render_full_update(self, simplify)",
    "textual._compositor:Compositor._get_renders(self, crop)",
    "textual.app:App._display(self, screen, renderable)",
    "textual.app:App._handle_exception(self, error)",
    "textual.app:App._set_pointer_shape(self, shape)",
    "textual.strip:Strip.render_ansi(style, color_system)",
    "textual.drivers._writer_thread:WriterThread.write(self, text)",
)

ASK = "\x1b[6n"
BACKLOG = 3  # writes waiting in the toolkit's queue (it holds 30, then blocks) from which nothing is added
PACE_S = 0.05
GOODBYE_S = 0.5  # leaving waits this long for answers that are due, lest they end up in the shell
LAST_RESORT_S = 0.3  # all is written by then, and nobody is there to wait for
HUNG_UP = 128 + 1  # how shells tell of an end by SIGHUP
Result = TypeVar("Result")


def pieces_of(update: CompositorUpdate) -> Iterator[Piece]:
    """What a frame of the toolkit says."""
    if isinstance(update, LayoutUpdate):
        for y, line in enumerate(update.strips, update.region.y):
            x = update.region.x
            for strip in line:
                yield y, x, strip
                x += strip.cell_length
    elif isinstance(update, ChopsUpdate):
        for y, first, end in update.spans:
            for chop_end, (x, chop) in zip(update.chop_ends[y], update.chops[y].items(), strict=False):
                if chop is not None and x < end and chop_end > first:
                    yield y, x, chop.crop(0, end - x)


class _Frame(CompositorUpdate):
    """A frame in its final form."""

    def __init__(self, text: str) -> None:
        self.text = text

    def render_segments(self, console: Console) -> str:
        return self.text


class FrugalCompositor(Compositor):
    """Asks for no rows but those on which something changed.

    The toolkit's own asks every widget on screen for all it has, be the change one cell.
    """

    def _get_renders(self, crop: Region | None = None) -> Iterator[tuple[Region, Region, list[Strip]]]:
        for widget, (region, clip) in self.visible_widgets.items():
            if crop is None or crop.overlaps(region):
                # Whole rows: the compositor cuts them where widgets meet, and nowhere else.
                rows = (
                    clip
                    if crop is None
                    else clip.intersection(Region(clip.x, crop.y, clip.width, crop.height))
                )
                shown = region.intersection(rows)
                if shown:
                    here = Region(shown.x - region.x, shown.y - region.y, shown.width, shown.height)
                    yield region, rows, widget.render_lines(here)


class WiredScreen(Screen[Result]):
    """A screen whose frames cost what changed, not what there is."""

    def __init__(self) -> None:
        super().__init__()
        self._compositor = FrugalCompositor()


class WiredApp(App[ReturnType]):
    """An app whose frames are small, and paced by the terminal.

    Attributes:
        reduced: send differences; False leaves frames as the toolkit makes them.
        pacer: decides when a frame may go out.
        wire: knows what the terminal shows.
        erases_in_colour: the terminal clears to the background colour set last.
    """

    def __init__(self, *, pacer: Pacer | None = None, **options: Any) -> None:
        """Prepare the app.

        Args:
            pacer: decides when a frame may go out; None takes one with the usual limits.
            options: the toolkit's own.
        """
        super().__init__(**options)
        self.reduced = True
        self.pacer = pacer or Pacer()
        self.wire = Wire()
        self.erases_in_colour = erases_in_colour(os.environ.get("TERM", ""))
        self._owes_frame = False
        self._closing_wire = False
        self._hang_up: tuple[int, select.poll] | None = None  # whose end is watched, and by what
        self._line: list[Any] | None = None  # how the toolkit has set the terminal

    # ---- frames

    def run(self, *args: Any, **options: Any) -> ReturnType | None:
        """Run on a descriptor of its own."""
        with screen_apart():
            return super().run(*args, **options)

    def _display(self, screen: Screen[Any], renderable: Any) -> None:
        """Send a frame of the toolkit's."""
        idle = self._batch_count or not self._running or self._closed or self._driver is None
        if idle or self.is_headless or not isinstance(renderable, (LayoutUpdate, ChopsUpdate)):
            super()._display(screen, renderable)
            return
        self._note_backlog()
        if self._closing_wire or not self.pacer.may_draw():
            self._owes_frame = True
            self.post_display_hook()
            return
        text = self._reduce(screen, renderable) if self.reduced else renderable.render_segments(self.console)
        if text:
            super()._display(screen, cast("Any", _Frame(text + self._question())))
        else:
            self.post_display_hook()

    def _reduce(self, screen: Screen[Any], update: CompositorUpdate) -> str:
        size = screen._compositor.size
        if (self.wire.width, self.wire.height) != size:
            self.wire.begin(*size, erases_in_colour=self.erases_in_colour)
            update = screen._compositor.render_full_update()
        return self.wire.encode(pieces_of(update), COLOR_SYSTEMS[self.console.color_system or "truecolor"])

    def paint(self, widget: Widget, cells: Iterable[tuple[int, int, str, Style]]) -> bool:
        """Show single cells of a widget at once, past the compositor; False where only that can do it.

        What the widget renders must come to hold them too.

        Args:
            widget: the widget, nothing of it clipped.
            cells: (column, row, character, style) within it, row by row.
        """
        ready = self._running and not self._closed and not self._batch_count and not self._closing_wire
        if not ready or not self.reduced or self.is_headless or self._driver is None:
            return False
        place = self._bare_place(widget)
        self._note_backlog()
        if place is None or not self.pacer.may_draw():
            return False
        x, y = place.offset
        colours = COLOR_SYSTEMS[self.console.color_system or "truecolor"]
        text = self.wire.encode_cells(((y + r, x + c, char, style) for c, r, char, style in cells), colours)
        if text:
            self._driver.write(text + self._question())
            self._driver.flush()
        return True

    def _bare_place(self, widget: Widget) -> Region | None:
        """Where a widget stands, if all of it can be seen and the terminal shows it."""
        screen = self.screen
        compositor = screen._compositor
        if screen._layout_required or (self.wire.width, self.wire.height) != compositor.size:
            return None
        before: list[Region] = []
        for other, (region, clip) in compositor.visible_widgets.items():  # from the front to the back
            if other is widget:
                bare = clip.contains_region(region) and not any(region.overlaps(one) for one in before)
                return region if bare else None
            before.append(region)
        return None

    def _set_pointer_shape(self, shape: str) -> None:
        """Leave the pointer as it is: the toolkit would write past the gate above, at every key."""

    def repaint(self) -> None:
        """Draw every cell anew, whatever the terminal shows."""
        self.wire.forget()
        self.pacer.forget()
        self.screen.refresh()

    def tick(self) -> None:
        """Called each `PACE_S`, whatever the terminal does."""

    def frame_answered(self) -> None:
        """The terminal has drawn a frame; the next one may go out."""

    # ---- the terminal's side

    def on_mount(self) -> None:
        """Keep pace from now on, also after a stop."""
        loop = asyncio.get_running_loop()
        if not self.is_headless:
            self._watch_for_stops(loop)
        loop.call_later(PACE_S, self._beat, loop, loop.time() + PACE_S)
        self.app_resume_signal.subscribe(self, lambda _: self.pacer.forget())

    def on_resize(self, event: events.Resize) -> None:
        """A terminal of another size (or one that comes back) shows nobody knows what."""
        self.wire.forget()
        self._owes_frame = True

    def on_cursor_position(self, event: events.CursorPosition) -> None:
        """The terminal has drawn everything up to a question."""
        self.pacer.answered(event.x + 1)
        self._pay_frame()
        self.frame_answered()

    def _watch_for_stops(self, loop: asyncio.AbstractEventLoop) -> None:
        """Take from the toolkit what happens when the process goes on.

        It starts its threads anew, whether or not it ended them; with two that read keys, one waits for a key
        that the other took, and leaving waits for that one. A hang-up sends the same signal.
        """
        with contextlib.suppress(AttributeError, NotImplementedError, RuntimeError, ValueError):
            loop.add_signal_handler(signal.SIGCONT, self._go_on)
        with contextlib.suppress(AttributeError, termios.error):
            self._line = termios.tcgetattr(cast("Any", self._driver).fileno)

    def _go_on(self) -> None:
        """The process was stopped: others may have drawn on the terminal and set it as they like."""
        if self._closing_wire or self._driver is None or self._hung_up():
            return
        if getattr(self._driver, "_must_signal_resume", False):  # it let go of the terminal before the stop
            self._driver.resume_application_mode()
            return
        if self._line is not None:
            with contextlib.suppress(termios.error):
                termios.tcsetattr(cast("Any", self._driver).fileno, termios.TCSANOW, self._line)
        self.repaint()

    def terminal_lost(self) -> None:
        """Nobody is there any more; called once."""
        self.exit()

    def lose_terminal(self) -> None:
        """The terminal is gone, whoever noticed: let go of it first, or a stalled one would hold on."""
        self._closing_wire = True
        self._cut_loose()
        self.terminal_lost()

    def _cut_loose(self) -> None:
        """Throw away what waits for a terminal that takes nothing, and never wait for it."""
        cut_loose(getattr(self._driver, "fileno", None))

    def exit_answered(self, result: ReturnType | None = None) -> None:
        """Exit when the terminal has answered what it was asked, or soon."""
        self._closing_wire = True
        if not (self.pacer.waiting and self.pacer.answers):
            self.exit(result)
            return
        tries = iter(range(int(GOODBYE_S / PACE_S)))

        def look() -> None:
            if timer is not None and (not self.pacer.waiting or next(tries, None) is None):
                timer.stop()
                self.exit(result)

        timer = self.set_interval(PACE_S, look)

    def _beat(self, loop: asyncio.AbstractEventLoop, due_s: float) -> None:
        """Keep pace, and again later. The toolkit's timers pass messages: four times the work for a tick."""
        if self._closing_wire or not self._running:
            return
        try:
            self._keep_pace()
        except Exception as why:
            self._handle_exception(why)
            return
        next_s = max(due_s + PACE_S, loop.time())
        loop.call_at(next_s, self._beat, loop, next_s)

    def _keep_pace(self) -> None:
        if self._closing_wire:
            return
        self.tick()
        if self.is_headless:
            return
        self._note_backlog()
        if self.pacer.lost or self._hung_up():
            self.lose_terminal()
            return
        if self.pacer.should_probe() and self._driver is not None:
            self._driver.write(self._question())
        self._pay_frame()

    def _pay_frame(self) -> None:
        if self._owes_frame and not self._closing_wire and self.pacer.may_draw():
            self._owes_frame = False
            self.screen.refresh()

    def _question(self) -> str:
        """Asks where the cursor is, from a column that says which question it was."""
        return f"\x1b[2;{self.pacer.asked()}H{ASK}"

    def _note_backlog(self) -> None:
        queue = getattr(getattr(self._driver, "_writer_thread", None), "_queue", None)
        self.pacer.written(backlog=queue is not None and queue.qsize() >= BACKLOG)

    def _hung_up(self) -> bool:
        """Whether the terminal's other end is closed, in case no signal said so."""
        fileno = getattr(self._driver, "fileno", None)
        if not isinstance(fileno, int):
            return False
        if self._hang_up is None or self._hang_up[0] != fileno:
            self._hang_up = fileno, select.poll()
            self._hang_up[1].register(fileno, 0)
        found = self._hang_up[1].poll(0)
        return any(state & (select.POLLHUP | select.POLLERR | select.POLLNVAL) for _, state in found)


def erases_in_colour(term: str) -> bool:
    """Whether a terminal clears to the background colour set last: ``bce`` in its entry, see terminfo(5)."""
    try:
        import curses
    except ImportError:  # not on Windows
        return False
    with contextlib.suppress(curses.error, OSError, ValueError), Path(os.devnull).open("wb") as nowhere:
        curses.setupterm(term, nowhere.fileno())
        return curses.tigetflag("bce") == 1
    return False


def cut_loose(fileno: int | None) -> None:
    """Throw away what a terminal has not taken; should leaving hang all the same, end by force."""
    if isinstance(fileno, int):
        with contextlib.suppress(termios.error, OSError):
            termios.tcflush(fileno, termios.TCOFLUSH)
    watchdog = threading.Timer(LAST_RESORT_S, os._exit, (HUNG_UP,))
    watchdog.daemon = True
    watchdog.start()
