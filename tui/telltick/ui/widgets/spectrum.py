"""The spectrum: what is heard while no bytes flow, its floor, and what rises above it while they do."""

from __future__ import annotations

import math
import time

import numpy as np

from telltick.model.clock import NS
from telltick.model.readings import Band, Spectrum
from telltick.model.snapshot import Snapshot
from telltick.ui.columns import LEAST_RISE_DB, SHOWN_HZ, Columns
from telltick.ui.glyphs import Glyphs
from telltick.ui.rows import Canvas, Role, Room, Row, Run, blocks, row, rule
from telltick.ui.scales import LevelScale, level_ticks
from telltick.ui.widgets.panel import Panel

MARGIN = 6  # columns left of the plots, for level labels
LEAST_SPAN_DB = 30.0
SPAN_BEFORE_AUDIO_DBFS = (-100.0, -70.0)
AXIS_ROWS, SHORT_AXIS_ROWS = 2, 1
SHORT_BELOW = 12  # rows of the panel below which the axis has no row of its own
TICK_HZ = (100, 200, 250, 500, 1000)
REDRAW_S = 0.8
JUMP_NS = 2 * NS  # a playhead that was moved this far shows its spectrum at once
TICK_ROOM = 7  # columns a frequency label needs


class SpectrumPlot(Panel):
    """The spectrum over the sliding window."""

    def __init__(self, glyphs: Glyphs, band: Band | None = None) -> None:
        super().__init__("spectrum", glyphs)
        self._band = band or Band()
        self._scale: LevelScale | None = None
        self._spectrum: Spectrum | None = None
        self._drawn_s, self._drawn_ns = 0.0, 0

    def show(self, snapshot: Snapshot) -> None:
        """Draw a snapshot's spectrum, once a second: a mean over half a minute changes no faster."""
        jumped = abs(snapshot.now_ns - self._drawn_ns) > JUMP_NS or self._spectrum is None
        now_s = time.monotonic()
        if snapshot.spectrum is not self._spectrum and (jumped or now_s - self._drawn_s > REDRAW_S):
            self._spectrum = snapshot.spectrum
            self._drawn_s, self._drawn_ns = now_s, snapshot.now_ns
            self.redraw()
        elif not self.rows:
            self.redraw()

    def redraw(self) -> None:
        """Draw what is at hand."""
        width, height = self.size
        if not width or not height:
            return
        columns = None if self._spectrum is None else Columns.of(self._spectrum, width - MARGIN)
        if columns is not None:
            reach = columns.reach(self._band)
            self._scale = (self._scale or LevelScale.around(*reach, LEAST_SPAN_DB)).holding(*reach)
        scale = self._scale or LevelScale(*SPAN_BEFORE_AUDIO_DBFS)
        self.put(draw_spectrum(columns, scale, self._band, self.room))


def draw_spectrum(columns: Columns | None, scale: LevelScale, band: Band, room: Room) -> list[Row]:
    """The panel's rows: title with legend, plot with level axis, frequency axis."""
    axis = SHORT_AXIS_ROWS if room.height < SHORT_BELOW else AXIS_ROWS
    plot = _Plot(Canvas(room.width, max(room.height - 1 - axis, 1)), scale, room.glyphs)
    plot.level_axis()
    if columns is None:
        plot.canvas.put(MARGIN + 2, plot.canvas.height // 2, "waiting for audio", Role.LABEL)
    else:
        for k in range(len(columns.quiet)):
            plot.column(columns, k)
    title = rule("spectrum", room, *_legends(columns, band, room.glyphs))
    return [title, *plot.canvas.rows(), *_frequency_axis(columns, band, room, axis)]


def _legends(columns: Columns | None, band: Band, glyphs: Glyphs) -> list[Row]:
    """What the three ways of drawing mean, and the highest rise; from the fullest to the shortest."""
    quiet = (Run(glyphs.quiet * 2, Role.QUIET), Run(" quiet  ", Role.LABEL))
    floor = (Run(glyphs.base * 2, Role.FLOOR), Run(" floor  ", Role.LABEL))
    rise, word = Run(glyphs.full * 2, Role.RISE), Run(" rise while bytes flow", Role.LABEL)
    highest = columns.highest_rise(band) if columns is not None else None
    words = f"{highest[0]:5.1f} dB at {highest[1]:4.0f} Hz" if highest else "none to be seen"
    short = row(*quiet, *floor, rise, Run(" rise", Role.LABEL))
    return [
        row(*quiet, *floor, rise, word, Run(f"{words:>19}", Role.NUMBER if highest else Role.LABEL)),
        row(*quiet, *floor, rise, word),
        short,
    ]


class _Plot:
    """Columns of levels on a canvas."""

    def __init__(self, canvas: Canvas, scale: LevelScale, glyphs: Glyphs) -> None:
        self.canvas, self._scale, self._glyphs = canvas, scale, glyphs

    def column(self, columns: Columns, k: int) -> None:
        """One column from the bottom up: quiet texture, the floor as a line across, solid rise."""
        quiet, active, floor = (
            self._rows(float(level[k])) for level in (columns.quiet, columns.active, columns.floor)
        )
        line = round(floor) if math.isfinite(floor) else -1
        if math.isfinite(quiet):
            # Off a tone the quiet level jitters about the floor: one edge serves both.
            base = line if abs(quiet - floor) < 1 else round(quiet)
            for r in range(base):
                self._put(k, r, self._glyphs.quiet, Role.QUIET)
            if line >= 0:
                self._put(k, line, self._glyphs.surface, Role.FLOOR)
            if math.isfinite(active) and columns.rise_db[k] >= LEAST_RISE_DB:
                self._rise(k, min(base, math.floor(active)), active, line)

    def _rise(self, k: int, bottom: int, active: float, line: int) -> None:
        for r, glyph in blocks(max(bottom, 0), active, self.canvas.height, self._glyphs):
            if r == line and glyph == self._glyphs.full and not self._glyphs.ascii:
                self._put(k, r, self._glyphs.surface, Role.FLOOR_IN_RISE)
            else:
                self._put(k, r, glyph, Role.RISE)

    def level_axis(self) -> None:
        """Ticks with levels at the left."""
        height = self.canvas.height
        for r in range(height):
            self.canvas.put(MARGIN - 1, r, self._glyphs.axis, Role.RULE)
        for level in level_ticks(self._scale, height):
            y = height - 1 - min(math.floor(self._rows(level)), height - 1)
            self.canvas.put(0, y, f"{level:4.0f} ", Role.LABEL)
            self.canvas.put(MARGIN - 1, y, self._glyphs.tick, Role.RULE)

    def _rows(self, level_db: float) -> float:
        return self._scale.rows(level_db, self.canvas.height)

    def _put(self, k: int, r: int, glyph: str, role: Role) -> None:
        self.canvas.put(MARGIN + k, self.canvas.height - 1 - r, glyph, role)


def _frequency_axis(columns: Columns | None, band: Band, room: Room, rows: int) -> list[Row]:
    """The axis, heavy where it is measured, with its labels on it or, given two rows, below it."""
    glyphs, count = room.glyphs, max(room.width - MARGIN, 1)
    hz_per_column = (SHOWN_HZ[1] - SHOWN_HZ[0]) / count
    centre = SHOWN_HZ[0] + (np.arange(count) + 0.5) * hz_per_column
    canvas = Canvas(room.width, rows)
    canvas.put(0, 0, "dBFS", Role.LABEL)
    for k in range(count):
        inside = band.low_hz <= centre[k] <= band.high_hz
        base = glyphs.base_band if inside else glyphs.base
        canvas.put(MARGIN + k, 0, base, Role.LABEL if inside else Role.RULE)
    _frequency_ticks(canvas, hz_per_column, glyphs)
    if columns is not None:
        for at in np.flatnonzero(columns.tone):
            canvas.put_unless_text(MARGIN + int(at), 0, glyphs.tone, Role.WARN)
    return canvas.rows()


def _frequency_ticks(canvas: Canvas, hz_per_column: float, glyphs: Glyphs) -> None:
    step = next((hz for hz in TICK_HZ if hz / hz_per_column >= TICK_ROOM), TICK_HZ[-1])
    below = canvas.height - 1
    for hz in range(step, int(SHOWN_HZ[1]), step):
        x, label = MARGIN + int(hz / hz_per_column), f"{hz} Hz" if hz == step else str(hz)
        canvas.put(x, 0, glyphs.base_tick, Role.LABEL)
        if x + len(label) <= canvas.width:
            canvas.put(x - len(str(hz)) // 2, below, label, Role.TEXT if not below else Role.LABEL)
