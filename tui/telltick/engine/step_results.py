"""What was found of each step, worked out anew only where something is new.

Close looks take long, and a session of an hour may have a hundred marks: at most sixteen steps are looked at
closely, at most six of one setup, those that come first and the clearest of all. Later steps are listened to
for a shorter time. Where there are more than sixteen steps, two of each setup do, for the ear too: a return
to a setup that was heard twice tells no more. So the time that a session takes hardly depends on how many
marks it has.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from telltick.engine.close_looks import BRIEFLY_S, LISTEN_S, CloseLook, CloseLooker, longest_part
from telltick.engine.gathering import Gathered
from telltick.engine.step_tally import StepTally
from telltick.measure.reading import reading_of, take_reading
from telltick.measure.rows import PollRows
from telltick.measure.stretches import Stretch, joined_stretches, stretch_of
from telltick.model.readings import Latency, Reading, Verdict

TOO_SHORT = Reading(0, 0.0, warnings=("This stretch is too short to measure.",))
MOST_CLOSE = 16  # steps that are looked at closely
MOST_ALIKE = 6  # and those of one setup among them
ALIKE_OF_MANY = 2  # and where there are more steps than that
MOST_HEARD = 32  # steps that are listened to
GROWN = 1.25  # a step that goes on is looked at closely again when it has grown by a quarter


@dataclass
class StepResult:
    """What was found of a step, and what that rests on.

    Attributes:
        rests_on: tells whether anything is new.
        rows: its rows; None where there are none, or some were let go of.
        known: what was measured of it; None before it holds any rows.
        reading: of it.
        look: a close look at its middle.
        looked_s: how long the step was then.
        looked_tied: it was tied to polling then.
        heard_out: it was listened to, whether or not that told anything.
        passed_over: others of its setup were looked at closely instead, or as many steps as may be.
    """

    rests_on: tuple[object, ...]
    rows: PollRows | None
    reading: Reading
    known: Stretch | None = None
    look: CloseLook = field(default_factory=CloseLook)
    looked_s: float = 0.0
    looked_tied: bool = False
    heard_out: bool = False
    passed_over: bool = False

    @property
    def is_tied(self) -> bool:
        """Whether its noise is tied to polling, by its own evidence."""
        return self.reading.verdict is Verdict.TIED

    def needs_a_look(self, seconds: float, *, is_over: bool) -> bool:
        """Whether the look it has is out of date."""
        if self.is_tied != self.looked_tied or not self.looked_s:
            return True
        return seconds != self.looked_s if is_over else seconds > GROWN * self.looked_s


class StepResults:
    """The results of a session's steps."""

    def __init__(self, looker: CloseLooker) -> None:
        self._looker = looker
        self._known: dict[int, StepResult] = {}
        self.looks = 0  # taken so far

    @property
    def settled(self) -> int:
        """Steps that will hardly be looked at again: all that are known but the one that goes on."""
        return max(len(self._known) - 1, 0)

    def of(self, gathered: Gathered, index: int) -> StepResult:
        """The result of a step."""
        tally, latency, span = gathered.tallies[index], gathered.latency_of(index), gathered.spans[index]
        score = None if latency is None else latency.score
        rests_on = (id(tally), tally.end_s, tally.polls, score)
        known = self._known.get(index)
        if known is None or known.rests_on[0] != rests_on[0]:
            known = self._known[index] = StepResult((), None, TOO_SHORT)
        if known.rests_on != rests_on:
            known.rests_on = rests_on
            known.rows, known.known = measured(tally, latency)
            known.reading = _told(known.known, latency)
        if known.needs_a_look(span.seconds, is_over=gathered.is_over(index)):
            closely = self._is_worth_it(gathered, index)
            known.passed_over = not closely
            known.look = self._look(gathered, index, closely=closely)
            self.looks += 1
            known.looked_s, known.looked_tied = span.seconds, known.is_tied
        return known

    def rows(self) -> list[PollRows | None]:
        """Rows of each step, as they were last asked for."""
        return [self._known[index].rows for index in sorted(self._known)]

    def stretches(self) -> list[Stretch | None]:
        """What was measured of each step."""
        return [self._known[index].known for index in sorted(self._known)]

    def keep(self, count: int) -> None:
        """Forget steps that are no longer there."""
        for index in [index for index in self._known if index >= count]:
            del self._known[index]

    def close_look(self, gathered: Gathered, index: int) -> CloseLook:
        """The close look at a step that `of` knows, taken now if it was not worth it so far."""
        known = self._known[index]
        if known.passed_over and (known.is_tied or not known.heard_out):
            known.look, known.passed_over = self._look(gathered, index, closely=True), False
        return known.look

    def _is_worth_it(self, gathered: Gathered, index: int) -> bool:
        """Whether few enough of the steps before were looked at closely."""
        before = [k for k in range(index) if self._known[k].look.part is not None]
        return len(before) < MOST_CLOSE and _few_alike(gathered, index, before)

    def _is_worth_hearing(self, gathered: Gathered, index: int) -> bool:
        """Whether few enough of the steps before were listened to."""
        if len(gathered.steps) <= MOST_CLOSE:
            return True
        before = [k for k in range(index) if self._known[k].heard_out]
        return len(before) < MOST_HEARD and _few_alike(gathered, index, before)

    def _look(self, gathered: Gathered, index: int, *, closely: bool) -> CloseLook:
        span, known = gathered.spans[index], self._known[index]
        run = longest_part(span, gathered.runs)
        known.heard_out = run is not None and (closely or self._is_worth_hearing(gathered, index))
        if run is None or not known.heard_out:
            return CloseLook()
        latency = gathered.latencies[gathered.runs.index(run)]
        listen_s = LISTEN_S if index < MOST_CLOSE else BRIEFLY_S
        return self._looker.look(run, span, latency, known.reading, listen_s=listen_s, closely=closely)


def _few_alike(gathered: Gathered, index: int, before: Sequence[int]) -> bool:
    """Whether few enough of the steps before have the setup of this one."""
    setup = gathered.steps[index].setup
    most = MOST_ALIKE if len(gathered.steps) <= MOST_CLOSE else ALIKE_OF_MANY
    return sum(gathered.steps[k].setup == setup for k in before) < most


def measured(tally: StepTally, latency: Latency | None) -> tuple[PollRows | None, Stretch | None]:
    """All rows of a step, unless some were let go of, and what is found of it; None before there are any."""
    rows = tally.rows()
    newest = [stretch_of(rows, latency)] if rows is not None and len(rows.poll) else []
    parts = [*tally.let_go, *newest]
    return None if tally.let_go else rows, joined_stretches(parts) if parts else None


def _told(known: Stretch | None, latency: Latency | None) -> Reading:
    return TOO_SHORT if known is None else reading_of(known.account, latency)


def read_all(
    rows: Sequence[PollRows | None], known: Sequence[Stretch | None], latency: Latency | None
) -> Reading:
    """Reading of all steps together: of their rows, or joined where some of these were let go of.

    Args:
        rows: of each step.
        known: what was measured of each.
        latency: the latency of the session; None when none stands out.
    """
    found = [one for one in known if one is not None]
    there = [part for part in rows if part is not None and len(part.poll)]
    if len(found) > 1 and len(there) == len(found):
        return take_reading(PollRows.join(there), latency=latency)
    return _told(joined_stretches(found) if found else None, latency)


def clearest(results: Sequence[StepResult]) -> int | None:
    """The step in which the interference stands out most: it stands for the whole where a mean says nothing.

    A mean over setups in which it is loud, weak and gone would be the portrait of none.
    """
    tied = [index for index, one in enumerate(results) if one.is_tied]
    return max(tied or range(len(results)), key=lambda index: _strength(results[index].reading), default=None)


def _strength(reading: Reading) -> float:
    """How surely the interference stands out: the lower end of the excess."""
    return -1.0 if reading.excess_db is None else reading.excess_db.low
