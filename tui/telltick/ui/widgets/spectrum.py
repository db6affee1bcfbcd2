"""The spectrum: what is heard while no bytes flow, its floor, and what rises above it while they do."""

from __future__ import annotations

import time
from dataclasses import replace

from textual import events

from telltick.model.clock import NS
from telltick.model.readings import Band, Spectrum
from telltick.model.snapshot import Snapshot
from telltick.ui.columns import SHOWN_HZ, Columns
from telltick.ui.format import clock
from telltick.ui.glyphs import Glyphs
from telltick.ui.scales import LevelScale
from telltick.ui.widgets.panel import Panel
from telltick.ui.widgets.spectrum_picture import MARGIN, NO_AUDIO, Sight, SpectrumPicture, draw_spectrum

__all__ = ["MARGIN", "SpectrumPlot", "draw_spectrum"]

LEAST_SPAN_DB = 30.0
SPAN_BEFORE_AUDIO_DBFS = (-100.0, -70.0)
REDRAW_S = 0.8
JUMP_NS = 2 * NS  # a playhead that was moved this far shows its spectrum at once
CLOSE_HZ = 1000.0  # span of the closest view


class SpectrumPlot(Panel):
    """The spectrum over the sliding window, with a cursor to read it."""

    def __init__(self, glyphs: Glyphs, band: Band | None = None) -> None:
        super().__init__("spectrum", glyphs)
        self._band = band or Band()
        self._scale: LevelScale | None = None
        self._spectrum: Spectrum | None = None
        self._drawn_s, self._drawn_ns = 0.0, 0
        self._locked = False  # the latency, when it was drawn; a lock empties the window for a moment
        self._sight = Sight()
        self._columns: Columns | None = None
        self._picture: SpectrumPicture | None = None

    def show(self, snapshot: Snapshot) -> None:
        """Draw a snapshot's spectrum, once a second: a mean over half a minute changes no faster."""
        jumped = abs(snapshot.now_ns - self._drawn_ns) > JUMP_NS or self._spectrum is None
        now_s = time.monotonic()
        locked = snapshot.latency is not None and snapshot.latency.locked
        waits = snapshot.spectrum is None and locked is not self._locked and not jumped
        due = not (self._sight.held or waits) and (jumped or now_s - self._drawn_s > REDRAW_S)
        missing = missing_words(snapshot) if snapshot.spectrum is None else self._sight.missing
        judged = snapshot.window.excess_db is not None or snapshot.open_mark is not None
        sight = replace(self._sight, comb=snapshot.character, missing=missing, judged=judged)
        if due and (snapshot.spectrum is not self._spectrum or sight != self._sight):
            self._spectrum, self._sight = snapshot.spectrum, sight
            self._drawn_s, self._drawn_ns, self._locked = now_s, snapshot.now_ns, locked
            self.redraw()
        elif not self.rows:
            self.redraw()

    def forget(self) -> None:
        """Let the level axis go, and draw what is at hand on one that suits it."""
        self._scale = None
        self.redraw()

    def redraw(self) -> None:
        """Draw what is at hand."""
        room = self.room
        if not room.width or not room.height:
            return
        columns = self._columns = self._pooled(room.width - MARGIN)
        if columns is not None:
            reach = columns.reach(self._band)
            self._scale = (self._scale or LevelScale.around(*reach, LEAST_SPAN_DB)).holding(*reach)
        scale = self._scale or LevelScale(*SPAN_BEFORE_AUDIO_DBFS)
        if self._picture is None or not self._picture.suits(room, scale):
            self._picture = SpectrumPicture(room, scale, self._band)
        self.put(self._picture.draw(columns, self._sight))

    def _pooled(self, columns: int) -> Columns | None:
        spectrum = self._spectrum
        return None if spectrum is None else Columns.of(spectrum, columns, self._sight.span_hz)

    # ---- cursor, zoom, hold

    def move_cursor(self, columns: int) -> str:
        """Move the cursor; where there is none, it comes up at the highest rise. Returns a sentence."""
        pooled = self._columns
        if pooled is None:
            return "there is no spectrum to read yet"
        at = None if self._sight.cursor_hz is None else pooled.at(self._sight.cursor_hz)
        if at is None:
            highest = pooled.highest_rise(self._band)
            middle_hz = sum(self._sight.span_hz) / 2
            at, columns = pooled.at(highest[1] if highest else middle_hz) or 0, 0
        at = min(max(at + columns, 0), len(pooled.quiet) - 1)
        self._look(replace(self._sight, cursor_hz=float(pooled.centre_hz[at])))
        return ""

    def drop_cursor(self) -> str:
        """Take the cursor away, or bring it up where there is none; returns a sentence."""
        if self._sight.cursor_hz is None:
            return self.move_cursor(0)
        self._look(replace(self._sight, cursor_hz=None))
        return ""

    def zoom(self) -> str:
        """Take the next span: everything, the measured band, close about the cursor; returns a sentence."""
        low, high = self._next_span()
        self._look(replace(self._sight, span_hz=(low, high)))
        return f"spectrum: {low:.0f} to {high:.0f} Hz"

    def hold(self) -> str:
        """Let the picture stand still, or go on; returns a sentence."""
        held = "" if self._sight.held else clock(self._drawn_ns)
        self._drawn_s = 0.0
        self._look(replace(self._sight, held=held))
        return f"the spectrum is held at {held}" if held else "the spectrum goes on"

    def _next_span(self) -> tuple[float, float]:
        band = (self._band.low_hz, self._band.high_hz)
        if self._sight.span_hz == SHOWN_HZ:
            return band
        if self._sight.span_hz != band:
            return SHOWN_HZ
        highest = self._columns.highest_rise(self._band) if self._columns is not None else None
        middle = self._sight.cursor_hz or (highest[1] if highest else sum(band) / 2)
        low = round(min(max(middle - CLOSE_HZ / 2, SHOWN_HZ[0]), SHOWN_HZ[1] - CLOSE_HZ), -1)
        return low, low + CLOSE_HZ

    def _look(self, sight: Sight) -> None:
        self._sight = sight
        self.redraw()

    # ---- mouse, for those who like it

    def on_click(self, event: events.Click) -> None:
        """Put the cursor where it was clicked; a second click there takes it away."""
        at = event.x - MARGIN
        if self._columns is None or not 0 <= at < len(self._columns.quiet):
            return
        hz = float(self._columns.centre_hz[at])
        self._look(replace(self._sight, cursor_hz=None if hz == self._sight.cursor_hz else hz))

    def on_mouse_scroll_up(self, event: events.MouseScrollUp) -> None:
        """Move the cursor down the axis."""
        event.stop()
        self.move_cursor(-1)

    def on_mouse_scroll_down(self, event: events.MouseScrollDown) -> None:
        """Move the cursor up the axis."""
        event.stop()
        self.move_cursor(1)


def missing_words(snapshot: Snapshot) -> str:
    """Why there is no spectrum yet."""
    if snapshot.health.level_dbfs is None:
        return NO_AUDIO
    if snapshot.open_mark is not None:
        return "hands on: Enter when it is done"
    return "audio comes in, a few seconds more"
