"""Poll activity: sound, bytes both ways and marks on one time axis that sweeps in place."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from itertools import zip_longest

import numpy as np
import numpy.typing as npt

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
LANE_NAMES = (("ask", Role.TO_RADIO), ("reply", Role.FROM_RADIO), ("marks", Role.LABEL), ("time", Role.LABEL))
LEAST_RISE_DB = 1.5  # one column of noise alone varies by about half of this
CELLS_MS = (5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000)
DENSE = 0.75  # share of columns with bytes from which single polls cannot be told apart any more
LABEL_ROOM = 9  # columns from one time label to the next, at least
TICKS_S = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 30, 60, 120)

Letter = Callable[[Mark], str]
Column = tuple[int, ...]  # what one column looks like: see `_looks`
Cell = tuple[str, Role]
EMPTY: Cell = (" ", Role.TEXT)
BYTES, HEAD, BLANK = 0, 1, 2  # what a column holds: bytes and sound, the sweep's line, the gap after it


def cell_ns_for(interval_s: float | None, zoom: int = 0) -> int:
    """Length of a column: about four to a poll, so that bursts and the quiet between them are told apart.

    Args:
        interval_s: time from poll to poll; None where nobody knows.
        zoom: so many sizes longer, or shorter where negative.
    """
    wanted_ms = 1000 * (interval_s or 0.2) / 4
    fitting = max(sum(ms <= wanted_ms * 1.01 for ms in CELLS_MS[: CELLS_MS.index(1000) + 1]) - 1, 0)
    return CELLS_MS[min(max(fitting + zoom, 0), len(CELLS_MS) - 1)] * 1_000_000


class ActivityStrip(Panel):
    """The poll-activity strip."""

    def __init__(self, glyphs: Glyphs, letter: Letter) -> None:
        super().__init__("strip", glyphs)
        self._letter = letter
        self._scale: LevelScale | None = None
        self._strip: Strip | None = None
        self._picture: StripPicture | None = None
        self._zoom = 0
        self._title: Row = ()
        self._painted = False  # cells were painted that the rows do not hold yet

    @property
    def cells(self) -> int:
        """Columns there is room for."""
        return max(self.size.width - MARGIN, 1)

    def cell_ns(self, interval_s: float | None) -> int:
        """Length of a column at the zoom chosen."""
        return cell_ns_for(interval_s, self._zoom)

    def zoom_by(self, sizes: int, interval_s: float | None) -> str:
        """Make columns longer (+1) or shorter (-1); returns a sentence about it."""
        if cell_ns_for(interval_s, self._zoom + sizes) != cell_ns_for(interval_s, self._zoom):
            self._zoom += sizes
        cell_ns = self.cell_ns(interval_s)
        return f"strip: {cell_ns // 1_000_000} ms a column, {cell_ns * self.cells / NS:.3g} s in all"

    def show(self, snapshot: Snapshot) -> None:
        """Draw a snapshot's strip."""
        self._strip = snapshot.strip
        self.redraw()

    def redraw(self) -> None:
        """Draw what is at hand."""
        room = self.room
        if not room.width or not room.height:
            return
        if self._strip is not None:
            self._scale = _scale_for(self._strip.envelope_dbfs, self._scale)
        scale = self._scale or LevelScale(-80.0, -80.0 + LEAST_SPAN_DB)
        if self._picture is None or not self._picture.suits(room, scale):
            self._picture = StripPicture(room, scale, self._letter)
            self._given = []
        title = self._picture.take(self._strip)
        cells = [cell for cell in self._picture.touched() if cell[1] < room.height]
        # A sweep touches a few cells of each row, ten times a second: making whole rows of them is dear.
        self._painted = bool(self._given) and title == self._title
        if self._painted and self.paint(cells):
            return
        self._title, self._painted = title, False
        self.put(self._picture.rows())

    def catch_up(self) -> None:
        """Put the rows that hold what was painted."""
        if self._painted and self._picture is not None:
            self._painted = False
            self.put(self._picture.rows(), seen=True)


def _scale_for(envelope_dbfs: Floats, before: LevelScale | None) -> LevelScale | None:
    known = np.sort(envelope_dbfs[np.isfinite(envelope_dbfs)])
    if not len(known):
        return before
    reach = float(known[len(known) // 20]) - 2, float(known[-1])
    return (before or LevelScale.around(*reach, LEAST_SPAN_DB)).holding(*reach)


def draw_strip(strip: Strip | None, scale: LevelScale, room: Room, letter: Letter) -> list[Row]:
    """The panel's rows: title, envelope, two lanes of bytes, marks, time axis."""
    return StripPicture(room, scale, letter).draw(strip)


class StripPicture:
    """The strip as rows. The canvas is kept: only columns that look different are drawn again."""

    def __init__(self, room: Room, scale: LevelScale, letter: Letter) -> None:
        """Begin with an empty picture.

        Args:
            room: what there is to draw in.
            scale: level axis.
            letter: the letter of a mark.
        """
        self._room, self._scale, self._letter = room, scale, letter
        self._canvas = Canvas(room.width, max(room.height - 1, LANES + 1))
        self._canvas.watch()
        self._title: Row = ()
        self._sound = self._canvas.height - LANES  # rows of sound; the lanes follow
        self._columns: list[Column] = []
        self._below: tuple[object, ...] = ()  # what marks and time axis were drawn from
        self._cells = _CellsOf(self._sound, room.glyphs)
        self._label_axes()

    def suits(self, room: Room, scale: LevelScale) -> bool:
        """Whether this picture can be drawn on."""
        return (room, scale) == (self._room, self._scale)

    def draw(self, strip: Strip | None) -> list[Row]:
        """The rows with this strip."""
        self.take(strip)
        return self.rows()

    def take(self, strip: Strip | None) -> Row:
        """Draw this strip; returns the title."""
        self._title = rule("polls and sound", self._room)
        if strip is not None:
            dense = _is_dense(strip)
            self._title = rule("polls and sound", self._room, *_legends(strip, dense=dense))
            columns = self._looks(strip, dense=dense)
            for k, (now, before) in enumerate(zip_longest(columns, self._columns)):
                if now != before:
                    self._canvas.put_column(MARGIN + k, 0, self._cells.of(now or (0, 0, 0, 0, 0, BLANK)))
            self._columns = columns
            self._draw_below(strip)
        return self._title

    def rows(self) -> list[Row]:
        """What was drawn, the title first."""
        return [self._title, *self._canvas.rows()]

    def touched(self) -> list[tuple[int, int, str, Role]]:
        """(column, row, character, role) in the panel of what was drawn since the last call, row by row."""
        return [(x, y + 1, char, role) for x, y, char, role in self._canvas.touched()]

    def _looks(self, strip: Strip, *, dense: bool) -> list[Column]:
        """Of each column: rows of quiet, first row of the rise, its top in eighths, to, from, what else."""
        count = min(len(strip.tx), self._canvas.width - MARGIN)
        flows = strip.tx | strip.rx
        level = np.where(np.isfinite(strip.envelope_dbfs), strip.envelope_dbfs, -np.inf)
        usual = _usual_quiet(strip.envelope_dbfs, flows)
        rises = flows & (level - usual >= LEAST_RISE_DB)
        top = self._heights(level)
        base = np.where(rises, max(self._scale.rows(usual, self._sound), 0.0), top) if rises.any() else top
        what = np.full(len(flows), BYTES)
        what[strip.head : strip.head + 2] = (HEAD, BLANK)[: len(flows) - strip.head]
        looks = (
            np.rint(np.maximum(base, 0)),
            np.where(rises, np.floor(base), 0),
            np.where(rises, np.rint(8 * top), 0),
            _eighths(strip.tx, strip.tx_share if dense else None),
            _eighths(strip.rx, strip.rx_share if dense else None),
            what,
        )
        return [tuple(look) for look in np.array(looks).T[:count].astype(int).tolist()]

    def _heights(self, level_dbfs: Floats) -> Floats:
        """Rows above the lower edge; none where there is no sound."""
        share = (level_dbfs - self._scale.bottom_db) / self._scale.span_db
        return np.clip(share * self._sound, 0.0, float(self._sound))

    def _label_axes(self) -> None:
        canvas, scale, sound = self._canvas, self._scale, self._sound
        for y in range(sound + 2):
            canvas.put(MARGIN - 1, y, self._room.glyphs.axis, Role.RULE)
        canvas.put(0, 0, f"{scale.top_db:4.0f}", Role.LABEL)
        if sound > 1:
            canvas.put(0, sound - 1, f"{scale.bottom_db:4.0f}", Role.LABEL)
        for y, (name, role) in enumerate(LANE_NAMES, sound):
            canvas.put(0, y, name, role)

    def _draw_below(self, strip: Strip) -> None:
        """Marks and time axis, where they are not as before."""
        ticks = list(time_ticks(strip, self._canvas.width - MARGIN, self._room.glyphs))
        below = (ticks, strip.marks)
        if below == self._below:
            return
        self._below = below
        marks, time = self._sound + 2, self._sound + 3
        self._canvas.clear_row(marks, MARGIN)
        self._canvas.clear_row(time, MARGIN)
        for column, mark in strip.marks:
            self._canvas.put(
                MARGIN + column, marks, self._letter(mark), Role.LATE if mark.late else Role.MARK
            )
        for column, label in ticks:
            self._canvas.put(MARGIN + column, time, label, Role.LABEL)


class _CellsOf:
    """The cells of a column, from the top down to the lower lane of bytes."""

    def __init__(self, sound: int, glyphs: Glyphs) -> None:
        self._sound, self._glyphs = sound, glyphs

    def of(self, look: Column) -> list[Cell]:
        quiet, first, eighths, to_radio, from_radio, what = look
        if what != BYTES:
            return [(self._glyphs.head, Role.KEY) if what == HEAD else EMPTY] * (self._sound + 2)
        cells = [EMPTY] * (self._sound - quiet) + [(self._glyphs.quiet, Role.QUIET)] * quiet
        if eighths:
            for r, glyph in blocks(first, eighths / 8, self._sound, self._glyphs):
                cells[self._sound - 1 - r] = (glyph, Role.RISE)
        return [
            *cells,
            self._lane(to_radio, self._glyphs.to_radio, Role.TO_RADIO),
            self._lane(from_radio, self._glyphs.from_radio, Role.FROM_RADIO),
        ]

    def _lane(self, eighths: int, glyph: str, role: Role) -> Cell:
        """Bytes in a lane; how much of the column they take where that is told."""
        if eighths <= 0:
            return EMPTY if not eighths else (glyph, role)
        return (self._glyphs.full if eighths >= 8 else self._glyphs.steps[eighths - 1], role)


def _is_dense(strip: Strip) -> bool:
    """Whether polls follow each other so closely that hardly a column is without bytes."""
    swept = np.isfinite(strip.envelope_dbfs)
    return bool(swept.any()) and float((strip.tx | strip.rx)[swept].mean()) > DENSE


def _eighths(flows: npt.NDArray[np.bool_], share: Floats | None) -> npt.NDArray[np.int64]:
    """-1 for bytes of whatever length; their share of the column in eighths where that is given."""
    if share is None:
        return -flows.astype(np.int64)
    return np.where(flows, np.clip(np.rint(8 * share), 1, 8), 0).astype(np.int64)


def _legends(strip: Strip, *, dense: bool) -> list[Row]:
    each = f"{strip.cell_ns // 1_000_000} ms a column"
    if not dense:
        return [row(Run(each, Role.LABEL))]
    return [
        row(Run(f"{each}; polls too dense to part: height of a byte is its share of time", Role.LABEL)),
        row(Run(f"{each}, dense: bytes by share of time", Role.LABEL)),
    ]


def _usual_quiet(envelope_dbfs: Floats, flows: npt.NDArray[np.bool_]) -> float:
    quiet = np.sort(envelope_dbfs[~flows & np.isfinite(envelope_dbfs)])
    return float(quiet[len(quiet) // 2]) if len(quiet) else math.inf


def time_ticks(strip: Strip, columns: int, glyphs: Glyphs) -> Iterator[tuple[int, str]]:
    """(column, label) of session times: of this sweep left of the head, of the last one right of it."""
    cell_ns, cells = strip.cell_ns, len(strip.tx)
    step_ns = int(next((t for t in TICKS_S if t * NS / cell_ns >= LABEL_ROOM), TICKS_S[-1]) * NS)
    for begin_ns, first, end in (
        (strip.start_ns, 0, strip.head),
        (strip.start_ns - cells * cell_ns, strip.head, cells),
    ):
        tick = max(-(-(begin_ns + first * cell_ns) // step_ns) * step_ns, 0)
        while (column := (tick - begin_ns) // cell_ns) < end:
            label = glyphs.flag + _time_label(tick, step_ns)
            cut = column < strip.head < column + len(label)  # it would lie over a label of the last sweep
            if column + len(label) <= columns and not cut:
                yield int(column), label
            tick += step_ns


def _time_label(t_ns: int, step_ns: int) -> str:
    text = short_clock(t_ns)
    return text if step_ns >= NS else f"{text}.{t_ns % NS * 10 // NS}"
