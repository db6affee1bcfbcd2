"""Levels at the antenna socket: what a calibration says, and the noise that a place makes there."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


@dataclass(frozen=True, kw_only=True)
class Calibration:
    """A level known at the antenna socket and what the audio read.

    It holds only for the same RF gain, monitor level and gain control (off).

    Attributes:
        input_dbm: level of the signal fed in.
        audio_dbfs: level it made in the measured band.
        how: where the level is known from, such as ``signal generator``.
    """

    input_dbm: float
    audio_dbfs: float
    how: str = ""

    def dbm(self, audio_dbfs: float) -> float:
        """Level at the antenna socket that makes this audio level, while nothing reacts to level."""
        return self.input_dbm + audio_dbfs - self.audio_dbfs


class Environment(StrEnum):
    """Kinds of place in Rec. ITU-R P.372, and the sky."""

    CITY = "city"
    RESIDENTIAL = "residential"
    RURAL = "rural"
    QUIET_RURAL = "quiet rural"
    GALACTIC = "galactic"


@dataclass(frozen=True)
class ExpectedNoise:
    """External noise of an environment at one frequency.

    Attributes:
        figure_db: median F_am, dB above k T0 B.
        dbm: median power in the bandwidth asked for.
        low_dbm: exceeded nine tenths of the time and places.
        high_dbm: exceeded one tenth.
    """

    figure_db: float
    dbm: float
    low_dbm: float
    high_dbm: float


@dataclass(frozen=True)
class OnAir:
    """Would the interference matter in use? Levels at the antenna socket beside the noise to expect there.

    Attributes:
        noise_dbm: noise floor N.
        interference_dbm: interference I; None when none was found.
        noise_s: N in S-units.
        interference_s: I in S-units; empty when none was found.
        frequency_hz: frequency the receiver is tuned to.
        environment: kind of place chosen.
        expected: man-made or galactic noise there.
        over_expected_db: I less the expected median, in dB; above zero it is heard over the band noise.
        verdict: ``hidden by band noise``, ``heard above band noise`` or ``about as strong as band noise``.
    """

    noise_dbm: float
    interference_dbm: float | None
    noise_s: str
    interference_s: str
    frequency_hz: float
    environment: Environment
    expected: ExpectedNoise
    over_expected_db: float | None
    verdict: str
