"""The portrait of a poll: how loud it is around one, over the bytes that flow."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from telltick.model.characteristics import BitsHeard, Carrier, CharacterRate, CoherentAverage, Heard, Portrait
from telltick.model.clock import Floats
from telltick.ui.format import db
from telltick.ui.glyphs import Glyphs
from telltick.ui.rows import (
    BLANK,
    Canvas,
    Role,
    Room,
    Row,
    Run,
    blocks,
    fit,
    row,
    rule,
    shorten,
    text_of,
    width_of,
    wrapped,
)

MARGIN = 6  # columns for level labels
LANES = 4  # rows of request, turn-around, reply, time
LEAST_TOP_DB, BOTTOM_DB = 6.0, -2.0
TICKS_MS = (5, 10, 20, 50, 100, 200, 500)
TICK_ROOM = 8  # columns that a time label needs
WORDS = {
    Carrier.REQUEST: "THE REQUEST CARRIES IT",
    Carrier.REPLY: "THE REPLY CARRIES IT",
    Carrier.BYTES: "THE BYTES BOTH WAYS CARRY IT",
    Carrier.TURNAROUND: "IT COMES BETWEEN REQUEST AND REPLY",
    Carrier.WHOLE: "IT LASTS FROM THE REQUEST'S START TO THE REPLY'S END",
    Carrier.UNKNOWN: "WHICH BYTES CARRY IT CANNOT BE TOLD",
}


@dataclass(frozen=True)
class Sitter:
    """What a portrait page shows: the whole session or a step.

    Attributes:
        name: what it is of.
        portrait: None with too few polls or without a clear latency.
        heard: how loud it sounds.
        character: the character rate heard.
        bits: whether the bits themselves are heard.
        coherent: what bursts with the same bytes share.
    """

    name: str
    portrait: Portrait | None
    heard: Heard | None = None
    character: CharacterRate | None = None
    bits: BitsHeard | None = None
    coherent: CoherentAverage | None = None


def portrait_rows(sitter: Sitter, room: Room) -> list[Row]:
    """The whole page."""
    words = _words(sitter, room)
    portrait = sitter.portrait
    if portrait is None:
        why = "No portrait: it takes twenty polls and a latency that stands out."
        return [_title(sitter, room), BLANK, *wrapped(f"  {why}", room.width - 2, Role.WARN), BLANK, *words]
    plot = max(room.height - len(words) - LANES - 1, 3)
    return [
        _title(sitter, room),
        *draw_portrait(portrait, Room(room.width, plot + LANES, room.glyphs)),
        *words,
    ]


def _title(sitter: Sitter, room: Room) -> Row:
    glyphs = room.glyphs
    surely = row(Run(glyphs.full * 2, Role.RISE), Run(" surely above the floor  ", Role.LABEL))
    maybe = row(Run(glyphs.bar * 2, Role.LABEL), Run(" 95 % band  ", Role.LABEL))
    floor = row(Run(glyphs.surface * 2, Role.FLOOR), Run(" floor", Role.LABEL))
    legends = (row(*surely, *maybe, *floor), row(*maybe, *floor), row(*maybe))
    return rule(f"mean poll, {sitter.name}", room, *legends)


def draw_portrait(portrait: Portrait, room: Room) -> list[Row]:
    """Levels in dB over the floor, lanes of bytes below, and the time since the request began."""
    canvas, columns = Canvas(room.width, room.height), max(room.width - MARGIN, 1)
    height, glyphs = room.height - LANES, room.glyphs
    edges = np.linspace(portrait.at_s[0], portrait.at_s[-1] + 0.001, columns + 1)
    low, high = (_decibels(_pooled(portrait.at_s, part, edges)) for part in (portrait.low, portrait.high))
    top = max(LEAST_TOP_DB, 3 * math.ceil(float(np.nanmax(high)) / 3))
    plot = _Plot(canvas, height, top, glyphs)
    plot.axis()
    for k in range(columns):
        plot.column(MARGIN + k, float(low[k]), float(high[k]))
    _lanes(canvas, portrait, edges, height, glyphs)
    return canvas.rows()


def _pooled(at_s: Floats, values: Floats, edges: Floats) -> Floats:
    """Mean of the cells in each column, or the nearest cell where columns are narrower than cells."""
    sums = np.concatenate([[0.0], np.cumsum(values)])
    borders = np.append(at_s, at_s[-1] + 0.001)
    return np.asarray(np.diff(np.interp(edges, borders, sums)) / np.diff(edges) * 0.001)


def _decibels(ratio: Floats) -> Floats:
    return np.asarray(10 * np.log10(np.maximum(ratio, 1e-3)))


class _Plot:
    """Levels on a canvas, from `BOTTOM_DB` to a top."""

    def __init__(self, canvas: Canvas, height: int, top_db: float, glyphs: Glyphs) -> None:
        self._canvas, self._height, self._top_db, self._glyphs = canvas, height, top_db, glyphs

    def _rows(self, level_db: float) -> float:
        share = (level_db - BOTTOM_DB) / (self._top_db - BOTTOM_DB)
        return min(max(share * self._height, 0.0), float(self._height))

    def axis(self) -> None:
        """Labels at the left, the floor as a line."""
        per_row = (self._top_db - BOTTOM_DB) / self._height
        step = next((s for s in (1, 2, 3, 5, 6, 10, 20) if s / per_row >= 2), 20)
        for r in range(self._height):
            self._canvas.put(MARGIN - 1, r, self._glyphs.axis, Role.RULE)
        for level in range(0, int(self._top_db) + 1, step):
            y = self._height - 1 - min(math.floor(self._rows(level)), self._height - 1)
            label = f"{level:+d}" if level else "0 dB"
            self._canvas.put(0, y, f"{label:>4} ", Role.LABEL)
            self._canvas.put(MARGIN - 1, y, self._glyphs.tick, Role.RULE)
        floor = self._height - 1 - min(math.floor(self._rows(0.0)), self._height - 1)
        self._canvas.put(MARGIN, floor, self._glyphs.surface * (self._canvas.width - MARGIN), Role.FLOOR)

    def column(self, x: int, low_db: float, high_db: float) -> None:
        """One column: solid up to the band's lower end where that is above the floor, the band above it."""
        floor, low, high = self._rows(0.0), self._rows(low_db), self._rows(high_db)
        first, last = math.floor(min(max(low, 0.0), self._height - 1)), math.ceil(high)
        for r in range(first, min(max(last, first + 1), self._height)):
            self._canvas.put(x, self._height - 1 - r, self._glyphs.bar, Role.LABEL)
        if low > floor:
            for r, glyph in blocks(math.floor(floor), low, self._height, self._glyphs):
                if r < first or glyph == self._glyphs.full:
                    self._canvas.put(x, self._height - 1 - r, glyph, Role.RISE)


def _lanes(canvas: Canvas, portrait: Portrait, edges: Floats, y: int, glyphs: Glyphs) -> None:
    def lane(row_at: int, name: str, span_s: tuple[float, float] | None, glyph: str, role: Role) -> None:
        canvas.put(0, row_at, name, role)
        canvas.put(MARGIN - 1, row_at, glyphs.axis, Role.RULE)
        if span_s is None:
            return
        inside = np.flatnonzero((edges[1:] > span_s[0]) & (edges[:-1] < span_s[1]))
        if len(inside):
            canvas.put(MARGIN + int(inside[0]), row_at, glyph * len(inside), role)
            words = f" {1000 * (span_s[1] - span_s[0]):.1f} ms"
            canvas.put(MARGIN + int(inside[-1]) + 1, row_at, words, Role.LABEL)

    reply = portrait.reply_s
    lane(y, "ask", (0.0, portrait.request_s), glyphs.to_radio, Role.TO_RADIO)
    between = (portrait.request_s, reply[0]) if reply is not None and reply[0] > portrait.request_s else None
    lane(y + 1, "wait", between, glyphs.idle, Role.LABEL)
    lane(y + 2, "reply", reply, glyphs.from_radio, Role.FROM_RADIO)
    _time_axis(canvas, edges, y + 3, glyphs)


def _time_axis(canvas: Canvas, edges: Floats, y: int, glyphs: Glyphs) -> None:
    per_column_ms = 1000 * float(edges[1] - edges[0])
    step = next((ms for ms in TICKS_MS if ms / per_column_ms >= TICK_ROOM), TICKS_MS[-1])
    canvas.put(0, y, "ms", Role.LABEL)
    first = math.ceil(1000 * float(edges[0]) / step)
    for k in range(first, int(1000 * float(edges[-1]) / step) + 1):
        x = MARGIN + int((k * step - 1000 * float(edges[0])) / per_column_ms)
        label = f"{glyphs.flag}{k * step}"
        if x + len(label) <= canvas.width:
            canvas.put(x, y, label, Role.LABEL)


# ---- words


def _words(sitter: Sitter, room: Room) -> list[Row]:
    """Who carries it, how it sounds, what its spectrum says."""
    facts: list[Row] = []
    portrait = sitter.portrait
    if portrait is not None:
        sure = portrait.carrier is not Carrier.UNKNOWN
        role = Role.RISE if sure else Role.WARN
        lead = f"ahead of every other by {portrait.lead:.1f} standard errors; {portrait.polls} polls"
        if not sure:
            lead = f"the best guess leads by {portrait.lead:.1f} standard errors of 3; {portrait.polls} polls"
        facts += [
            BLANK,
            *_fact("carrier", WORDS[portrait.carrier], role, room),
            *_fact("", lead, Role.LABEL, room),
        ]
    facts += _fact("heard", _heard(sitter.heard), Role.TEXT, room)
    facts += _fact("character rate", _character(sitter.character), Role.TEXT, room)
    if sitter.bits is not None:
        told = "heard" if sitter.bits.heard else "not made out"
        facts += _fact("bits themselves", f"{told}. {sitter.bits.because}", Role.TEXT, room)
    if sitter.coherent is not None:
        facts += _fact("averaged", _averaged(sitter.coherent), Role.TEXT, room)
    return facts


def _fact(name: str, words: str, role: Role, room: Room) -> list[Row]:
    """A fact on one row, or on two where it is long; the rest is in the report."""
    lead = Run(f"  {name:<15} ", Role.LABEL)
    free = max(room.width - width_of((lead,)) - 1, 1)
    first, *more = wrapped(room.glyphs.clean(words, 300), free, role) or [BLANK]
    rows = [fit(row(lead, *first), room.width)]
    if more:
        rest = shorten(" ".join(text_of(line) for line in more), free)
        rows.append(fit(row(Run(" " * width_of((lead,))), Run(rest, role)), room.width))
    return rows


def _averaged(one: CoherentAverage) -> str:
    kind = "replies" if one.reply else "requests"
    share = db(one.i_over_n_db.value, sign=True).strip()
    return f"{one.bursts} equal {kind} share I/N {share} dB; the average gains {one.gain_db:.0f} dB on noise"


def _heard(heard: Heard | None) -> str:
    if heard is None:
        return "not known yet: it takes a second of quiet and a second of polling"
    if heard.more_db is None:
        return f"{heard.floor_db:.1f} dBqps without polls"
    more = db(heard.more_db, sign=True).strip()
    levels = f"{heard.floor_db:.1f} to {heard.polled_db:.1f} dBqps"
    return f"{more} dB to the ear while polled ({levels})"


def _character(character: CharacterRate | None) -> str:
    if character is None:
        return "none can be told from the spectrum"
    framing = f" {character.framing}" if character.framing is not None else ""
    shift = f", shifted by {character.shift_hz:.0f} Hz" if character.shift_hz else ""
    return f"{character.baud} baud{framing}: the rise has its spectrum{shift}"
