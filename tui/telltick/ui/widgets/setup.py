"""The setup: every factor of the bench and its value now."""

from __future__ import annotations

from collections.abc import Callable

from telltick.model.marks import Mark, MarkKind
from telltick.model.plan import REQUEST, REQUEST_ANSWERED
from telltick.model.snapshot import Snapshot
from telltick.model.trial import FACTOR as TRIAL
from telltick.ui.format import short_clock
from telltick.ui.glyphs import Glyphs
from telltick.ui.rows import Role, Room, Row, Run, fit, row, rule, shorten, width_of
from telltick.ui.widgets.panel import Panel

KeyOf = Callable[[str], str]
NAME_WIDTH, LONGEST_VALUE, ITEM_GAP = 14, 24, 2
IN_TOP_LINE = ("polling", "baud", "poll interval")  # shown there when the poller is ours

UNTOLD = {REQUEST: REQUEST_ANSWERED, TRIAL: "off"}  # go without saying, unless that is what changed last


class SetupPanel(Panel):
    """Factors and values, the newest change pointed out."""

    def __init__(self, glyphs: Glyphs, key_of: KeyOf) -> None:
        super().__init__("setup", glyphs)
        self._key_of = key_of
        self._snapshot: Snapshot | None = None

    def show(self, snapshot: Snapshot) -> None:
        """Draw a snapshot's setup."""
        self._snapshot = snapshot
        self.redraw()

    def redraw(self) -> None:
        """Draw what is at hand."""
        if self._snapshot is not None:
            self.put(draw_setup(self._snapshot, self.room, self._key_of))


def newest_change(snapshot: Snapshot) -> Mark | None:
    """The change that settled last before the moment shown."""
    settled = [
        mark
        for mark in snapshot.marks
        if mark.kind is MarkKind.CHANGE
        and mark.settled_ns is not None
        and mark.settled_ns <= snapshot.now_ns
        and not mark.late
    ]
    return max(settled, key=lambda m: m.settled_ns or 0, default=None)


def draw_setup(snapshot: Snapshot, room: Room, key_of: KeyOf) -> list[Row]:
    """The panel's rows; where they are too few they stand side by side."""
    newest = newest_change(snapshot)
    pointed = {newest.factor} if newest else set()
    if snapshot.open_mark is not None:
        pointed.add(snapshot.open_mark.factor)
    hidden = IN_TOP_LINE if snapshot.polling.available else IN_TOP_LINE[:1]
    usual = [f for f, value in UNTOLD.items() if f not in pointed and snapshot.setup.get(f) == value]
    known = {**snapshot.setup, **dict.fromkeys(f for f in pointed if f)}
    factors = [f for f in known if f not in (*hidden, *usual)]
    changed = newest.factor if newest else None
    if not factors:
        return [rule("setup", room), row(Run("  nothing noted yet", Role.LABEL))]
    if len(factors) < room.height:
        return [
            rule("setup", room),
            *(_line(f, snapshot, room, key_of(f), changed=f == changed) for f in factors),
        ]
    items = {f: _item(f, snapshot, room, changed=f == changed) for f in factors}
    # The longest first: they leave gaps that the short ones fill. A change alone moves nothing.
    ordered = sorted(items, key=lambda f: (-width_of(items[f]), f))
    rows, left_over = _flow([items[f] for f in ordered], room)
    if left_over and rows:  # a picture may come before the first layout, when there is no room at all
        ordered.sort(key=lambda f: f not in pointed)
        rows, left_over = _flow([items[f] for f in ordered], room)
        more = Run(f" +{left_over}", Role.LABEL)
        rows[-1] = (*fit(rows[-1], room.width - len(more.text)), more)
    return [rule("setup", room), *rows]


def _line(factor: str, snapshot: Snapshot, room: Room, key: str, *, changed: bool) -> Row:
    """A factor on a row of its own, with its key."""
    name = f"{shorten(room.glyphs.clean(factor, 30), NAME_WIDTH - 1):<{NAME_WIDTH}}"
    value = _value(factor, snapshot, room.glyphs, changed=changed)
    return row(Run(f"{key[:1] or ' '} ", Role.KEY), Run(name, Role.LABEL), *value)


def _item(factor: str, snapshot: Snapshot, room: Room, *, changed: bool) -> Row:
    """A factor among others on a row."""
    name = Run(f"{room.glyphs.clean(factor, 30)} ", Role.LABEL)
    value = _value(factor, snapshot, room.glyphs, changed=changed, lead="")
    return row(name, *value, Run(" " * ITEM_GAP))


def _value(factor: str, snapshot: Snapshot, glyphs: Glyphs, *, changed: bool, lead: str = " ") -> Row:
    running = snapshot.open_mark
    if running is not None and factor == running.factor and not running.late:
        return row(Run(f"HANDS ON {short_clock(snapshot.now_ns - running.t_ns)}", Role.HANDS))
    value = shorten(glyphs.clean(snapshot.setup.get(factor, ""), 60), LONGEST_VALUE)
    if changed:
        return row(Run(value, Role.NUMBER), Run(lead + glyphs.changed, Role.MARK))
    return row(Run(value, Role.TEXT))


def _flow(items: list[Row], room: Room) -> tuple[list[Row], int]:
    """Items packed side by side, each into the first row that has room, and the number of those left over."""
    rows: list[Row] = []
    left_over = 0
    for item in items:
        spot = next((k for k, line in enumerate(rows) if _fits(line, item, room.width)), None)
        if spot is not None:
            rows[spot] = row(*rows[spot], *item)
        elif len(rows) < room.height - 1:
            rows.append(item)
        else:
            left_over += 1
    return [fit(line, room.width) for line in rows], left_over


def _fits(line: Row, item: Row, width: int) -> bool:
    return width_of(line) + width_of(item) - ITEM_GAP <= width
