"""The table of steps: what was heard with each setup, with intervals drawn on one scale."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from telltick.model.answers import SetupReading
from telltick.model.clock import NS
from telltick.model.measurement import Measurement, StepReading
from telltick.model.readings import Reading, Verdict
from telltick.ui.format import db, short_clock, span
from telltick.ui.glyphs import Glyphs
from telltick.ui.rows import Role, Room, Row, Run, fit, row, shorten, width_of
from telltick.ui.widgets.bars import Span, axis, bar, reach_for
from telltick.ui.widgets.meter import SHORT_VERDICT, VERDICT_ROLE
from telltick.ui.widgets.sheet import LEAD, Item, Sheet

MOST_NUMBERS = 4  # step numbers written out; details have them all
WIDE = 116  # cells from which words and intervals are written out
LEAST_NARROW, LEAST_WIDE = (13, 9), (22, 16)  # cells for the setup and for the drawn interval
TO_HALF = "{}0.5 dB"
VERDICT_SIGN = {Verdict.TIED: "+", Verdict.NO_TIE: "-", Verdict.TOO_FEW: ".", Verdict.CONTROL: "o"}


@dataclass(frozen=True)
class Line:
    """One line of the table, whatever it is about.

    Attributes:
        number: in its first column.
        setup: what is said of the setup.
        short: the same where room is short.
        reading: what was measured.
        more_s: as in `StepReading`.
        step: the step it is about; None for pools.
    """

    number: str
    setup: str
    reading: Reading
    more_s: float | None = None
    step: StepReading | None = None
    short: str = ""

    def words(self, width: int) -> str:
        """What is said of the setup, as fully as the width allows; it is cut between its parts."""
        if self.short and width_of((Run(self.setup),)) > width:
            return _whole_parts(self.short, width)
        return _whole_parts(self.setup, width)


@dataclass(frozen=True)
class Column:
    """A column of the table.

    Attributes:
        title: its heading.
        width: cells, the blank after it included.
        draw: a line's cell.
        rank: columns of high rank are left out where room is short.
        left: its text stands at the left.
    """

    title: str
    width: int
    draw: Callable[[Line, Glyphs], Run]
    rank: int
    left: bool = False


def steps_sheet(measurement: Measurement, room: Room) -> Sheet:
    """The page: the whole session, every step, setups that came back."""
    whole = Line("all", "whole session", measurement.whole, short="together")
    steps = [step_line(step, room.glyphs) for step in measurement.steps]
    pools = [s for s in measurement.answers.setups if len(s.steps) > 1]
    table = _Table(room, [whole, *steps, *(pool_line(pool, room.glyphs) for pool in pools)])
    items = [table.item(whole, measurement)]
    items += [table.item(line, step) for line, step in zip(steps, measurement.steps, strict=True)]
    if pools:
        items.append(Item((row(), row(Run("the same setup again, pooled", Role.LABEL)))))
        items += [table.item(pool_line(pool, room.glyphs), pool) for pool in pools]
    return Sheet(head=table.head, items=tuple(items))


def step_line(step: StepReading, glyphs: Glyphs) -> Line:
    """A step as a line."""
    changed = [f"{f}: {step.step.setup.get(f, '')}" for f in step.step.changed]
    words = glyphs.clean(", ".join(changed), 120) or ("as it began" if step.step.index == 0 else "as before")
    values = [_short(f, step.step.setup.get(f, "")) for f in step.step.changed]
    short = glyphs.clean(", ".join(values), 120)
    return Line(str(step.step.index + 1), words, step.reading, step.more_s, step, short)


def _whole_parts(text: str, width: int) -> str:
    """As many parts of a list as fit; two dots tell of the rest."""
    parts = text.split(", ")
    for count in range(len(parts), 0, -1):
        said = ", ".join(parts[:count]) + (".." if count < len(parts) else "")
        if width_of((Run(said),)) <= width:
            return said
    return shorten(text, width)


def _short(factor: str, value: str) -> str:
    return f"{factor} {value}" if value in ("on", "off", "") else value


def pool_line(pool: SetupReading, glyphs: Glyphs) -> Line:
    """A pool of steps as a line; a bench that moved by itself is told."""
    numbers = ", ".join(str(index + 1) for index in pool.steps)
    drift = ": BENCH DRIFTED" if pool.drifted else ": alike" if pool.drift_db else ""
    some = f"{len(pool.steps)} steps{' drift' if pool.drifted else ' alike' if pool.drift_db else ''}"
    return Line("", f"{numbers}{drift}", pool.reading, pool.more_s, short=some)


def numbers_of(steps: Iterable[int]) -> str:
    """Step numbers as they are said: ``step 2``, ``steps 1, 2, 4 ... 9``; empty without any."""
    numbers = [str(index + 1) for index in steps]
    if len(numbers) > MOST_NUMBERS:
        numbers = [*numbers[: MOST_NUMBERS - 2], f"{numbers[MOST_NUMBERS - 2]} ... {numbers[-1]}"]
    return f"step{'s' if len(numbers) > 1 else ''} {', '.join(numbers)}" if numbers else ""


class _Table:
    """Columns that fit the width, and a scale that fits every line."""

    def __init__(self, room: Room, lines: Sequence[Line]) -> None:
        self._glyphs, width = room.glyphs, room.width - LEAD
        self._columns = columns_for(width)
        rest = width - sum(column.width for column in self._columns)
        self._bar = max(LEAST_NARROW[1], min(rest * 2 // 5, 50)) if rest >= sum(LEAST_NARROW) else 0
        self._setup = max(rest - self._bar - (2 if self._bar else 1), 0)
        highest = [line.reading.excess_db.high for line in lines if line.reading.excess_db]
        self._scale = Span(0.0, reach_for(max(highest, default=12.0)))
        self.head = (self._titles(),)

    def item(self, line: Line, about: object) -> Item:
        before, after = self._columns[:1], self._columns[1:]
        role = VERDICT_ROLE[line.reading.verdict] if line.reading.excess_db else Role.LABEL
        drawn = bar(line.reading.excess_db, self._scale, self._bar, self._glyphs, role=role)
        setup = fit(row(Run(line.words(self._setup), Role.TEXT)), self._setup + 1)
        numbers, words = [c for c in after if not c.left], [c for c in after if c.left]
        cells = [*self._cells(before, line), *setup, *self._cells(numbers, line), *drawn]
        gap = Run(" " if self._bar else "")
        return Item((row(*cells, gap, *self._cells(words, line)),), about)

    def _cells(self, columns: Sequence[Column], line: Line) -> list[Run]:
        runs: list[Run] = []
        for column in columns:
            cell = column.draw(line, self._glyphs)
            text = shorten(cell.text, column.width - 1)
            pad = " " * (column.width - 1 - width_of((Run(text),)))
            runs += (
                [Run(text, cell.role), Run(pad + " ")]
                if column.left
                else [Run(pad), Run(text + " ", cell.role)]
            )
        return runs

    def _titles(self) -> Row:
        first, after = self._columns[0], self._columns[1:]
        numbers = "".join(f"{c.title:>{c.width - 1}} " for c in after if not c.left)
        words = "".join(f"{c.title.format(self._glyphs.within):<{c.width}}" for c in after if c.left)
        scale = fit(self._axis(), self._bar + (1 if self._bar else 0))
        lead = Run(
            f"{'':<{LEAD}}{first.title:<{first.width}}{'what changed':<{self._setup + 1}.{self._setup}}"
        )
        return row(Run(lead.text, Role.LABEL), Run(numbers, Role.LABEL), *scale, Run(words, Role.LABEL))

    def _axis(self) -> Row:
        """The scale over the intervals: its ends, and its middle where there is room."""
        low, high = self._scale.low, self._scale.high
        labels = {low: "0", high: f"{high:g} dB", high / 2: f"{high / 2:g}"}
        return axis(labels, self._scale, self._bar)


# ---- columns


def columns_for(width: int) -> list[Column]:
    """The columns that fit, with room left for the setup and the drawn interval."""
    wide = width >= WIDE
    least = sum(LEAST_WIDE if wide else LEAST_NARROW) + 2
    kept = list(_columns(wide=wide))
    while sum(c.width for c in kept) + least > width and any(c.rank for c in kept):
        kept.remove(max(kept, key=lambda c: c.rank))
    return kept


def _columns(*, wide: bool) -> tuple[Column, ...]:
    return (
        Column("#", 4, lambda line, _: Run(line.number, Role.NUMBER), 0, left=True),
        Column("from", 7, _began, 9),
        Column("lasted", 7, _lasted, 8),
        Column("polls", 6, lambda line, _: Run(str(line.reading.polls)), 2),
        Column(
            "N dBFS" if wide else "N", 7 if wide else 6, lambda line, _: Run(db(line.reading.noise_dbfs)), 3
        ),
        Column(
            "I dBFS" if wide else "I",
            7 if wide else 6,
            lambda line, _: Run(db(line.reading.interference_dbfs)),
            3,
        ),
        Column("excess" if wide else "dB", 7 if wide else 6, _excess, 0),
        Column("95 %", 14, _interval, 0) if wide else Column("", 6, _half, 0),
        Column("heard", 7, _heard, 7),
        Column("verdict", 20 if wide else 10, _verdict if wide else _short_verdict, 0, left=True),
        Column(TO_HALF, 12 if wide else 10, _more, 1, left=True),
        Column("baud heard", 11, _baud, 10, left=True),
    )


def _excess(line: Line, _: Glyphs) -> Run:
    estimate = line.reading.excess_db
    return Run(db(estimate.value if estimate else None, sign=True), Role.NUMBER)


def _half(line: Line, glyphs: Glyphs) -> Run:
    estimate = line.reading.excess_db
    return Run(f"{glyphs.within}{(estimate.high - estimate.low) / 2:.1f}" if estimate else "", Role.LABEL)


def _interval(line: Line, _: Glyphs) -> Run:
    estimate = line.reading.excess_db
    return Run(f"{estimate.low:.1f} to {estimate.high:4.1f}" if estimate else "", Role.TEXT)


def _short_verdict(line: Line, _: Glyphs) -> Run:
    verdict = line.reading.verdict
    return Run(f"{VERDICT_SIGN[verdict]} {SHORT_VERDICT[verdict]}", VERDICT_ROLE[verdict])


def _verdict(line: Line, _: Glyphs) -> Run:
    verdict = line.reading.verdict
    return Run(f"{VERDICT_SIGN[verdict]} {verdict}", VERDICT_ROLE[verdict])


def _more(line: Line, _: Glyphs) -> Run:
    if line.more_s is None:
        return Run("", Role.LABEL)
    return Run(f"{span(line.more_s)} more", Role.WARN) if line.more_s > 0 else Run("reached", Role.GOOD)


def _began(line: Line, _: Glyphs) -> Run:
    return Run(short_clock(line.step.step.start_ns) if line.step else "", Role.LABEL)


def _lasted(line: Line, _: Glyphs) -> Run:
    step = line.step.step if line.step else None
    return Run(span((step.end_ns - step.start_ns) / NS) if step else "", Role.LABEL)


def _heard(line: Line, _: Glyphs) -> Run:
    heard = line.step.heard if line.step else None
    return Run(db(heard.more_db, sign=True) if heard and heard.more_db is not None else "")


def _baud(line: Line, _: Glyphs) -> Run:
    character = line.step.character if line.step else None
    return Run(str(character.baud) if character else "", Role.TEXT)
