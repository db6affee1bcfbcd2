"""Everything that can be measured of a session, live or saved, by one and the same way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from telltick.engine.cell_store import CellStore
from telltick.engine.close_looks import CloseLook, CloseLooker, longest_part
from telltick.engine.gates import gate_near
from telltick.engine.gathering import Gathered, Gathering, Progress
from telltick.engine.trial import TrialFollower
from telltick.measure.answers import answers_of
from telltick.measure.banded import SpectrumSums
from telltick.measure.outlook import more_seconds
from telltick.measure.reading import polling_facts, take_reading
from telltick.measure.rows import PollRows
from telltick.measure.verdict import trial_between, verdict_with_trial
from telltick.model.errors import CancelledError
from telltick.model.marks import Step
from telltick.model.measurement import Measurement, MeasuringOptions, StepReading
from telltick.model.readings import Latency, Reading, Spectrum, TrialReading, Verdict
from telltick.store.session import SessionReader

TOO_SHORT = Reading(0, 0.0, warnings=("This stretch is too short to measure.",))


GATHERING = 0.9  # share of the work that is reading the audio
GROWN = 1.25  # a step that goes on is looked at closely again when it has grown by a quarter


@dataclass
class _StepResult:
    """What was found of a step, and what that rests on.

    Attributes:
        rests_on: tells whether anything is new.
        rows: its rows.
        reading: of those rows.
        look: a close look at its middle.
        looked_s: how long the step was then.
        looked_tied: it was tied to polling then.
    """

    rests_on: tuple[object, ...]
    rows: PollRows | None
    reading: Reading
    look: CloseLook = field(default_factory=CloseLook)
    looked_s: float = 0.0
    looked_tied: bool = False

    def needs_a_look(self, seconds: float, *, is_over: bool) -> bool:
        """Whether the look it has is out of date."""
        if (self.reading.verdict is Verdict.TIED) != self.looked_tied or not self.looked_s:
            return True
        return seconds != self.looked_s if is_over else seconds > GROWN * self.looked_s


class SessionMeasurer:
    """Measures a session again and again as it grows; steps that are over are measured once."""

    def __init__(self, reader: SessionReader, options: MeasuringOptions | None = None) -> None:
        """Begin.

        Args:
            reader: an open session, read by nobody else meanwhile.
            options: what the user says.
        """
        self._reader = reader
        self._options = options or MeasuringOptions()
        cells = CellStore(reader)
        self._gathering = Gathering(reader, cells, self._options.latency_s)
        self._looker = CloseLooker(reader, cells)
        self._trial = TrialFollower(reader)
        self._results: dict[int, _StepResult] = {}

    def measure(self, progress: Progress = lambda _: True) -> Measurement:
        """Measure everything up to the newest audio that the reader knows.

        Args:
            progress: told the share done, 0 to 1; answers False to give up.

        Raises:
            CancelledError: progress said to give up; a later call goes on from there.
        """
        gathered = self._gathering.gather(lambda share: progress(GATHERING * share))
        trial = self._trial.read(self._reader.audio.samples)
        results: list[_StepResult] = []
        for index in range(len(gathered.steps)):
            results.append(self._result(gathered, index))
            if not progress(GATHERING + (1 - GATHERING) * index / len(gathered.steps)):
                raise CancelledError("measuring was given up")
        steps = tuple(
            self._step_reading(step, result, trial)
            for step, result in zip(gathered.steps, results, strict=True)
        )
        rows = [result.rows for result in results]
        best, look = gathered.best_latency, _clearest_look(results)
        facts = self._reader.facts
        seconds = self._reader.audio.samples / facts.rate_hz
        gate = gate_near(self._reader, 0.0, seconds) if self._reader.anchors else self._reader.gate()
        baud = standing_baud(gathered.steps, facts.poll.get("baud"))
        return Measurement(
            polling=polling_facts(gate, seconds, baud, str(facts.poll.get("framing", ""))),
            latency=best,
            whole=verdict_with_trial(_read([part for part in rows if part is not None], best), trial),
            steps=steps,
            spectrum=_spectrum([tally.sums() for tally in gathered.tallies]),
            warnings=tuple(session_warnings(self._reader, best, gate.polls)),
            trial=trial,
            portrait=look.portrait,
            heard=look.heard,
            character=look.character,
            answers=answers_of(steps, rows, best, trial=trial, bound_db=self._options.bound_db),
        )

    def step_rows(self) -> list[PollRows | None]:
        """Rows of each step, as the last `measure` took them."""
        return [self._results[index].rows for index in sorted(self._results)]

    def _result(self, gathered: Gathered, index: int) -> _StepResult:
        """What was found of a step, worked out anew only where something is new."""
        tally, latency, span = gathered.tallies[index], gathered.latency_of(index), gathered.spans[index]
        rests_on = (id(tally), tally.end_s, tally.polls, latency is None, latency and latency.score)
        known = self._results.get(index)
        if known is None or known.rests_on != rests_on:
            rows = tally.rows()
            reading = _read([] if rows is None else [rows], latency)
            same = known is not None and known.rests_on[0] == rests_on[0]
            known = (
                replace(known, rests_on=rests_on, rows=rows, reading=reading)
                if known and same
                else (_StepResult(rests_on, rows, reading))
            )
            self._results[index] = known
        if known.needs_a_look(span.seconds, is_over=gathered.is_over(index)):
            known.look = self._look(gathered, index, known.reading)
            known.looked_s, known.looked_tied = span.seconds, known.reading.verdict is Verdict.TIED
        return known

    def _look(self, gathered: Gathered, index: int, reading: Reading) -> CloseLook:
        span = gathered.spans[index]
        run = longest_part(span, gathered.runs)
        if run is None:
            return CloseLook()
        return self._looker.look(run, span, gathered.latencies[gathered.runs.index(run)], reading)

    def _step_reading(self, step: Step, result: _StepResult, trial: TrialReading | None) -> StepReading:
        in_step = trial_between(trial, step.start_ns, step.end_ns)
        reading = verdict_with_trial(result.reading, in_step)
        look = result.look
        return StepReading(
            step,
            reading,
            heard=look.heard,
            character=look.character,
            portrait=look.portrait,
            more_s=more_seconds(reading),
        )


def _clearest_look(results: Sequence[_StepResult]) -> CloseLook:
    """For the whole, the look at the step in which the interference stands out most.

    A mean over setups in which it is loud, weak and gone would be the portrait of none.
    """
    tied = [one for one in results if one.reading.verdict is Verdict.TIED]
    best = max(tied or results, key=lambda one: _strength(one.reading), default=None)
    return CloseLook() if best is None else best.look


def _strength(reading: Reading) -> float:
    """How surely the interference stands out: lower end of the excess, a long stretch before a short one."""
    return -1.0 if reading.excess_db is None else reading.excess_db.low


def _read(parts: Sequence[PollRows], latency: Latency | None) -> Reading:
    """Reading of all rows together."""
    rows = PollRows.join(parts) if parts else None
    return TOO_SHORT if rows is None or not len(rows.poll) else take_reading(rows, latency=latency)


def _spectrum(parts: Sequence[SpectrumSums | None]) -> Spectrum | None:
    """Average spectra of all steps together."""
    total: SpectrumSums | None = None
    for part in parts:
        if part is not None:
            total = part if total is None else total.plus(part)
    return None if total is None else total.spectrum()


def standing_baud(steps: Sequence[Step], planned: Any) -> int | None:
    """The character rate, when it was the same throughout."""
    values = {step.setup["baud"] for step in steps if "baud" in step.setup}
    if not values:
        return int(planned) if planned else None
    one = values.pop()
    return int(one) if not values and one.isdigit() else None


def session_warnings(reader: SessionReader, latency: Latency | None, polls: int) -> list[str]:
    """What is missing in a session as a whole, one sentence each."""
    said = []
    if not reader.audio.samples:
        said.append("The session holds no audio.")
    if not polls:
        said.append("No serial traffic falls into the audio: interference cannot be told from noise.")
    elif latency is None:
        said.append("latency_ms: no latency stands out; nothing in the audio follows the bytes.")
    elif latency.modulo_s is not None:
        said.append(
            f"latency_ms: known only modulo the poll period of {1000 * latency.modulo_s:.1f} ms: "
            "the polls are too regular for so weak a tie."
        )
    if reader.ending is None:
        said.append("The session has no ending: it is still being recorded, or its recorder was killed.")
    if reader.gaps:
        count = len(reader.gaps)
        said.append(f"Audio is missing in {count} place{'s' if count > 1 else ''}.")
    return said
