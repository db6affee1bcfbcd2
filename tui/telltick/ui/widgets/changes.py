"""Changes: setups that differ, set against each other, their differences drawn on one scale."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from telltick.model.answers import Answers, Change, ChangeVerdict
from telltick.model.readings import Estimate
from telltick.ui.format import db
from telltick.ui.glyphs import Glyphs
from telltick.ui.rows import BLANK, Role, Room, Row, Run, fit, row, shorten, spread, width_of, wrapped
from telltick.ui.widgets.bars import Stretched, axis, bar, reach_for
from telltick.ui.widgets.sheet import LEAD, Item, Sheet
from telltick.ui.widgets.steps import numbers_of

SIGN = {ChangeVerdict.CHANGED: "!", ChangeVerdict.SAME: "=", ChangeVerdict.UNDECIDED: "?"}
ROLE = {ChangeVerdict.CHANGED: Role.RISE, ChangeVerdict.SAME: Role.GOOD, ChangeVerdict.UNDECIDED: Role.WARN}
NAME, VALUE, INTERVAL = 11, 7, 17  # columns of a difference: what, value, interval
LEAST_WORDS = 30  # cells for what was changed, before the steps are told beside it
TICKS_DB = (1.0, 3.0, 6.0, 12.0, 24.0, 48.0)
NONE_YET = (
    "No two setups to set against each other yet.",
    "Change one thing at a time, with its key, and return to where you began: a step before, a step with it, "
    "a step after tell more than three things changed at once.",
)


def changes_sheet(answers: Answers, room: Room) -> Sheet:
    """The page: each change with its three differences, then what was corrected for."""
    if not answers.changes:
        lines = [line for part in NONE_YET for line in (*wrapped(part, room.width - 4, Role.TEXT), BLANK)]
        return Sheet(items=tuple(Item((line,)) for line in (BLANK, *lines)))
    scale = scale_for(answers.changes)
    widths = _Widths.of(answers.changes, room)
    numbered = enumerate(answers.changes, 1)
    items = tuple(_item(number, change, scale, room, widths) for number, change in numbered)
    return Sheet(items=items, foot=(_axis(scale, room), *(_corrected(answers, room))))


def scale_for(changes: Iterable[Change]) -> Stretched:
    """The scale that all differences are drawn on."""
    changes = tuple(changes)
    ends = [abs(end) for c in changes for e in _differences(c) if e is not None for end in (e.low, e.high)]
    ends += [abs(c.interference_at_least_db) for c in changes if c.interference_at_least_db is not None]
    return Stretched(reach_for(max(ends, default=6.0)), max(change.bound_db for change in changes))


def change_words(change: Change, glyphs: Glyphs) -> str:
    """What was changed from what to what."""
    parts = [
        f"{f}: {change.before.get(f, '?')} {glyphs.arrow} {change.after.get(f, '?')}" for f in change.factors
    ]
    return glyphs.clean(", ".join(parts), 200)


def verdict_run(change: Change) -> Run:
    """The verdict with its sign."""
    words = change.words.upper() if change.verdict is not ChangeVerdict.SAME else change.words
    more = f", {change.more_polls} more polls a side" if change.more_polls else ""
    return Run(f"{SIGN[change.verdict]} {words}{more}", ROLE[change.verdict])


def _differences(change: Change) -> tuple[Estimate | None, ...]:
    return change.excess_db, change.interference_db, change.noise_db


@dataclass(frozen=True)
class _Widths:
    """Columns that all changes share, so that verdicts stand below each other.

    Attributes:
        verdict: cells of the longest verdict.
        aside: cells of the longest account of steps; 0 where there is no room for any.
    """

    verdict: int
    aside: int

    @classmethod
    def of(cls, changes: Iterable[Change], room: Room) -> _Widths:
        changes = tuple(changes)
        verdict = max(width_of((verdict_run(change),)) for change in changes)
        aside = max(width_of(_aside(change, room.glyphs)) for change in changes)
        return cls(verdict, aside if room.width - LEAD - verdict - 6 - aside >= LEAST_WORDS else 0)


def _aside(change: Change, glyphs: Glyphs) -> Row:
    """Which steps were set against which, and how often it was swapped."""
    after = numbers_of(change.after_steps).partition(" ")[2]
    swaps = f"{change.swaps} swaps, " if change.swaps > 1 else ""
    return row(Run(f"{swaps}{numbers_of(change.before_steps)} {glyphs.arrow} {after}", Role.LABEL))


def _item(number: int, change: Change, scale: Stretched, room: Room, widths: _Widths) -> Item:
    width, wide = room.width - LEAD, widths.aside > 0
    aside = _aside(change, room.glyphs)
    right = row(Run("  "), *fit(row(verdict_run(change)), widths.verdict), Run(" "))
    if wide:
        right = row(*right, Run(" "), *fit(aside, widths.aside + 1))
    lead = Run(f"{number} ", Role.NUMBER)
    free = width - width_of(right) - width_of((lead,))
    words = Run(shorten(change_words(change, room.glyphs), free), Role.TEXT)
    head = spread(row(lead, words), right, width)
    lines = [
        _difference("I", change.interference_db, change, scale, room),
        _difference("N", change.noise_db, change, scale, room),
        _difference("excess", change.excess_db, change, scale, room),
    ]
    tail = [] if wide else [row(Run("   "), *aside)] if room.height >= 30 else []
    together = len(change.factors) > 1
    blame = (
        [row(Run("   changed together: no single one of them is to blame", Role.WARN))] if together else []
    )
    return Item((head, *lines, *tail, *blame, *([BLANK] if room.height >= 26 else [])), change)


def _difference(name: str, estimate: Estimate | None, change: Change, scale: Stretched, room: Room) -> Row:
    """One difference in figures and drawn; the one that the verdict rests on is pointed at."""
    rests = change.basis == {"I": "interference"}.get(name, name)
    role = ROLE[change.verdict] if rests else Role.TEXT
    sign = room.glyphs.here if rests else " "
    lead = row(Run(f"  {sign} ", Role.KEY), Run(f"{name:<{NAME - 4}}", Role.NUMBER if rests else Role.LABEL))
    value = Run(
        db(estimate.value if estimate else None, VALUE, sign=True), Role.NUMBER if rests else Role.TEXT
    )
    words = f"  {estimate.low:+.1f} to {estimate.high:+.1f}" if estimate else ""
    limit = change.interference_at_least_db if estimate is None and name == "I" else None
    if limit is not None:
        words = f"  {limit:+.0f} or {'less' if limit < 0 else 'more'}"
    length = bar_length(room)
    drawn = bar(
        estimate if limit is None else _open_ended(limit, scale),
        scale,
        length,
        room.glyphs,
        role=role,
        signs=signs(scale, room.glyphs),
    )
    return row(*lead, value, *fit(row(Run(words, Role.LABEL)), INTERVAL + 1), *drawn)


def _open_ended(limit: float, scale: Stretched) -> Estimate:
    """What lies beyond a limit, up to the end of the scale."""
    end = math.copysign(scale.reach, limit)
    return Estimate(limit, min(limit, end), max(limit, end))


def signs(scale: Stretched, glyphs: Glyphs) -> dict[float, str]:
    """What stands on the scale: zero, and the bound on both sides."""
    return {-scale.bound: glyphs.bound, 0.0: glyphs.zero, scale.bound: glyphs.bound}


def bar_length(room: Room) -> int:
    """Cells for the drawn difference."""
    return max(min(room.width - LEAD - NAME - VALUE - INTERVAL - 2, 100), 0)


def _axis(scale: Stretched, room: Room) -> Row:
    ticks = [tick for tick in (scale.bound, *TICKS_DB) if tick <= scale.reach]
    values = {0.0: "0"} | {-scale.reach: f"-{scale.reach:g}", scale.reach: f"+{scale.reach:g} dB"}
    values |= {sign * tick: f"{sign * tick:+g}" for tick in ticks if tick < scale.reach for sign in (-1, 1)}
    lead = fit(row(Run("  after less before, 95 %", Role.LABEL)), LEAD + NAME + VALUE + INTERVAL + 1)
    return row(*lead, *axis(values, scale, bar_length(room)))


def _corrected(answers: Answers, room: Room) -> list[Row]:
    count = answers.comparisons
    bound = max(change.bound_db for change in answers.changes)
    what = f"{room.glyphs.bound} the bound: alike means surely within {bound:g} dB"
    many = f"; {count} comparisons, corrected for by Holm's method" if count > 1 else ""
    return [row(Run("  "), *line) for line in wrapped(f"{what}{many}.", room.width - 2, Role.LABEL)][:2]
