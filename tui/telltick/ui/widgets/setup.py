"""The setup: every factor of the bench and its value now."""

from __future__ import annotations

from collections.abc import Callable

from telltick.model.marks import Mark, MarkKind
from telltick.model.snapshot import Snapshot
from telltick.ui.format import short_clock
from telltick.ui.glyphs import Glyphs
from telltick.ui.rows import Role, Room, Row, Run, row, rule, shorten
from telltick.ui.widgets.panel import Panel

KeyOf = Callable[[str], str]
NAME_WIDTH = 14


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
    """The panel's rows; where they are too few the newest change comes first and the rest is counted."""
    newest = newest_change(snapshot)
    pointed = {newest.factor} if newest else set()
    if snapshot.open_mark is not None:
        pointed.add(snapshot.open_mark.factor)
    factors = [f for f in {**snapshot.setup, **dict.fromkeys(f for f in pointed if f)} if f != "polling"]
    free = max(room.height - 1, 0)
    tail: list[Row] = []
    if len(factors) > free:
        factors.sort(key=lambda f: f not in pointed)
        tail = [row(Run(f"  and {len(factors) - free + 1} more", Role.LABEL))]
        factors = factors[: max(free - 1, 0)]
    if not factors:
        tail = [row(Run("  nothing noted yet", Role.LABEL))]
    changed = newest.factor if newest else None
    lines = [_factor(f, snapshot, room, key_of(f), changed=f == changed) for f in factors]
    return [rule("setup", room), *lines, *tail]


def _factor(factor: str, snapshot: Snapshot, room: Room, key: str, *, changed: bool) -> Row:
    glyphs, running = room.glyphs, snapshot.open_mark
    name = f"{shorten(glyphs.clean(factor, 30), NAME_WIDTH - 1):<{NAME_WIDTH}}"
    head = row(Run(f"{key[:1] or ' '} ", Role.KEY), Run(name, Role.LABEL))
    if running is not None and factor == running.factor:
        return row(*head, Run(f"HANDS ON {short_clock(snapshot.now_ns - running.t_ns)}", Role.HANDS))
    value = glyphs.clean(snapshot.setup.get(factor, ""), 60)
    value = shorten(value, max(room.width - NAME_WIDTH - 4, 0))
    if changed:
        return row(*head, Run(value, Role.NUMBER), Run(f" {glyphs.changed}", Role.MARK))
    return row(*head, Run(value, Role.TEXT))
