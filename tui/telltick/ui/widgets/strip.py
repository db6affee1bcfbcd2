"""Poll activity: sound, bytes both ways and marks on one time axis that sweeps in place."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from telltick.model.clock import NS, Floats
from telltick.model.marks import Mark
from telltick.model.snapshot import Snapshot, Strip
from telltick.ui.format import short_clock
from telltick.ui.glyphs import Glyphs
from telltick.ui.rows import Canvas, Role, Room, Row, Run, blocks, row, rule
from telltick.ui.scales import LevelScale
from telltick.ui.widgets.panel import Panel
from telltick.ui.widgets.spectrum import MARGIN

LEAST_SPAN_DB = 20.0
LANES = 4  # bytes to the radio, bytes from it, marks, time
LEAST_RISE_DB = 1.5  # one column of noise alone varies by about half of this
CELLS_MS = (10, 20, 50, 100, 200, 500, 1000)
LABEL_ROOM = 9  # columns from one time label to the next, at least
TICKS_S = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 30, 60, 120)

Letter = Callable[[Mark], str]


def cell_ns_for(interval_s: float | None) -> int:
    """Length of a column: about four to a poll, so that bursts and the quiet between them are told apart."""
    wanted_ms = 1000 * (interval_s or 0.2) / 4
    fitting = [ms for ms in CELLS_MS if ms <= wanted_ms * 1.01]
    return (fitting[-1] if fitting else CELLS_MS[0]) * 1_000_000


class ActivityStrip(Panel):
    """The poll-activity strip."""

    def __init__(self, glyphs: Glyphs, letter: Letter) -> None:
        super().__init__("strip", glyphs)
        self._letter = letter
        self._scale: LevelScale | None = None
        self._strip: Strip | None = None

    @property
    def cells(self) -> int:
        """Columns there is room for."""
        return max(self.size.width - MARGIN, 1)

    def show(self, snapshot: Snapshot) -> None:
        """Draw a snapshot's strip."""
        self._strip = snapshot.strip
        self.redraw()

    def redraw(self) -> None:
        """Draw what is at hand."""
        width, height = self.size
        if not width or not height:
            return
        if self._strip is not None:
            known = self._strip.envelope_dbfs[np.isfinite(self._strip.envelope_dbfs)]
            if len(known):
                reach = float(np.percentile(known, 5)) - 2, float(known.max())
                self._scale = (self._scale or LevelScale.around(*reach, LEAST_SPAN_DB)).holding(*reach)
        scale = self._scale or LevelScale(-80.0, -80.0 + LEAST_SPAN_DB)
        self.put(draw_strip(self._strip, scale, self.room, self._letter))


def draw_strip(strip: Strip | None, scale: LevelScale, room: Room, letter: Letter) -> list[Row]:
    """The panel's rows: title, envelope, two lanes of bytes, marks, time axis."""
    canvas = Canvas(room.width, max(room.height - 1, LANES + 1))
    sound, glyphs = canvas.height - LANES, room.glyphs
    _labels(canvas, scale, sound, glyphs)
    if strip is None:
        return [rule("polls and sound", room), *canvas.rows()]
    _envelope(canvas, strip, scale, sound, glyphs)
    _lanes(canvas, strip, sound, glyphs)
    _marks(canvas, strip, sound + 2, letter)
    _time_axis(canvas, strip, sound + 3, glyphs)
    _head(canvas, strip, sound + 2, glyphs)
    each = row(Run(f"{strip.cell_ns // 1_000_000} ms a column", Role.LABEL))
    return [rule("polls and sound", room, each), *canvas.rows()]


def _labels(canvas: Canvas, scale: LevelScale, sound: int, glyphs: Glyphs) -> None:
    for y in range(sound + 2):
        canvas.put(MARGIN - 1, y, glyphs.axis, Role.RULE)
    canvas.put(0, 0, f"{scale.top_db:4.0f}", Role.LABEL)
    if sound > 1:
        canvas.put(0, sound - 1, f"{scale.bottom_db:4.0f}", Role.LABEL)
    canvas.put(0, sound, "  to", Role.TO_RADIO)
    canvas.put(0, sound + 1, "from", Role.FROM_RADIO)
    canvas.put(0, sound + 2, "marks", Role.LABEL)


def _envelope(canvas: Canvas, strip: Strip, scale: LevelScale, sound: int, glyphs: Glyphs) -> None:
    """Sound per column; what stands above the usual quiet level while bytes flow is solid."""
    flows = strip.tx | strip.rx
    usual = _usual_quiet(strip.envelope_dbfs, flows)
    levels, flowing = strip.envelope_dbfs.tolist(), flows.tolist()  # plain numbers are faster to walk through
    for k in range(min(len(flows), canvas.width - MARGIN)):
        level = levels[k]
        if not math.isfinite(level):
            continue
        x, top = MARGIN + k, scale.rows(level, sound)
        rises = flowing[k] and level - usual >= LEAST_RISE_DB
        base = max(scale.rows(usual, sound), 0.0) if rises else top
        for r in range(round(base)):
            canvas.put(x, sound - 1 - r, glyphs.quiet, Role.QUIET)
        if rises:
            for r, glyph in blocks(math.floor(base), top, sound, glyphs):
                canvas.put(x, sound - 1 - r, glyph, Role.RISE)


def _usual_quiet(envelope_dbfs: Floats, flows: np.ndarray) -> float:
    quiet = envelope_dbfs[~flows & np.isfinite(envelope_dbfs)]
    return float(np.median(quiet)) if len(quiet) else math.inf


def _lanes(canvas: Canvas, strip: Strip, y: int, glyphs: Glyphs) -> None:
    for k in np.flatnonzero(strip.tx[: canvas.width - MARGIN]).tolist():
        canvas.put(MARGIN + k, y, glyphs.to_radio, Role.TO_RADIO)
    for k in np.flatnonzero(strip.rx[: canvas.width - MARGIN]).tolist():
        canvas.put(MARGIN + k, y + 1, glyphs.from_radio, Role.FROM_RADIO)


def _marks(canvas: Canvas, strip: Strip, y: int, letter: Letter) -> None:
    for column, mark in strip.marks:
        canvas.put(MARGIN + column, y, letter(mark), Role.LATE if mark.late else Role.MARK)


def _time_axis(canvas: Canvas, strip: Strip, y: int, glyphs: Glyphs) -> None:
    """Session times under the columns that hold them: this sweep's left of the head, the last one's right."""
    cell_s = strip.cell_ns / NS
    step_ns = int(next((t for t in TICKS_S if t / cell_s >= LABEL_ROOM), TICKS_S[-1]) * NS)
    cells = len(strip.tx)
    canvas.put(0, y, "time", Role.LABEL)
    for column in range(cells):
        start = strip.start_ns + (column - (cells if column >= strip.head else 0)) * strip.cell_ns
        tick = -(-start // step_ns) * step_ns
        if tick < start + strip.cell_ns and tick >= 0:
            label = glyphs.flag + _time_label(tick, step_ns)
            cut = column < strip.head < column + len(label)  # it would lie over a label of the last sweep
            if MARGIN + column + len(label) <= canvas.width and not cut:
                canvas.put(MARGIN + column, y, label, Role.LABEL)


def _time_label(t_ns: int, step_ns: int) -> str:
    text = short_clock(t_ns)
    return text if step_ns >= NS else f"{text}.{t_ns % NS * 10 // NS}"


def _head(canvas: Canvas, strip: Strip, lower: int, glyphs: Glyphs) -> None:
    """The place where the sweep is now, with one empty column after it."""
    x = MARGIN + strip.head
    for y in range(lower):
        canvas.put(x, y, glyphs.head, Role.KEY)
        canvas.put(x + 1, y, " ", Role.TEXT)
