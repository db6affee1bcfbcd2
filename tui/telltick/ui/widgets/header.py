"""The top line: which session, is it recording, how long, and does the radio answer."""

from __future__ import annotations

from collections import deque

from telltick.model.session import SessionFacts
from telltick.model.snapshot import Phase, PollingState, Snapshot
from telltick.ui.format import clock, number, percent, wall
from telltick.ui.glyphs import Glyphs
from telltick.ui.rows import Role, Room, Row, Run, fit, row, shorten, width_of
from telltick.ui.widgets.panel import Panel

PHASE_ROLE = {
    Phase.STARTING: Role.WARN,
    Phase.RECORDING: Role.GOOD,
    Phase.ENDED: Role.LABEL,
    Phase.STOPPED: Role.BAD,
    Phase.PLAYING: Role.GOOD,
    Phase.PAUSED: Role.WARN,
}
RECENT_POLLS = 20
DELAY_FROM = 110  # cells from which the time to the reply is told


class Header(Panel):
    """The top line."""

    def __init__(self, facts: SessionFacts, glyphs: Glyphs, answers: RecentAnswers | None = None) -> None:
        """Prepare the line.

        Args:
            facts: of the session.
            glyphs: the characters to draw with.
            answers: shared by the top lines of all screens of one session.
        """
        super().__init__("header", glyphs)
        self._facts = facts
        self._answers = answers or RecentAnswers()
        self._snapshot: Snapshot | None = None

    def show(self, snapshot: Snapshot) -> None:
        """Draw a snapshot's state."""
        self._answers.add(snapshot.polling)
        self._snapshot = snapshot
        self.redraw()

    def redraw(self) -> None:
        """Draw what is at hand."""
        if self._snapshot is not None:
            self.put([draw_header(self._snapshot, self._facts, self._answers, self.room)])


class RecentAnswers:
    """How many of the last polls were answered: what matters while hands are on cables."""

    def __init__(self, polls: int = RECENT_POLLS) -> None:
        self._polls = polls
        self._seen: deque[tuple[int, int]] = deque()  # (polls, replies) so far

    def add(self, state: PollingState) -> None:
        """Take note of the totals; totals that fall (a playhead moved back) start anew."""
        if self._seen and state.polls < self._seen[-1][0]:
            self._seen.clear()
        if not self._seen or state.polls > self._seen[-1][0]:
            self._seen.append((state.polls, state.replies))
        while len(self._seen) > 1 and self._seen[-1][0] - self._seen[1][0] >= self._polls:
            self._seen.popleft()

    @property
    def share(self) -> tuple[int, int]:
        """(answered, asked) lately; the totals when too little was seen."""
        if len(self._seen) < 2:
            return (self._seen[0][1], self._seen[0][0]) if self._seen else (0, 0)
        first, last = self._seen[0], self._seen[-1]
        return last[1] - first[1], last[0] - first[0]


def draw_header(snapshot: Snapshot, facts: SessionFacts, answers: RecentAnswers, room: Room) -> Row:
    """The line: phase and times at the left, polling at the right, the name in what is left."""
    width, glyphs = room.width, room.glyphs
    phase = snapshot.phase
    lamp = glyphs.ring if phase in (Phase.ENDED, Phase.PAUSED) else glyphs.dot
    state = Run(f" {lamp} {phase.value.upper()}", PHASE_ROLE[phase])
    times = _times(snapshot, facts, wide=width >= 100)
    polling = _polling(snapshot.polling, answers, room)
    gap = Run("  " if width >= 100 else " ")
    name_room = width - width_of((state, *times, *polling, gap)) - 4
    name = shorten(glyphs.clean(facts.name, 60), max(name_room, 0))
    left = row(state, Run(f"  {name}", Role.TEXT), gap, *times)
    return (*fit(left, max(width - width_of(polling) - 2, 0)), Run(" "), *polling, Run(" "))


def _times(snapshot: Snapshot, facts: SessionFacts, *, wide: bool) -> Row:
    """Session time, and what else there is room for: on a small screen the line's framing goes before."""
    now = row(Run(clock(snapshot.now_ns), Role.NUMBER))
    if snapshot.phase in (Phase.PLAYING, Phase.PAUSED):
        speed = Run(f"  {number(snapshot.speed)}x" if wide or snapshot.speed != 1 else "", Role.KEY)
        return (*now, Run(f" of {clock(snapshot.duration_ns)}", Role.LABEL), speed)
    at = wall(facts.started_wall_ns, snapshot.now_ns, facts.utc_offset_s)
    return (*now, Run(f"  {at} local", Role.LABEL)) if wide else now


def _polling(state: PollingState, answers: RecentAnswers, room: Room) -> Row:
    wide, glyphs = room.width >= 100, room.glyphs
    if not state.available and not state.polls:
        return row(Run("no poller of ours" if wide else "no poller", Role.LABEL))
    rate = f"{number(state.interval_s)} s" if state.interval_s else ""
    line = " ".join(part for part in (str(state.baud or ""), state.framing or "") if part)
    about = f" {rate} {line}".rstrip()
    if not state.on:
        return row(Run(f"{glyphs.ring} not polling", Role.WARN), Run(about, Role.LABEL))
    answered, asked = answers.share
    lamp = Run(f"{glyphs.dot} polling", Role.GOOD)
    if asked and not answered:
        return row(lamp, Run(about + " ", Role.TEXT), Run("NO ANSWER", Role.BAD))
    role = Role.GOOD if answered == asked else Role.WARN
    share = Run(f" {percent(answered, asked)} answered", role)
    delay = (
        f" in {f'{state.reply_ms:.0f} ms':<6}"
        if room.width >= DELAY_FROM and state.reply_ms is not None
        else ""
    )
    return row(lamp, Run(about, Role.TEXT), share, Run(delay, Role.LABEL))
