"""The coin trial in pictures and words: the odds against chance as they grow, and what they mean."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from telltick.model.readings import TrialReading
from telltick.model.trial import odds_to_one
from telltick.ui.format import db, span
from telltick.ui.glyphs import Glyphs
from telltick.ui.rows import Canvas, Role, Room, Row, Run, blocks, row, wrapped
from telltick.ui.widgets.bars import Span, bar, reach_for

MARGIN = 13  # columns for "10^100 to 1"
THRESHOLDS = tuple(math.log10(odds) for odds in (1, 20, 100, 1000, 10_000, 1_000_000))  # powers of ten
STRIDES = (3, 6, 10, 20, 50, 100, 200, 500, 1000)  # powers of ten between lines beyond the usual thresholds
MOST_LINES = 8
LEAST_TOP, LOWEST = 3.3, -0.7  # powers of ten
FEWEST_SHOWN = 40  # cycles that there is room for from the beginning
LEAST_ODDS = math.log10(2)  # that are worth a number
FEW_CYCLES = 8  # below this nobody can say how fast the odds grow


@dataclass(frozen=True)
class Outlook:
    """How the trial will probably go on.

    Attributes:
        cycles: cycles still to go until the goal; 0 when it is reached; None when that cannot be told.
        seconds: the same in time.
    """

    cycles: int | None
    seconds: float | None


def outlook(trial: TrialReading, goal: float) -> Outlook:
    """When the goal is probably reached: the odds have lately grown by so many powers of ten a cycle.

    With an influence the logarithm of the odds grows about evenly: a random walk with a drift. The slope over
    the newer half of the cycles is the estimate.
    """
    path = trial.path_log10_e
    wanted = math.log10(goal) - trial.log10_e
    if wanted <= 0:
        return Outlook(0, 0.0)
    if len(path) < FEW_CYCLES or math.isinf(goal):
        return Outlook(None, None)
    half = len(path) // 2
    slope = float(path[-1] - path[half - 1]) / (len(path) - half)
    if slope <= 0:
        return Outlook(None, None)
    cycles = math.ceil(wanted / slope)
    return Outlook(cycles, cycles * trial.slots * trial.slot_s)


def draw_odds(trial: TrialReading, room: Room, goal: float) -> list[Row]:
    """The odds cycle by cycle on a logarithmic scale, thresholds marked, the goal named."""
    canvas, glyphs = Canvas(room.width, room.height), room.glyphs
    columns, height = max(room.width - MARGIN, 1), room.height - 1
    path = trial.path_log10_e
    goal_log = math.log10(goal) if math.isfinite(goal) else 0.0
    top = max(LEAST_TOP, goal_log + 0.3, float(path.max(initial=0.0)) + 0.3)
    plot = _Plot(canvas, height, top, glyphs)
    plot.thresholds(goal)
    shown = max(len(path), FEWEST_SHOWN)
    at = np.minimum((np.arange(columns) + 1) * shown // columns, shown)  # cycles up to each column
    for k, cycles in enumerate(at.tolist()):
        if 0 < cycles <= len(path):
            plot.column(MARGIN + k, float(path[cycles - 1]))
    _cycle_axis(canvas, shown, height, glyphs)
    return canvas.rows()


class _Plot:
    def __init__(self, canvas: Canvas, height: int, top: float, glyphs: Glyphs) -> None:
        self._canvas, self._height, self._top, self._glyphs = canvas, height, top, glyphs

    def _rows(self, log10_e: float) -> float:
        return min(max((log10_e - LOWEST) / (self._top - LOWEST), 0.0), 1.0) * self._height

    def _y(self, log10_e: float) -> int:
        return self._height - 1 - min(math.floor(self._rows(log10_e)), self._height - 1)

    def thresholds(self, goal: float) -> None:
        """A line across for each usual threshold, labelled at the left; the goal is named."""
        for r in range(self._height):
            self._canvas.put(MARGIN - 1, r, self._glyphs.axis, Role.RULE)
        taken: set[int] = set()
        goal_log = math.log10(goal)
        for power in sorted((*THRESHOLDS, *self._beyond()), key=lambda value: value != goal_log):
            y, mine = self._y(power), power == goal_log
            if power > self._top or (taken & {y - 1, y, y + 1} and not mine):
                continue
            taken.add(y)
            self._canvas.put(0, y, f"{odds_to_one(power):>{MARGIN - 2}}", Role.NUMBER if mine else Role.LABEL)
            self._canvas.put(MARGIN - 1, y, self._glyphs.tick, Role.RULE)
            line = self._glyphs.base_band if mine else self._glyphs.rule
            self._canvas.put(MARGIN, y, line * (self._canvas.width - MARGIN), Role.KEY if mine else Role.RULE)
            if mine:
                self._canvas.put(self._canvas.width - 15, y, " ends by itself", Role.KEY)

    def _beyond(self) -> list[float]:
        """Round powers of ten above the usual thresholds, as many as the eye wants."""
        stride = next((s for s in STRIDES if self._top / s <= MOST_LINES), STRIDES[-1])
        return [float(power) for power in range(stride, int(self._top) + 1, stride) if power > THRESHOLDS[-1]]

    def column(self, x: int, log10_e: float) -> None:
        """A bar from even odds up, or down where chance is ahead."""
        even, value = self._rows(0.0), self._rows(log10_e)
        if log10_e >= 0:
            for r, glyph in blocks(math.floor(even), value, self._height, self._glyphs):
                self._canvas.put(x, self._height - 1 - r, glyph, Role.RISE)
        else:
            for r in range(math.floor(value), max(math.ceil(even), 1)):
                self._canvas.put(x, self._height - 1 - r, self._glyphs.quiet, Role.QUIET)


def _cycle_axis(canvas: Canvas, shown: int, y: int, glyphs: Glyphs) -> None:
    columns = canvas.width - MARGIN
    step = next(
        (s for s in (5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000) if s / shown * columns >= 9), 10_000
    )
    canvas.put(0, y, "polls", Role.LABEL)
    for cycle in range(step, shown + 1, step):
        x = MARGIN + math.ceil(cycle * columns / shown) - 1
        label = f"{glyphs.flag}{cycle}"
        if x + len(label) <= canvas.width:
            canvas.put(x, y, label, Role.LABEL)


# ---- words


def odds_rows(trial: TrialReading, room: Room, goal: float) -> list[Row]:
    """The numbers beside the picture and what they mean."""
    width, glyphs = room.width, room.glyphs
    state = Run("RUNS" if trial.running else "OVER", Role.GOOD if trial.running else Role.LABEL)
    highest = Run(f"  highest {odds_to_one(trial.highest_log10_e)}", Role.LABEL)
    odds = row(
        Run("  odds against chance  ", Role.LABEL), Run(f"{odds_to_one(trial.log10_e):<16}", odds_role(trial))
    )
    first = row(*odds, state, *((highest,) if width >= 76 else ()))
    return [
        first,
        difference_row(trial, width, glyphs),
        _counts(trial),
        *_outlook_rows(trial, goal, width),
        *(row(Run("  "), *line) for line in wrapped(meaning(trial), width - 4, Role.TEXT)),
    ]


def odds_role(trial: TrialReading) -> Role:
    """The accent from 20 to 1 on."""
    return Role.RISE if trial.log10_e >= math.log10(20) else Role.NUMBER


def difference_row(trial: TrialReading, width: int, glyphs: Glyphs) -> Row:
    """The level in drawn slots less that in the others: in figures and drawn from the floor up."""
    lead = Run("  drawn slots louder by  ", Role.LABEL)
    estimate = trial.difference_db
    if estimate is None:
        return row(lead, Run("--.-", Role.NUMBER), Run("  too few polls at a clear latency", Role.LABEL))
    words = f"{estimate.low:.1f} to {estimate.high:.1f}"
    value = row(Run(db(estimate.value, sign=True), Role.NUMBER), Run(f" dB  95 % {words:<14} ", Role.LABEL))
    reach = reach_for(estimate.high)
    length = max(min(width - 62, 60), 0)
    drawn = bar(estimate, Span(0.0, reach), length, glyphs, role=odds_role(trial))
    scale = (Run("0 ", Role.LABEL), *drawn, Run(f" {reach:g}", Role.LABEL)) if length >= 8 else ()
    return row(lead, *value, *scale)


def _counts(trial: TrialReading) -> Row:
    cut = f"{trial.slots} slots of {1000 * trial.slot_s:.0f} ms"
    return row(
        Run("  polls that count  ", Role.LABEL),
        Run(f"{trial.cycles:5d}", Role.NUMBER),
        Run(f"  left out by rule {trial.left_out}  {cut}  seed {trial.seed}", Role.LABEL),
    )


def _outlook_rows(trial: TrialReading, goal: float, width: int) -> list[Row]:
    """When it will probably be enough."""
    ahead = outlook(trial, goal)
    goal_words = "no goal" if math.isinf(goal) else odds_to_one(math.log10(goal))
    lead = Run(f"  until {goal_words}  ", Role.LABEL)
    if not trial.running:
        return []
    if math.isinf(goal):
        words = row(Run("it goes on until you end it", Role.TEXT))
    elif ahead.cycles is None:
        words = row(Run("cannot be told: the odds do not grow steadily", Role.WARN))
    elif ahead.cycles == 0:
        words = row(Run("reached", Role.GOOD))
    else:
        about = f"about {span(ahead.seconds or 0.0)}, {ahead.cycles} polls more"
        words = row(Run(about, Role.NUMBER))
    return [row(lead, *words)]


def meaning(trial: TrialReading) -> str:
    """What the odds say, in a sentence."""
    highest = max(trial.highest_log10_e, 0.0)
    if highest < 1e-9:
        return "So far the slots that were drawn sound like those that were not."
    many = f"at most 1 in {odds_to_one(highest).removesuffix(' to 1')}" if highest >= LEAST_ODDS else "many"
    return (
        f"If it made no difference to the sound which slot was drawn, {many} such trials would ever get this "
        "far, whenever one looks or stops."
    )


def trial_line(trial: TrialReading, width: int) -> Row:
    """The coin trial on one line of the meter."""
    odds = odds_to_one(trial.log10_e)
    lead = Run("coin trial " if width >= 34 else "coin ", Role.LABEL)
    return row(lead, Run(odds, odds_role(trial)), Run(f"  {trial.cycles} polls", Role.LABEL))
