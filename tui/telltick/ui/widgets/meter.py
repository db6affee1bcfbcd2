"""The meter: how far the noise rises while bytes flow, how sure that is, and the verdict."""

from __future__ import annotations

from dataclasses import replace

from telltick.model.readings import Reading, Verdict
from telltick.model.snapshot import Snapshot
from telltick.ui.format import db, interval, short_clock
from telltick.ui.glyphs import Glyphs
from telltick.ui.rows import BLANK, Role, Room, Row, Run, fit, row, rule, shorten, width_of, wrapped
from telltick.ui.scales import REACHES_DB, Still, held_reach
from telltick.ui.widgets.figures import PIXELS_HIGH, figures, figures_width
from telltick.ui.widgets.odds import trial_line
from telltick.ui.widgets.panel import Panel

WIDEST = "00.0"
ROOMY, VERY_ROOMY = 18, 26  # rows from which the panel is set wider
NAMES_FROM, NAME_CELLS = 34, 11  # cells of the panel from which names stand in a column, and its cells
LEAST_BELOW = 3  # rows below the verdict: I/N, levels, step
SHORT_VERDICT = {
    Verdict.TIED: "tied",
    Verdict.NO_TIE: "no tie",
    Verdict.TOO_FEW: "too few",
    Verdict.CONTROL: "control",
}
VERDICT_ROLE = {
    Verdict.TIED: Role.RISE,
    Verdict.NO_TIE: Role.GOOD,
    Verdict.TOO_FEW: Role.LABEL,
    Verdict.CONTROL: Role.LABEL,
}


class Meter(Panel):
    """Window reading in large figures, step reading below."""

    def __init__(self, glyphs: Glyphs, window_s: float) -> None:
        super().__init__("meter", glyphs)
        self._window_s = window_s
        self._reach_db = REACHES_DB[2]
        self._still = Still()
        self._snapshot: Snapshot | None = None

    def show(self, snapshot: Snapshot) -> None:
        """Draw a snapshot's readings, held still where they hardly changed."""
        self._snapshot = replace(
            snapshot,
            window=self._still.reading("window", snapshot.window),
            step=self._still.reading("step", snapshot.step),
        )
        self.redraw()

    def redraw(self) -> None:
        """Draw what is at hand."""
        width, height = self.size
        if self._snapshot is None or not width or not height:
            return
        excess = self._snapshot.window.excess_db
        if excess is not None:
            self._reach_db = held_reach(self._reach_db, excess.high)
        self.put(draw_meter(self._snapshot, self.room, window_s=self._window_s, reach_db=self._reach_db))


def draw_meter(snapshot: Snapshot, room: Room, *, window_s: float, reach_db: float) -> list[Row]:
    """The panel's rows. Blank rows and warnings are for panels that have the room.

    Args:
        snapshot: holds both readings.
        room: what there is to draw in.
        window_s: length of the sliding window, in seconds.
        reach_db: upper end of the drawn scale, in dB.
    """
    reading, width = snapshot.window, room.width
    roomy = room.height >= ROOMY
    gap = [BLANK] if roomy else []
    rows = [_title(snapshot, window_s, room), *gap]
    rows += _large(reading, width, 2 if room.height >= VERY_ROOMY else 1, room.glyphs)
    rows += [row(Run("above the floor while bytes flow", Role.LABEL)), BLANK] if roomy else []
    rows += [_written_interval(reading, width), _drawn_interval(reading, reach_db, width, room.glyphs), *gap]
    rows += [_verdict(reading, width, room.glyphs), *gap]
    gap = [] if reading.warnings else gap  # their words need the room
    rows += [*_relation_and_trial(snapshot, room, len(rows)), _levels(reading, width)]
    rows += [*([] if snapshot.trial else gap), _step(snapshot, width, room.glyphs)]
    if len(rows) < room.height:
        rows.append(_latency(snapshot, width))
    if reading.verdict is Verdict.CONTROL:
        return rows  # it asks for no polls
    return rows + _warnings(reading, room, room.height - len(rows))


def _warnings(reading: Reading, room: Room, free: int) -> list[Row]:
    """As many warnings as there are rows for; the last one may be cut short."""
    rows: list[Row] = []
    for warning in reading.warnings:
        text = room.glyphs.clean(warning)
        lines = wrapped(text, room.width, Role.WARN)
        if len(rows) + len(lines) > free:
            rest = max(free - len(rows), 0) * room.width
            return rows + wrapped(shorten(text, rest), room.width, Role.WARN)[: free - len(rows)]
        rows += lines
    return rows


def _large(reading: Reading, width: int, scale: int, glyphs: Glyphs) -> list[Row]:
    """Five rows of figures, right-aligned so that the point stands still."""
    text = db(reading.excess_db.value if reading.excess_db else None)
    scale = scale if figures_width(WIDEST, scale) + 3 <= width else 1
    role = Role.RISE if reading.verdict is Verdict.TIED else Role.NUMBER
    role = Role.LABEL if reading.excess_db is None else role
    room = max(figures_width(WIDEST, scale), figures_width(text.strip(), scale))
    rows: list[Row] = []
    for y, line in enumerate(figures(text.strip(), role, glyphs, scale)):
        pad = room - sum(len(run.text) for run in line)
        unit = Run(" dB", Role.LABEL) if y == PIXELS_HIGH * scale - 1 else Run("")
        rows.append(row(Run(" " * max(pad, 0)), *line, unit))
    return rows


def _drawn_interval(reading: Reading, reach_db: float, width: int, glyphs: Glyphs) -> Row:
    """The interval and the value on a scale from 0 to the reach."""
    right = f" {f'{reach_db:.0f} dB':<5}"
    length = width - 2 - len(right)
    cells = [Run(glyphs.track, Role.RULE)] * length
    estimate = reading.excess_db

    def at(value: float) -> int:
        return min(max(round(value / reach_db * (length - 1)), 0), length - 1)

    if estimate is not None:
        role = Role.RISE if reading.verdict is Verdict.TIED else Role.NUMBER
        for x in range(at(estimate.low), at(estimate.high) + 1):
            cells[x] = Run(glyphs.bar, role)
        cells[at(estimate.value)] = Run(glyphs.bar_at, role)
    return row(Run("0 ", Role.LABEL), *cells, Run(right, Role.LABEL))


def _written_interval(reading: Reading, width: int) -> Row:
    between = Run(interval(reading.excess_db).rstrip(), Role.NUMBER)
    return row(_name("95 %", "95 %", width), between, Run(" dB", Role.LABEL))


def _verdict(reading: Reading, width: int, glyphs: Glyphs) -> Row:
    """The verdict word in a band that is told from across the room: solid, dotted or none."""
    word, role = reading.verdict.value.upper(), VERDICT_ROLE[reading.verdict]
    polls = row(Run(f"{reading.polls:5d}", Role.NUMBER), Run(" polls", Role.LABEL))
    side = max((width - width_of(polls) - len(word)) // 2 - 1, 0)
    if reading.verdict in (Verdict.TOO_FEW, Verdict.CONTROL):
        band = row(Run(word, role))
    else:
        filled = glyphs.full if reading.verdict is Verdict.TIED else glyphs.idle
        band = row(Run(f"{filled * side} {word} {filled * side}", role))
    return (*fit(band, max(width - width_of(polls), len(word))), *polls)


def _levels(reading: Reading, width: int) -> Row:
    return row(
        _name("N", "N", width),
        Run(db(reading.noise_dbfs, 6), Role.NUMBER),
        Run("  I ", Role.LABEL),
        Run(db(reading.interference_dbfs, 6), Role.NUMBER),
        Run(" dBFS", Role.LABEL),
    )


def _name(full: str, short: str, width: int) -> Run:
    """The name before a number; where there is room, numbers stand below each other."""
    return Run(f"{full:<{NAME_CELLS}}" if width >= NAMES_FROM else f"{short} ", Role.LABEL)


def _relation_and_trial(snapshot: Snapshot, room: Room, above: int) -> list[Row]:
    """I/N; with a coin trial its odds, in place of I/N where there is no row for both."""
    relation = _relation(snapshot.window, room.width)
    if snapshot.trial is None or not snapshot.trial.running:
        return [relation]
    odds = trial_line(snapshot.trial, room.width)
    return [odds, relation] if above + LEAST_BELOW < room.height else [odds]


def _relation(reading: Reading, width: int) -> Row:
    """I/N where something was found, what it cannot exceed where nothing was, dashes where nobody knows."""
    if reading.verdict is not Verdict.NO_TIE:
        return row(
            _name("I/N", "I/N", width),
            Run(db(reading.i_over_n_db, 6 if width >= NAMES_FROM else 5, sign=True), Role.NUMBER),
            Run(" dB", Role.LABEL),
        )
    limit = db(reading.upper_limit_i_over_n_db, 6, sign=True)
    return row(_name("I/N at most", "I/N at most", width), Run(limit, Role.NUMBER), Run(" dB", Role.LABEL))


def _step(snapshot: Snapshot, width: int, glyphs: Glyphs) -> Row:
    """The reading since the last change, on one line."""
    step = snapshot.step
    runs = [
        _name("this step", "step", width),
        Run(short_clock(int(snapshot.step_seconds * 1e9)), Role.NUMBER),
    ]
    if step.excess_db is None:
        why = "polling off" if step.verdict is Verdict.CONTROL else f"{step.polls} polls: too few"
        return row(*runs, Run(f"  {why}", Role.LABEL))
    half = (step.excess_db.high - step.excess_db.low) / 2
    runs += [
        Run(db(step.excess_db.value, 4 if width == NAMES_FROM else 5), Role.NUMBER),
        Run(f" {glyphs.within}", Role.LABEL),
        Run(db(half, 4), Role.NUMBER),
        Run(f" {SHORT_VERDICT[step.verdict]}", VERDICT_ROLE[step.verdict]),
    ]
    return row(*runs)


def _title(snapshot: Snapshot, window_s: float, room: Room) -> Row:
    """The title; a locked latency is said on it, since small panels have no row for the latency."""
    title = f"meter, last {window_s:g} s"
    if snapshot.latency is None or not snapshot.latency.locked:
        return rule(title, room)
    locked = row(Run("latency locked", Role.WARN))
    tight = width_of(locked) + len(title) + 8 > room.width
    return rule("meter" if tight else title, room, locked)


def _latency(snapshot: Snapshot, width: int) -> Row:
    """How far the sound lags behind the bytes: what every gate is moved by."""
    latency = snapshot.latency
    if latency is None:
        return row(Run("latency not found yet", Role.LABEL))
    doubt = f" or + k {1000 * latency.modulo_s:.0f}" if latency.modulo_s is not None else ""
    doubt = " locked" if latency.locked else doubt
    value = f"{1000 * latency.seconds.value:6.1f}"
    return row(_name("latency", "latency", width), Run(value, Role.NUMBER), Run(f" ms{doubt}", Role.LABEL))
