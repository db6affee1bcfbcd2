"""Everything that can be measured of a session, live or saved, by one and the same way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from telltick.engine.antenna_levels import AntennaLevels
from telltick.engine.cell_store import CellStore
from telltick.engine.close_looks import CloseLook, CloseLooker
from telltick.engine.effort import Effort, Work
from telltick.engine.gates import poll_rhythm
from telltick.engine.gathering import Gathered, Gathering
from telltick.engine.heap import give_back_what_is_free
from telltick.engine.parts import Progress
from telltick.engine.remarks import session_warnings, standing_baud
from telltick.engine.replies import count_replies
from telltick.engine.rhythm import find_rhythm
from telltick.engine.spans import session_steps
from telltick.engine.step_results import StepResult, StepResults, clearest, read_all
from telltick.engine.trial import TrialFollower
from telltick.measure.answers import answers_of
from telltick.measure.banded import SpectrumSums
from telltick.measure.outlook import more_seconds
from telltick.measure.reading import polling_facts
from telltick.measure.rows import PollRows
from telltick.measure.stretches import Stretch
from telltick.measure.verdict import as_control, trial_between, verdict_with_trial
from telltick.model.characteristics import BitsHeard, CoherentAverage, Period
from telltick.model.marks import Step
from telltick.model.measurement import Measurement, MeasuringOptions, StepReading
from telltick.model.on_air import OnAir
from telltick.model.readings import PollingFacts, Reading, Spectrum, TrialReading
from telltick.store.lock import held
from telltick.store.session import SessionReader


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
        self._results = StepResults(self._looker)
        self._trial = TrialFollower(reader)
        self._bits: tuple[CloseLook | None, BitsHeard | None, CoherentAverage | None] = (None, None, None)
        self._period: tuple[float, Period | None] = (0.0, None)  # samples listened to, what was found

    def measure(self, progress: Progress = lambda _: True) -> Measurement:
        """Measure everything up to the newest audio that the reader knows.

        Args:
            progress: told the share done, 0 to 1; answers False to give up.

        Raises:
            CancelledError: progress said to give up; a later call goes on from there.
        """
        effort = self._expected(progress)
        gathered = self._gather(effort)
        trial = self._trial.read(self._reader.audio.samples)
        results = self._step_results(gathered, effort)
        give_back_what_is_free()  # reading many polls leaves holes
        best = clearest(results)
        look = CloseLook() if best is None else self._results.close_look(gathered, best)
        steps = _step_readings(gathered.steps, results, trial)
        polling = self._polling(gathered.steps)
        latency = gathered.best_latency
        rows, known = self.step_rows(), self.stretches()
        alone = len(results) == 1 and gathered.latency_of(0) == latency
        whole = verdict_with_trial(results[0].reading if alone else read_all(rows, known, latency), trial)
        levels = AntennaLevels(
            self._reader.facts, self._options, gathered.steps, [step.reading for step in steps]
        )
        steps = tuple(replace(step, on_air=levels.of(step.step.setup, step.reading)) for step in steps)
        bits, coherent = (None, None) if best is None else self._bits_of(gathered, best, look)
        give_back_what_is_free()  # and so do the readings
        effort.done(Work.BITS, 1)
        return Measurement(
            polling=polling,
            latency=latency,
            whole=whole,
            steps=steps,
            spectrum=_spectrum([tally.sums() for tally in gathered.tallies]),
            warnings=(
                *session_warnings(self._reader, latency, polling.polls),
                *levels.remarks(gathered.steps),
            ),
            trial=trial,
            portrait=look.portrait,
            heard=look.heard,
            character=look.character,
            bits=bits,
            coherent=coherent,
            period=self._rhythm(gathered) if not polling.polls else None,
            on_air=_common_level(levels, steps, whole),
            answers=answers_of(
                steps,
                rows,
                latency,
                known=known,
                trial=trial,
                bound_db=self._options.bound_db,
                over=self._is_over(),
            ),
        )

    def _gather(self, effort: Effort) -> Gathered:
        """Reduce the audio to rows; of hours, its pieces leave tens of megabytes of holes in memory."""
        gathered = self._gathering.gather(effort)
        give_back_what_is_free()
        return gathered

    def step_rows(self) -> list[PollRows | None]:
        """Rows of each step, as the last `measure` took them; None where they were let go of."""
        return self._results.rows()

    def stretches(self) -> list[Stretch | None]:
        """What the last `measure` found of each step."""
        return self._results.stretches()

    def _is_over(self) -> bool:
        """Is nobody recording any more?"""
        return self._reader.ending is not None or not held(self._reader.folder)

    def _expected(self, progress: Progress) -> Effort:
        """The effort of measuring, as far as it is known before anything is read."""
        effort = Effort(progress)
        effort.expect(Work.LOOK, len(session_steps(self._reader)) - self._results.settled)
        effort.expect(Work.BITS, 1)
        return effort

    def _step_results(self, gathered: Gathered, effort: Effort) -> list[StepResult]:
        self._results.keep(len(gathered.steps))
        results, settled = [], self._results.settled
        for index in range(len(gathered.steps)):
            looks = self._results.looks
            results.append(self._results.of(gathered, index))
            effort.done(Work.LOOK, self._results.looks - looks)
            effort.expect_more(Work.LOOK, len(gathered.steps) - max(index + 1, settled))
        return results

    def _polling(self, steps: Sequence[Step]) -> PollingFacts:
        reader, facts = self._reader, self._reader.facts
        seconds = reader.audio.samples / facts.rate_hz
        rhythm = poll_rhythm(reader, seconds) if reader.anchors else reader.gate().rhythm
        baud = standing_baud(steps, facts.poll.get("baud"))
        polling = polling_facts(rhythm, seconds, baud, str(facts.poll.get("framing", "")))
        return replace(polling, replies=count_replies(reader))

    def _bits_of(
        self, gathered: Gathered, index: int, look: CloseLook
    ) -> tuple[BitsHeard | None, CoherentAverage | None]:
        """Whether the bits are heard in a step, and what its bursts share; asked once for each look at it."""
        if self._bits[0] is not look:
            baud = standing_baud([gathered.steps[index]], self._reader.facts.poll.get("baud"))
            framing = str(self._reader.facts.poll.get("framing", ""))
            self._bits = (look, self._looker.bits(look, baud, framing), self._looker.coherent(look))
        return self._bits[1:]

    def _rhythm(self, gathered: Gathered) -> Period | None:
        """The rhythm in the audio alone, looked for anew when there is more audio."""
        if self._period[0] != gathered.until_s:
            self._period = (gathered.until_s, find_rhythm(self._reader, gathered.runs))
        return self._period[1]


def _step_readings(
    steps: Sequence[Step], results: Sequence[StepResult], trial: TrialReading | None
) -> tuple[StepReading, ...]:
    """What is told of each step, the coin trial heard."""
    told = []
    for step, result in zip(steps, results, strict=True):
        in_step = trial_between(trial, step.start_ns, step.end_ns)
        reading = as_control(verdict_with_trial(result.reading, in_step), step.setup)
        look, more_s = result.look, more_seconds(reading)
        sound = (look.heard, look.character, look.portrait)
        told.append(StepReading(step, reading, *sound, more_s, passed_over=result.passed_over))
    return tuple(told)


def _spectrum(parts: Sequence[SpectrumSums | None]) -> Spectrum | None:
    """Average spectra of all steps together."""
    total: SpectrumSums | None = None
    for part in parts:
        if part is not None:
            total = part if total is None else total.plus(part)
    return None if total is None else total.spectrum()


def _common_level(levels: AntennaLevels, steps: Sequence[StepReading], whole: Reading) -> OnAir | None:
    """Levels of the whole, where those of all steps are of one frequency."""
    heard_hz = {None if step.on_air is None else step.on_air.frequency_hz for step in steps}
    return levels.of(steps[0].step.setup, whole) if len(heard_hz) == 1 and None not in heard_hz else None
