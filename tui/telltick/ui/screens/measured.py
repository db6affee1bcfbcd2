"""A page about what was measured of the whole session: measures when it is opened, and again on its key."""

from __future__ import annotations

from telltick.model.marks import steps_of
from telltick.model.snapshot import Phase, Snapshot
from telltick.ui.format import clock, span
from telltick.ui.glyphs import Glyphs
from telltick.ui.measuring import Results
from telltick.ui.rows import Role, Row, Run, row, spread, width_of, wrapped
from telltick.ui.screens.page import PageScreen
from telltick.ui.widgets.sheet import Sheet, plain

GAUGE = 16  # cells of the bar that shows how far measuring is
WAITING = (
    "Measuring every step of the session: the latency first, then noise floor and interference of each poll.",
    "Steps that are over are measured once.",
)
MEANWHILE = "Recording goes on meanwhile."


class MeasuredPage(PageScreen):
    """Shows the newest measurement, and how far the next one is."""

    def begin(self) -> None:
        """Measure, unless nothing can have changed since the last time."""
        results = self.session.measuring.results
        moved = results.taken_ns != self._now_ns
        if results.measurement is None or (moved and not self.session.is_replay):
            self.measure()

    def measure(self) -> None:
        """Measure up to now."""
        if self.session.measuring.start(self._now_ns):
            self.session.measured_steps = self._steps_over()
            self.redraw()

    def again(self) -> None:
        """Measure again."""
        self.measure()

    def news(self, snapshot: Snapshot) -> None:
        """Measure again by itself when a step is over."""
        if self._steps_over() != self.session.measured_steps:
            self.measure()

    def measured(self) -> None:
        """The measuring thread has something new to say."""
        results = self.session.measuring.results
        if results.trouble:
            self.say(results.trouble, Role.WARN)
        self.redraw()

    def pressed(self, key: str) -> bool:
        """Esc gives up measuring first."""
        if key == "escape" and self.session.measuring.busy:
            self.session.measuring.cancel()
            return True
        return False

    def status(self, room: int) -> Row:
        """How far measuring is or how old the results are, in at most so many cells."""
        results, key = self.session.measuring.results, self.keymap.shown(self.action_name)
        for line in draw_status(results, key, self.glyphs):
            if width_of(line) <= room:
                return line
        return ()

    def title_line(self, left: Row) -> Row:
        """A title with the status at its right end."""
        width = self.size.width
        return spread(left, self.status(width - width_of(left) - 1), width)

    def waiting_sheet(self) -> Sheet:
        """What stands in place of results before there are any."""
        trouble = self.session.measuring.results.trouble
        lines: tuple[str, ...] = (f"There are no results: {trouble}.",) if trouble else WAITING
        lines += () if trouble or self.session.is_replay else (MEANWHILE,)
        text = [line for part in lines for line in (*wrapped(part, self.size.width - 4, Role.TEXT), ())]
        return Sheet(items=plain(((), *text)))

    @property
    def _now_ns(self) -> int:
        return self.session.desk.snapshot.now_ns

    def _steps_over(self) -> tuple[int, bool]:
        """How many steps are over, and whether the session is: what makes results out of date."""
        snapshot = self.session.desk.snapshot
        if self.session.is_replay:
            return len(snapshot.marks), True
        steps = steps_of(self.session.facts.setup, snapshot.marks, 0, snapshot.now_ns)
        return len(steps), snapshot.phase in (Phase.ENDED, Phase.STOPPED)


def draw_status(results: Results, key: str, glyphs: Glyphs) -> list[Row]:
    """The status in words, the fullest first."""
    if results.share is None:
        return _at_rest(results, key)
    filled = round(results.share * GAUGE)
    gauge = row(Run(glyphs.bar * filled, Role.NUMBER), Run(glyphs.track * (GAUGE - filled), Role.RULE))
    share = Run(f" {100 * results.share:3.0f} %", Role.NUMBER)
    left = Run("" if results.left_s is None else f"  {span(results.left_s)} left", Role.TEXT)
    stop = row(Run("  Esc", Role.KEY), Run(" stops it ", Role.LABEL))
    return [
        row(Run("measuring ", Role.LABEL), *gauge, share, left, *stop),
        row(*gauge, share, left, Run("  Esc ", Role.KEY)),
        row(share, left, Run("  Esc ", Role.KEY)),
        row(share),
    ]


def _at_rest(results: Results, key: str) -> list[Row]:
    if results.measurement is None:
        return [row(Run(f"{key} ", Role.KEY), Run("measures ", Role.LABEL))]
    taken = row(Run("as of ", Role.LABEL), Run(clock(results.taken_ns), Role.NUMBER))
    return [row(*taken, Run(f"  {key}", Role.KEY), Run(" measures again ", Role.LABEL)), row(*taken, " ")]
