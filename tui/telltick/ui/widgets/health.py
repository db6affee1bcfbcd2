"""Input health: is there sound, is it of the right level, does the radio answer, is the recorder alive."""

from __future__ import annotations

from telltick.model.snapshot import InputHealth, Phase, PollingState, Snapshot
from telltick.ui.format import db
from telltick.ui.glyphs import Glyphs
from telltick.ui.rows import Role, Room, Row, Run, row, rule, shorten, width_of, wrapped
from telltick.ui.widgets.panel import Panel

LOWEST_DBFS = -60.0
STALE_S = 2.0
PEAK_FROM = 34  # cells from which the peak is written too


class HealthPanel(Panel):
    """Level bar, clipping, gaps, recorder, advice."""

    def __init__(self, glyphs: Glyphs) -> None:
        super().__init__("health", glyphs)
        self._snapshot: Snapshot | None = None

    def show(self, snapshot: Snapshot) -> None:
        """Draw a snapshot's health."""
        self._snapshot = snapshot
        self.redraw()

    def redraw(self) -> None:
        """Draw what is at hand."""
        if self._snapshot is not None:
            self.put(draw_health(self._snapshot, self.room))


def draw_health(snapshot: Snapshot, room: Room) -> list[Row]:
    """The panel's rows; where they are few the advice takes the place of the counts."""
    health = snapshot.health
    rows = [rule("input", room, _alive(snapshot, room.glyphs)), _level(health, room.width, room.glyphs)]
    advice = wrapped(room.glyphs.clean(health.advice), room.width, Role.WARN) if health.advice else []
    last = wrapped(f"last gap: {room.glyphs.clean(health.last_gap)}", room.width, Role.LABEL)
    told = [*advice, *(last if health.gaps and health.last_gap else [])]
    if len(told) + 4 <= room.height:
        left = room.height - len(told) - 3
        rows += [_counts(health, room), *_answers(snapshot.polling, room.width)[:left], *told]
    elif len(advice) + 3 <= room.height:
        rows += [_both(health, snapshot.polling, room), *told]
    else:  # the notice line has the advice in full
        rows += [row(Run(shorten(room.glyphs.clean(health.advice), room.width), Role.WARN))]
    return rows[: room.height]


def _level(health: InputHealth, width: int, glyphs: Glyphs) -> Row:
    """``-23.1 dBFS ####....|..``: the r.m.s. as a bar, the peak as a mark on it."""
    length = max(width - 11, 4)

    def at(level: float | None) -> int:
        if level is None:
            return 0
        return min(max(round((1 - level / LOWEST_DBFS) * length), 0), length)

    filled, peak = at(health.level_dbfs), at(health.peak_dbfs)
    role = Role.BAD if health.clipped else Role.WARN if health.advice else Role.GOOD
    cells = [Run(glyphs.full, role)] * filled + [Run(glyphs.idle, Role.RULE)] * (length - filled)
    if health.peak_dbfs is not None and peak:
        cells[peak - 1] = Run(glyphs.head, Role.BAD if health.clipped else Role.NUMBER)
    return row(Run(db(health.level_dbfs, 5), Role.NUMBER), Run(" dBFS ", Role.LABEL), *cells)


def _counts(health: InputHealth, room: Room) -> Row:
    clipped = (
        Run(f"CLIPS {min(health.clipped, 99999):<5}", Role.BAD)
        if health.clipped
        else Run("no clipping", Role.GOOD)
    )
    gaps = (
        Run(f"{health.gaps} gap{'s' if health.gaps != 1 else ''}", Role.WARN)
        if health.gaps
        else Run("no gaps", Role.GOOD)
    )
    peak = row(
        Run(f"  {room.glyphs.head} peak", Role.LABEL), Run(db(health.peak_dbfs, 6), Role.NUMBER)
    )  # names the mark on the bar
    return row(clipped, Run("  "), gaps, *(peak if room.width >= PEAK_FROM else ()))


def _answers(state: PollingState, width: int) -> list[Row]:
    """How the radio answers our own poller; nothing where nobody polls."""
    if not state.available:
        return []
    pieces = [Run(f"{state.replies} repl{'y' if state.replies == 1 else 'ies'}", Role.NUMBER)]
    pieces += _gone_wrong(state) or [Run("no timeouts, none late", Role.GOOD)]
    return _side_by_side(pieces, width)


def _both(health: InputHealth, state: PollingState, room: Room) -> Row:
    """Counts and answers on one row, what is wrong first."""
    wrong = [Run(f"CLIPS {min(health.clipped, 99999)}", Role.BAD)] if health.clipped else []
    wrong += [Run(f"{health.gaps} gap{'s' if health.gaps != 1 else ''}", Role.WARN)] if health.gaps else []
    if not wrong and not state.available:
        return _counts(health, room)
    fine = [Run("no clipping", Role.GOOD)] if not health.clipped else []
    fine += [Run("no gaps", Role.GOOD)] if not health.gaps else []
    pieces = [*wrong, *_gone_wrong(state), *fine]
    if state.reply_ms is not None:
        took = f"{state.reply_ms:.0f} ms"
        left = room.width - width_of(_side_by_side(pieces, room.width)[0]) - 2
        pieces.append(Run(f"in {took}" if left >= len(took) + 3 else took, Role.LABEL))
    return _side_by_side(pieces, room.width)[0]


def _gone_wrong(state: PollingState) -> list[Run]:
    """Polls that did not go well, by kind."""
    kinds = (
        (state.timeouts, "timeouts" if state.timeouts != 1 else "timeout"),
        (state.garbage, "garbage"),
        (state.late, "late"),
        (state.errors, "failed"),
    )
    return [Run(f"{count} {word}", Role.WARN) for count, word in kinds if count]


def _side_by_side(pieces: list[Run], width: int) -> list[Row]:
    """Pieces in as many rows as they need."""
    rows: list[Row] = [()]
    for piece in pieces:
        longer = row(*rows[-1], *([Run("  ")] if rows[-1] else []), piece)
        rows[-1:] = [longer] if width_of(longer) <= width or not rows[-1] else [rows[-1], row(piece)]
    return rows


def _alive(snapshot: Snapshot, glyphs: Glyphs) -> Row:
    age = snapshot.health.audio_age_s
    if snapshot.phase is Phase.STOPPED:
        return row(Run("recorder gone", Role.BAD))
    if snapshot.phase is Phase.STARTING:
        return row(Run("starting", Role.WARN))
    if snapshot.phase is not Phase.RECORDING:
        return row(Run("saved session", Role.LABEL))
    if age > STALE_S:
        return row(Run(f"NO SOUND {min(age, 9999):.0f} s", Role.BAD))
    return row(Run(f"{glyphs.dot} recorder alive", Role.GOOD))
