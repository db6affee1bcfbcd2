"""The journal: what was changed and noted, newest at the bottom."""

from __future__ import annotations

from collections.abc import Callable

from telltick.model.marks import Mark
from telltick.model.session import SessionFacts
from telltick.model.snapshot import Snapshot
from telltick.ui.entries import Entry, entries
from telltick.ui.format import clock, short_clock
from telltick.ui.glyphs import Glyphs
from telltick.ui.rows import BLANK, Role, Room, Row, Run, row, rule, shorten, spread, width_of
from telltick.ui.widgets.panel import Panel

FIRST_HINTS = (  # for somebody who has never been here; the first entry takes their place
    "nothing yet: press a key when something changes",
    "one change at a time, 15 s before it and 15 s after",
    "then look at the results so far; the keys are below",
    "the help says of every number how it is made",
)
Letter = Callable[[Mark], str]


class JournalPanel(Panel):
    """Marks as lines; in replay the playhead stands among them."""

    def __init__(self, facts: SessionFacts, glyphs: Glyphs, letter: Letter, *, replay: bool) -> None:
        super().__init__("journal", glyphs)
        self._facts = facts
        self._letter = letter
        self._replay = replay
        self._back = 0
        self._snapshot: Snapshot | None = None
        self._known: tuple[tuple[Mark, ...], list[Entry]] = ((), [])

    def show(self, snapshot: Snapshot) -> None:
        """Draw a snapshot's marks."""
        self._snapshot = snapshot
        if snapshot.marks != self._known[0]:
            self._known = (snapshot.marks, entries(snapshot.marks, self._facts.setup, self.glyphs))
        self.redraw()

    def scroll_by(self, pages: int) -> None:
        """Look further back (positive) or return to the newest."""
        room = max(self.size.height - 2, 1)
        furthest = max(len(self._known[1]) - room, 0)
        self._back = min(max(self._back + pages * room, 0), furthest)
        self.redraw()

    def redraw(self) -> None:
        """Draw what is at hand."""
        if self._snapshot is not None:
            here_ns = self._snapshot.now_ns if self._replay else None
            drawn = draw_journal(
                self._known[1], self._snapshot, self.room, self._letter, here_ns=here_ns, back=self._back
            )
            self.put(drawn)


def draw_journal(
    known: list[Entry],
    snapshot: Snapshot,
    room: Room,
    letter: Letter,
    *,
    here_ns: int | None = None,
    back: int = 0,
) -> list[Row]:
    """The panel's rows.

    Args:
        known: every entry, in order of time.
        snapshot: the moment.
        room: what there is to draw in.
        letter: the letter of a mark on the strip.
        here_ns: in replay, the playhead, which stays in view.
        back: entries to look back from the newest.
    """
    free = max(room.height - 1, 0)
    newest = len(known)
    if here_ns is not None:
        passed = sum(entry.mark.t_ns <= here_ns for entry in known)
        newest = min(max(passed + free // 3, free), len(known))
    end = max(newest - back, min(free, len(known)))
    shown = known[max(end - free, 0) : end]
    hidden = f"{len(known)} entries" if back == 0 else f"{len(known) - end} newer below"
    title = rule("journal", room, *([row(Run(hidden, Role.LABEL))] if len(known) > free else []))
    lines = [_line(entry, snapshot, room, letter(entry.mark), here_ns) for entry in shown]
    if not known:
        lines = [
            row(Run(shorten(f"  {line}", room.width), Role.LABEL)) for line in FIRST_HINTS[: max(free, 1)]
        ]
    return [title, *lines]


def _line(entry: Entry, snapshot: Snapshot, room: Room, letter: str, here_ns: int | None) -> Row:
    mark = entry.mark
    ahead = here_ns is not None and mark.t_ns > here_ns
    role = Role.LABEL if ahead else Role.LATE if mark.late else Role.TEXT
    aside = entry.aside
    if mark.hands_on and not mark.late:
        role, aside = Role.HANDS, f"running {short_clock(snapshot.now_ns - mark.t_ns)}"
    tail = row(Run(f"  {aside}", Role.HANDS if role is Role.HANDS else Role.LABEL)) if aside else BLANK
    head = row(
        Run(f"{clock(mark.t_ns):>8} ", Role.LABEL), Run(f"{letter} ", Role.LABEL if ahead else Role.MARK)
    )
    free = room.width - width_of(head) - width_of(tail)
    return spread((*head, Run(shorten(entry.text, max(free, 0)), role)), tail, room.width)
