"""Levels at the antenna socket: what a calibration says, and the noise that a place makes there."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum


@dataclass(frozen=True, kw_only=True)
class CalibrationPoint:
    """What is known of one level at the antenna socket, as a station profile says it.

    Exactly one of the first three, each for the RF gain, monitor level and gain control (off) that the
    session begins with. Fields are named as in the TOML file.

    Attributes:
        input_dbm: level of a signal fed in, such as a signal generator's.
        s_meter: a signal that the S-meter showed as this, such as ``S9`` or ``S9+20``.
        noise_figure_db: noise figure of the receiver; the level is its own noise with a dummy load.
        audio_dbfs: what that level reads in the measured band; with a noise figure it may be left out, and is
            then taken from the first step with a dummy load.
        how: where the level is known from.
    """

    input_dbm: float | None = None
    s_meter: str | None = None
    noise_figure_db: float | None = None
    audio_dbfs: float | None = None
    how: str = ""

    def __post_init__(self) -> None:
        """Refuse points that say too much, too little or nonsense.

        Raises:
            ValueError: the message starts with the name of the offending key.
        """
        if sum(known is not None for known in (self.input_dbm, self.s_meter, self.noise_figure_db)) != 1:
            raise ValueError("input_dbm: give one of input_dbm, s_meter and noise_figure_db")
        if self.audio_dbfs is None and self.noise_figure_db is None:
            raise ValueError("audio_dbfs: say what the level reads in the measured band, in dBFS")
        if self.s_meter is not None and _S_METER.fullmatch(self.s_meter.strip()) is None:
            raise ValueError(f"s_meter: must be S1 to S9, or S9+10 and the like, not {self.s_meter}")
        limits = {"input_dbm": (-180, 30), "noise_figure_db": (0, 60), "audio_dbfs": (-150, 3)}
        for key, (low, high) in limits.items():
            value = getattr(self, key)
            if value is not None and not low <= value <= high:
                raise ValueError(f"{key}: must be {low} to {high}, not {value:g}")

    @property
    def s_units(self) -> tuple[int, float]:
        """The S-meter's unit, 1 to 9, and the dB above it.

        Raises:
            ValueError: the point is no S-meter point.
        """
        match = _S_METER.fullmatch((self.s_meter or "").strip())
        if match is None:
            raise ValueError("s_meter: this point does not say one")
        return int(match[1]), float(match[2] or 0.0)


_S_METER = re.compile(r"[Ss]([1-9])(?: ?\+ ?(\d{1,2})(?: ?dB)?)?", re.ASCII)


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


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where the station is and what it listens to, as a station profile says it.

    Attributes:
        environment: kind of place, which tells the noise to expect.
        frequency_khz: frequency the receiver is tuned to; the setup's factor ``frequency`` goes before it.
    """

    environment: Environment | None = None
    frequency_khz: float | None = None

    def __post_init__(self) -> None:
        """Refuse frequencies that Rec. ITU-R P.372 has no noise for.

        Raises:
            ValueError: the message starts with the name of the offending key.
        """
        if self.frequency_khz is not None and not 300 <= self.frequency_khz <= 250_000:
            raise ValueError(f"frequency_khz: must be 300 to 250000, not {self.frequency_khz:g}")


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
        verdict: ``hidden by band noise``, ``heard above band noise``, ``about as strong as band noise`` or
            ``no interference found``.
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

    @property
    def answer(self) -> str:
        """Would it matter? In one sentence, without a full stop."""
        sky = self.environment is Environment.GALACTIC
        noise = "galactic noise" if sky else f"the band noise of a {self.environment} place"
        place = f"{noise} at {self.frequency_hz / 1e6:.3f} MHz"
        if self.interference_dbm is None or self.over_expected_db is None:
            return f"no interference was found that could be set beside {place}"
        where = "above" if self.over_expected_db > 0 else "below"
        levels = f"{self.interference_dbm:.0f} dBm ({self.interference_s})"
        return f"{self.word}: at {levels} it is {abs(self.over_expected_db):.0f} dB {where} {place}"

    @property
    def word(self) -> str:
        """``hidden``, ``heard``, ``about as strong`` or ``none found``."""
        return {"no": "none found", "about": "about as strong"}.get(first := self.verdict.split()[0], first)
