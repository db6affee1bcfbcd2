"""Everything measured of a session, in one object."""

from __future__ import annotations

import math
from dataclasses import dataclass

from telltick.model.answers import NO_ANSWERS, Answers
from telltick.model.characteristics import BitsHeard, CharacterRate, CoherentAverage, Heard, Period, Portrait
from telltick.model.marks import Step
from telltick.model.on_air import CalibrationPoint, Environment, OnAir
from telltick.model.readings import Latency, PollingFacts, Reading, Spectrum, TrialReading


@dataclass(frozen=True, kw_only=True)
class MeasuringOptions:
    """What a user says that a session itself does not.

    Attributes:
        latency_s: serial time to audio time, in seconds; None looks for it.
        bound_db: differences up to this count as no change.
        calibration: a level known at the antenna socket; goes before the session's own.
        environment: kind of place; goes before the session's own.
        frequency_hz: frequency the receiver is tuned to; goes before the session's own.
    """

    latency_s: float | None = None
    bound_db: float = 1.0
    calibration: CalibrationPoint | None = None
    environment: Environment | None = None
    frequency_hz: float | None = None


@dataclass(frozen=True)
class StepReading:
    """What was measured of one step.

    Attributes:
        step: where it lies and how the bench stood.
        reading: N, I, excess, verdict.
        heard: how loud it sounds; None with less than a second of either kind of audio.
        character: the character rate that the audio speaks of; None where it cannot be told.
        portrait: mean response around its polls; None with too few or no clear latency.
        more_s: seconds still needed until the excess is known to within 0.5 dB either way; 0 when it is, None
            when it cannot be told.
        on_air: levels at the antenna socket; None without a calibration.
        passed_over: other steps were looked at closely in its place, so that some of this is None.
    """

    step: Step
    reading: Reading
    heard: Heard | None = None
    character: CharacterRate | None = None
    portrait: Portrait | None = None
    more_s: float | None = None
    on_air: OnAir | None = None
    passed_over: bool = False


@dataclass(frozen=True)
class Measurement:
    """Everything measured of a session.

    Attributes:
        polling: how the radio was polled.
        latency: serial time to audio time; None when none stands out.
        whole: all steps together.
        steps: each step by itself.
        spectrum: quiet and active, over the whole.
        warnings: one sentence each.
        trial: the coin trial; None without one.
        portrait: mean response around the polls of the whole.
        heard: how loud it sounds where it stands out most.
        character: the character rate that the whole speaks of.
        bits: whether the bits themselves are heard; None where bytes or baud are not known.
        coherent: what bursts with the same bytes share; None where none repeat or nothing stands out.
        period: the rhythm found in the audio alone; looked for only where there is no serial traffic.
        on_air: levels at the antenna socket; None without a calibration.
        answers: what the steps say when set against each other.
    """

    polling: PollingFacts
    latency: Latency | None
    whole: Reading
    steps: tuple[StepReading, ...]
    spectrum: Spectrum | None = None
    warnings: tuple[str, ...] = ()
    trial: TrialReading | None = None
    portrait: Portrait | None = None
    heard: Heard | None = None
    character: CharacterRate | None = None
    bits: BitsHeard | None = None
    coherent: CoherentAverage | None = None
    period: Period | None = None
    on_air: OnAir | None = None
    answers: Answers = NO_ANSWERS

    @property
    def on_air_step(self) -> StepReading | None:
        """The step that tells whether it would matter in use; None without levels at the antenna socket.

        The bench as it was found, if interference was found there; else the step in which I is strongest.
        """
        known = [one for one in self.steps if one.on_air is not None]
        found = [one for one in known if one.on_air and one.on_air.interference_dbm is not None]
        if not found or found[0] is known[0]:
            return known[0] if known else None
        return max(found, key=lambda one: (one.on_air and one.on_air.interference_dbm) or -math.inf)
