"""A terminal in memory: a toolkit driver that answers questions, and screens to compare."""

from __future__ import annotations

import re

import pyte
from textual import events
from textual._compositor import LayoutUpdate
from textual.drivers.headless_driver import HeadlessDriver
from textual.geometry import Size

from telltick.ui.wire import WiredApp

QUESTION = re.compile(r"\x1b\[(\d+);(\d+)H\x1b\[6n")


class PaperDriver(HeadlessDriver):
    """Keeps what is written, frame by frame, and answers at once while `answering`."""

    def __init__(self, *given, **named) -> None:
        super().__init__(*given, **named)
        self.written: list[str] = []
        self.answering = True

    @property
    def is_headless(self) -> bool:
        return False

    def write(self, data: str) -> None:
        self.written.append(data)
        if self.answering:
            self.answer(data)

    def answer(self, data: str) -> None:
        for row, column in QUESTION.findall(data):
            self.process_message(events.CursorPosition(int(column) - 1, int(row) - 1))

    def resize(self, width: int, height: int) -> None:
        size = Size(width, height)
        self.send_message(events.Resize(size, size))


class Glass(pyte.Screen):
    """A terminal's screen, as an independent emulator draws it."""

    def __init__(self, width: int, height: int) -> None:
        super().__init__(width, height)
        self.reset_mode(pyte.modes.DECAWM)  # the toolkit turns wrapping off
        self._stream = pyte.Stream(self)

    def erase_in_display(self, how: int = 0, *args: object, **kwargs: object) -> None:
        """Erase in the background colour set last, as a terminal with `bce` does (terminfo(5)).

        The emulator colours only cells that were written before.
        """
        if how == 2:
            for y in range(self.lines):
                for x in range(self.columns):
                    self.buffer[y][x] = self.cursor.attrs
        super().erase_in_display(how, *args, **kwargs)

    def draw_on(self, text: str) -> None:
        self._stream.feed(text)

    def rows(self) -> list[list[tuple]]:
        """Every cell as it is seen: of a blank neither foreground nor weight is."""
        return [[_seen(self.buffer[y][x]) for x in range(self.columns)] for y in range(self.lines)]

    def text(self) -> str:
        return "\n".join(self.display)


def _seen(char) -> tuple:
    drawn = char.underscore or char.strikethrough or char.reverse
    blank = char.data == " " and not drawn
    ink = None if blank else char.fg
    return (
        char.data,
        ink,
        char.bg,
        char.bold and not blank,
        char.italics and not blank,
        char.underscore,
        char.strikethrough,
        char.reverse,
    )


class Twin:
    """Two glasses: one drawn on with an app's own frames, one with what it sends instead."""

    def __init__(self, app: WiredApp, width: int, height: int) -> None:
        self.stock, self.reduced = Glass(width, height), Glass(width, height)
        self.stock_bytes = self.reduced_bytes = self.frames = self.painted = 0
        app.driver_class = PaperDriver
        display = app._display

        def both(screen, renderable) -> None:
            ready = not app._batch_count and app._running and not app._closed and app._driver is not None
            if ready and hasattr(renderable, "render_segments"):
                self.frames += 1
                stock = renderable.render_segments(app.console)
                self.stock_bytes += len(stock.encode())
                self.stock.draw_on(stock)
            display(screen, renderable)
            self.take(app)

        paint = app.paint

        def past_the_compositor(widget, cells) -> bool:
            done = paint(widget, cells)
            if done:  # the toolkit would have sent all that stands on the screen now
                strips = app.screen._compositor.render_strips()
                update = LayoutUpdate([[strip] for strip in strips], app.screen.size.region)
                self.painted += 1
                self.stock.draw_on(update.render_segments(app.console))
                self.take(app)
            return done

        app._display, app.paint = both, past_the_compositor

    def take(self, app: WiredApp) -> None:
        driver = app._driver
        if driver is None:
            return
        for text in driver.written:
            self.reduced_bytes += len(text.encode())
            self.reduced.draw_on(text)
        driver.written.clear()

    def resize(self, app: WiredApp, width: int, height: int) -> None:
        for glass in (self.stock, self.reduced):
            glass.resize(height, width)
        app._driver.resize(width, height)

    def differences(self) -> list[tuple]:
        """(row, column, cell of the stock frames, cell of the reduced ones) where these differ."""
        return [
            (y, x, a, b)
            for y, (ours, theirs) in enumerate(zip(self.stock.rows(), self.reduced.rows(), strict=True))
            for x, (a, b) in enumerate(zip(ours, theirs, strict=True))
            if a != b
        ]
