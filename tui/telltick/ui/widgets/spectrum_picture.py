"""The spectrum as rows: levels over frequency, with axes, cursor, comb and legend."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import zip_longest

import numpy as np

from telltick.model.characteristics import CharacterRate
from telltick.model.clock import Floats
from telltick.model.framing import Framing
from telltick.model.readings import Band
from telltick.ui.columns import LEAST_RISE_DB, SHOWN_HZ, Columns
from telltick.ui.format import db
from telltick.ui.glyphs import Glyphs
from telltick.ui.rows import Canvas, Role, Room, Row, Run, blocks, row, rule
from telltick.ui.scales import LevelScale, level_ticks

MARGIN = 6  # columns left of the plots, for level labels
AXIS_ROWS, SHORT_AXIS_ROWS = 2, 1
SHORT_BELOW = 12  # rows of the panel below which the axis has no row of its own
TICK_HZ = (20, 50, 100, 200, 250, 500, 1000)
TICK_ROOM = 7  # columns a frequency label needs
LEAST_TOOTH_COLUMNS = 4  # closer teeth say nothing
Look = tuple[int, ...]  # what one column looks like: see `_looks`
Cell = tuple[str, Role]
EMPTY: Cell = (" ", Role.TEXT)
NO_LINE = -1


NO_AUDIO = "waiting for audio"


@dataclass(frozen=True)
class Sight:
    """What is looked at, and how.

    Attributes:
        span_hz: lowest and highest frequency shown.
        cursor_hz: where the cursor stands; None without one.
        comb: the character rate found in the sound.
        judged: there is a reading, so that what rises is more than the chance of a few polls.
        held: since when the picture stands still, as a reader sees it; empty while it does not.
        missing: what stands in place of a spectrum that there is not.
    """

    span_hz: tuple[float, float] = SHOWN_HZ
    cursor_hz: float | None = None
    comb: CharacterRate | None = None
    judged: bool = True
    held: str = ""
    missing: str = NO_AUDIO


def teeth_hz(comb: CharacterRate, span_hz: tuple[float, float]) -> Floats:
    """Where the lines of a character rate lie: characters repeat baud / bits times a second."""
    each = comb.baud / (comb.framing or Framing()).bits_per_char
    first, last = (math.ceil((edge - comb.shift_hz) / each) for edge in span_hz)
    lines = comb.shift_hz + each * np.arange(first, last)
    return np.asarray(lines[lines > 0], dtype=np.float64)


def draw_spectrum(
    columns: Columns | None, scale: LevelScale, band: Band, room: Room, sight: Sight | None = None
) -> list[Row]:
    """The panel's rows: title with legend, plot with level axis, frequency axis."""
    return SpectrumPicture(room, scale, band).draw(columns, sight or Sight())


class SpectrumPicture:
    """The rows of the panel. The canvas is kept: only columns that look different are drawn again."""

    def __init__(self, room: Room, scale: LevelScale, band: Band) -> None:
        """Begin with an empty picture.

        Args:
            room: what there is to draw in.
            scale: level axis.
            band: where it is measured.
        """
        self._room, self._scale, self._band = room, scale, band
        self._axis_rows = SHORT_AXIS_ROWS if room.height < SHORT_BELOW else AXIS_ROWS
        self._height = max(room.height - 1 - self._axis_rows, 1)
        self._canvas = Canvas(room.width, self._height)
        self._shown: list[Look] = []
        self._level_axis()

    def suits(self, room: Room, scale: LevelScale) -> bool:
        """Whether this picture can be drawn on."""
        return (room, scale) == (self._room, self._scale)

    def draw(self, columns: Columns | None, sight: Sight) -> list[Row]:
        """The rows with this spectrum."""
        if columns is None:
            self._shown = []
            for y in range(self._height):
                self._canvas.clear_row(y, MARGIN)
            self._canvas.put(
                MARGIN + 2, self._height // 2, sight.missing[: self._room.width - MARGIN - 2], Role.LABEL
            )
        else:
            if not self._shown:
                self._canvas.clear_row(self._height // 2, MARGIN)
            looks = self._looks(columns, sight)
            for k, (now, before) in enumerate(zip_longest(looks, self._shown)):
                if now != before and now is not None:
                    self._canvas.put_column(MARGIN + k, 0, self._cells(now))
            self._shown = looks
        title = f"spectrum held at {sight.held}" if sight.held else "spectrum"
        legends = _readout(columns, sight) or _legends(columns, self._band, sight, self._room.glyphs)
        axis = frequency_axis(columns, self._band, self._room, self._axis_rows, sight)
        return [rule(title, self._room, *legends), *self._canvas.rows(), *axis]

    def _looks(self, columns: Columns, sight: Sight) -> list[Look]:
        """Of each column: rows of quiet, floor's row, first row of the rise, its top in eighths, cursor."""
        quiet, active, floor = (
            self._heights(level) for level in (columns.quiet, columns.active, columns.floor)
        )
        known = np.isfinite(columns.quiet)
        line = np.where(known & np.isfinite(columns.floor), np.rint(floor), NO_LINE)
        # Off a tone the quiet level jitters about the floor: one edge serves both.
        base = np.where((line >= 0) & (np.abs(quiet - floor) < 1), line, np.rint(quiet))
        rises = sight.judged & known & (active > 0) & (columns.rise_db >= LEAST_RISE_DB)
        bottom = np.maximum(np.minimum(base, np.floor(active)), 0)
        at = None if sight.cursor_hz is None else columns.at(sight.cursor_hz)
        looks = (
            np.where(known, base, 0),
            line,
            np.where(rises, bottom, 0),
            np.where(rises, np.maximum(np.rint(8 * active), 8 * bottom + 1), 0),
            np.arange(len(known)) == (-1 if at is None else at),
        )
        return [tuple(look) for look in np.array(looks).T.astype(int).tolist()]

    def _heights(self, level_db: Floats) -> Floats:
        """Rows above the lower edge; -1 below it and where nothing is known."""
        share = (
            np.where(np.isfinite(level_db), level_db, -np.inf) - self._scale.bottom_db
        ) / self._scale.span_db
        return np.clip(share * self._height, -1.0, float(self._height))

    def _cells(self, look: Look) -> list[Cell]:
        """A column from the top down: quiet texture, the floor as a line across, solid rise."""
        quiet, line, bottom, eighths, cursor = look
        glyphs, height = self._room.glyphs, self._height
        empty = (glyphs.cursor, Role.KEY) if cursor else EMPTY
        up = [(glyphs.quiet, Role.QUIET)] * quiet + [empty] * (height - quiet)
        if 0 <= line < height:
            up[line] = (glyphs.surface, Role.FLOOR)
        for r, glyph in blocks(bottom, eighths / 8, height, glyphs) if eighths else ():
            through = r == line and glyph == glyphs.full and not glyphs.ascii
            up[r] = (glyphs.surface, Role.FLOOR_IN_RISE) if through else (glyph, Role.RISE)
        return up[height - 1 :: -1]

    def _level_axis(self) -> None:
        """Ticks with levels at the left."""
        for r in range(self._height):
            self._canvas.put(MARGIN - 1, r, self._room.glyphs.axis, Role.RULE)
        for level in level_ticks(self._scale, self._height):
            up = min(math.floor(self._scale.rows(level, self._height)), self._height - 1)
            y = self._height - 1 - up
            self._canvas.put(0, y, f"{level:4.0f} ", Role.LABEL)
            self._canvas.put(MARGIN - 1, y, self._room.glyphs.tick, Role.RULE)


def _readout(columns: Columns | None, sight: Sight) -> list[Row]:
    """What stands under the cursor, in numbers; from the fullest to the shortest."""
    at = None if columns is None or sight.cursor_hz is None else columns.at(sight.cursor_hz)
    if columns is None or at is None:
        return []
    hz = Run(f"{columns.centre_hz[at]:4.0f} Hz", Role.KEY)
    quiet, active, rise = (float(level[at]) for level in (columns.quiet, columns.active, columns.rise_db))
    levels = [
        Run("  quiet ", Role.LABEL), Run(db(quiet, 6), Role.NUMBER),
        Run("  while bytes flow ", Role.LABEL), Run(db(active, 6), Role.NUMBER),
    ]  # fmt: skip
    rises = [Run("  rise ", Role.LABEL), Run(db(rise), Role.NUMBER), Run(" dB", Role.LABEL)]
    tone = [Run("  a tone, left out", Role.WARN)] if columns.tone[at] else []
    short = [Run(db(quiet, 7), Role.NUMBER), Run(" to", Role.LABEL), Run(db(active, 7), Role.NUMBER)]
    return [
        row(hz, *levels, *rises, *tone),
        row(hz, *levels, *rises),
        row(hz, *short, *rises),
        row(hz, *rises),
    ]


def _legends(columns: Columns | None, band: Band, sight: Sight, glyphs: Glyphs) -> list[Row]:
    """What the three ways of drawing mean, comb and highest rise; from the fullest to the shortest."""
    quiet = (Run(glyphs.quiet * 2, Role.QUIET), Run(" quiet  ", Role.LABEL))
    floor = (Run(glyphs.base * 2, Role.FLOOR), Run(" floor  ", Role.LABEL))
    rise, flow = Run(glyphs.full * 2, Role.RISE), Run(" rise while bytes flow", Role.LABEL)
    highest = columns.highest_rise(band) if columns is not None else None
    words = f"{highest[0]:5.1f} dB at {highest[1]:4.0f} Hz" if highest else "none to be seen"
    words, highest = (words, highest) if sight.judged else ("polls too few yet", None)
    most = Run(f"{words:>19}", Role.NUMBER if highest else Role.LABEL)
    short = row(*quiet, *floor, rise, Run(" rise", Role.LABEL))
    if sight.comb is not None:
        comb = (Run(f"  {glyphs.tooth} ", Role.MARK), Run(f"comb of {sight.comb.baud} baud", Role.LABEL))
        return [
            row(*quiet, *floor, rise, flow, *comb, most),
            row(*short, *comb, most),
            row(*short, *comb),
            short,
        ]
    return [row(*quiet, *floor, rise, flow, most), row(*short, most), short]


def frequency_axis(columns: Columns | None, band: Band, room: Room, rows: int, sight: Sight) -> list[Row]:
    """The axis, heavy where it is measured, with its labels on it or, given two rows, below it."""
    glyphs, count = room.glyphs, max(room.width - MARGIN, 1)
    edges = np.linspace(*sight.span_hz, count + 1)
    centre = (edges[:-1] + edges[1:]) / 2
    canvas = Canvas(room.width, rows)
    canvas.put(0, 0, "dBFS", Role.LABEL)
    for k, inside in enumerate(((band.low_hz <= centre) & (centre <= band.high_hz)).tolist()):
        base = glyphs.base_band if inside else glyphs.base
        canvas.put(MARGIN + k, 0, base, Role.LABEL if inside else Role.RULE)
    _frequency_ticks(canvas, sight.span_hz, glyphs)
    if columns is not None:
        for at in np.flatnonzero(columns.tone).tolist():
            canvas.put_unless_text(MARGIN + at, 0, glyphs.tone, Role.WARN)
    if sight.comb is not None:
        _teeth(canvas, edges, sight.comb, glyphs)
    if sight.cursor_hz is not None:
        at = int(np.searchsorted(edges, sight.cursor_hz, side="right")) - 1
        canvas.put_unless_text(MARGIN + at, 0, glyphs.cursor_foot, Role.KEY)
    return canvas.rows()


def _teeth(canvas: Canvas, edges_hz: Floats, comb: CharacterRate, glyphs: Glyphs) -> None:
    lines = teeth_hz(comb, (float(edges_hz[0]), float(edges_hz[-1])))
    at = np.searchsorted(edges_hz, lines, side="right") - 1
    if len(at) > 1 and np.diff(at).min() < LEAST_TOOTH_COLUMNS:
        return
    for k in at.tolist():
        canvas.put_unless_text(MARGIN + k, 0, glyphs.tooth, Role.MARK)


def _frequency_ticks(canvas: Canvas, span_hz: tuple[float, float], glyphs: Glyphs) -> None:
    low, high = span_hz
    hz_per_column = (high - low) / max(canvas.width - MARGIN, 1)
    step = next((hz for hz in TICK_HZ if hz / hz_per_column >= TICK_ROOM), TICK_HZ[-1])
    below, first = canvas.height - 1, step * (math.floor(low / step) + 1)
    for hz in range(first, math.ceil(high), step):
        x, label = MARGIN + int((hz - low) / hz_per_column), f"{hz} Hz" if hz == first else str(hz)
        canvas.put(x, 0, glyphs.base_tick, Role.LABEL)
        if x + len(label) <= canvas.width:
            canvas.put(x - len(str(hz)) // 2, below, label, Role.TEXT if not below else Role.LABEL)
