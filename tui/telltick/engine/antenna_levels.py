"""Levels at the antenna socket for every step: the session's calibration, and what the user says over it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from telltick.measure.across import GAINS
from telltick.measure.on_air import calibration_from, frequency_in, on_air
from telltick.model.marks import Step
from telltick.model.measurement import MeasuringOptions
from telltick.model.on_air import Calibration, Environment, OnAir
from telltick.model.readings import Reading
from telltick.model.session import SessionFacts

HOLDS_WITH = GAINS  # factors that a calibration stands and falls with
DUMMY_LOAD = "dummy load"


class AntennaLevels:
    """Turns readings of one session into levels at the antenna socket.

    Attributes:
        missing: why there are none, in one sentence; empty where there are some.
    """

    def __init__(
        self,
        facts: SessionFacts,
        options: MeasuringOptions,
        steps: Sequence[Step],
        readings: Sequence[Reading],
    ) -> None:
        """Settle calibration and place.

        Args:
            facts: what the session was opened with.
            options: what the user says; it goes before the session's own.
            steps: the session's steps.
            readings: of each step.
        """
        place = facts.place
        self._setup = facts.setup
        self._environment: Environment | None = options.environment or (place.environment if place else None)
        self._said_hz = options.frequency_hz
        self._usual_hz = 1e3 * place.frequency_khz if place and place.frequency_khz else None
        self._point = options.calibration or facts.calibration
        self._own_noise_dbfs = next(
            (
                reading.noise_dbfs
                for step, reading in zip(steps, readings, strict=True)
                if DUMMY_LOAD in step.setup.get("antenna", "") and self._holds(step.setup)
            ),
            None,
        )
        self.missing = self._why_not()

    def of(self, setup: Mapping[str, str], reading: Reading) -> OnAir | None:
        """Levels of a stretch with this setup; None where the calibration does not hold."""
        frequency_hz, calibration = self._frequency_hz(setup), self._calibration(setup)
        if calibration is None or self._environment is None or frequency_hz is None:
            return None
        return on_air(reading, calibration, frequency_hz, self._environment)

    def antenna_db(self, setup: Mapping[str, str]) -> float | None:
        """What makes dBm at the antenna socket of dBFS with this setup; it needs no place.

        Returns:
            None without a calibration, or where it does not hold.
        """
        calibration = self._calibration(setup)
        return None if calibration is None else calibration.dbm(0.0)

    def _calibration(self, setup: Mapping[str, str]) -> Calibration | None:
        frequency_hz = self._frequency_hz(setup)
        if self._point is None or not self._holds(setup):
            return None
        if frequency_hz is None and self._point.s_meter is not None:  # an S-unit depends on the frequency
            return None
        return calibration_from(self._point, frequency_hz or 0.0, self._own_noise_dbfs)

    def remarks(self, steps: Sequence[Step]) -> list[str]:
        """Why levels are missing, one sentence each."""
        if self.missing:
            return [f"on_air: {self.missing}"]
        said = []
        for step in steps:
            changed = [factor for factor in HOLDS_WITH if step.setup.get(factor) != self._setup.get(factor)]
            if changed:
                said.append(
                    f"steps[{step.index}]: on_air: the calibration holds only with {changed[0]} as at first."
                )
            elif self._frequency_hz(step.setup) is None:
                said.append(f"steps[{step.index}]: on_air: its frequency is not known; see --frequency.")
        return said

    def _holds(self, setup: Mapping[str, str]) -> bool:
        return all(setup.get(factor) == self._setup.get(factor) for factor in HOLDS_WITH)

    def _frequency_hz(self, setup: Mapping[str, str]) -> float | None:
        return self._said_hz or frequency_in(setup.get("frequency", "")) or self._usual_hz

    def _why_not(self) -> str:
        if self._point is None:
            return "there is no calibration; telltick measure --calibrate takes one."
        if self._environment is None:
            return "the kind of place is not known; telltick measure --environment takes it."
        if self._point.audio_dbfs is None and self._own_noise_dbfs is None:
            return "the calibration needs a step with a dummy load, and there is none."
        return ""
