"""What measuring yields. Levels are in dBFS: 0 dBFS is the r.m.s. of a full-scale sine (AES17)."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from telltick.model.clock import Floats
from telltick.model.replies import Replies


@dataclass(frozen=True, slots=True)
class Band:
    """The audio band that is measured, in Hz."""

    low_hz: float = 300.0
    high_hz: float = 2700.0

    @property
    def width_hz(self) -> float:
        """Bandwidth in Hz."""
        return self.high_hz - self.low_hz


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its 95 % interval."""

    value: float
    low: float
    high: float


class Verdict(StrEnum):
    """Is the noise tied to the polling?"""

    TIED = "tied to polling"
    NO_TIE = "no tie found"
    TOO_FEW = "not enough data"
    CONTROL = "control, no polls"  # polling was off on purpose


@dataclass(frozen=True)
class Latency:
    """Serial time to audio time, in seconds.

    Attributes:
        seconds: best value with its 95 % interval.
        drift_ppm: drift of the audio clock against the serial clock; None where too short to tell.
        modulo_s: when the polls are strictly periodic, the period of which any multiple may be added.
        score: how far the peak stands out, in standard deviations of the search without it; beyond all doubt
            where it was given and not found.
        at_s: moment, in seconds of serial time, for which `seconds` holds when there is drift.
        locked: a user set or kept it; nothing searches for it or follows it.
    """

    seconds: Estimate
    drift_ppm: float | None = None
    modulo_s: float | None = None
    score: float = 0.0
    at_s: float = 0.0
    locked: bool = False

    def shift_s(self, serial_s: Floats) -> Floats:
        """The latency at serial times, drift included: ``gate.shifted(latency.shift_s(gate.start_s))``."""
        return self.seconds.value + 1e-6 * (self.drift_ppm or 0.0) * (serial_s - self.at_s)


@dataclass(frozen=True)
class Reading:
    """Interference separated from noise over one stretch of session.

    Attributes:
        polls: polls that count.
        seconds: audio measured, in seconds.
        noise_dbfs: noise floor N; None without quiet audio.
        interference_dbfs: interference I; None when nothing was found or there is too little data.
        excess_db: 10 log10((I + N) / N) with its interval; None with too little data.
        i_over_n_db: 10 log10(I / N); None when I is not above zero.
        verdict: tied to polling, no tie found, not enough data; or a control, polling being off.
        p_value: chance of a tie this strong if there were none; None with too little data.
        upper_limit_i_over_n_db: upper end of a one-sided 95 % interval for I / N, in dB.
        warnings: one sentence each: why a value is missing or doubtful.
    """

    polls: int
    seconds: float
    noise_dbfs: float | None = None
    interference_dbfs: float | None = None
    excess_db: Estimate | None = None
    i_over_n_db: float | None = None
    verdict: Verdict = Verdict.TOO_FEW
    p_value: float | None = None
    upper_limit_i_over_n_db: float | None = None
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Spectrum:
    """Average spectra of one stretch, in dBFS per bin (one value per frequency).

    Attributes:
        freq_hz: shape (bins,), bin centres.
        quiet_dbfs: while no bytes flow; NaN without data.
        active_dbfs: while bytes flow, noise included; NaN without data.
        floor_dbfs: the quiet spectrum with steady tones taken out (running median over frequency).
        tonal: shape (bins,) bool, bins left out of the measurement as steady tones or hum.
    """

    freq_hz: Floats
    quiet_dbfs: Floats
    active_dbfs: Floats
    floor_dbfs: Floats
    tonal: npt.NDArray[np.bool_]


@dataclass(frozen=True)
class PollingFacts:
    """How the radio was polled.

    Attributes:
        polls: polls on the audio timeline.
        interval_median_s: median time from request to request; None with fewer than two.
        interval_sd_s: its standard deviation.
        baud: bits per second, if known.
        framing: such as ``8N1``; empty if not known.
        byte_on_fraction: share of the audio during which bytes flow.
        replies: how the radio answered our own poller; None where another program polled, or nobody counted.
    """

    polls: int
    interval_median_s: float | None
    interval_sd_s: float | None
    baud: int | None
    framing: str
    byte_on_fraction: float
    replies: Replies | None = None


@dataclass(frozen=True)
class TrialReading:
    """What a coin trial has shown so far. Valid at every moment, however often it is looked at.

    Attributes:
        running: the trial goes on.
        cycles: cycles that count.
        left_out: cycles left out by rule (gaps, hands-on time, polling interrupted).
        slots: slots in a cycle, of the newest leg.
        slot_s: length of a slot, in seconds.
        seed: of the draws.
        log10_e: odds against chance now, as the power of ten of the e-value.
        highest_log10_e: the highest they ever were.
        difference_db: level in the drawn slots while bytes flow, less level in the others, with its interval;
            None with too few cycles or while no latency is clear.
        latency_s: the latency it was looked for at; None where every latency was tried and paid for.
        path_log10_e: shape (cycles,), the odds after each cycle.
        path_ns: shape (cycles,), session time at which each of those cycles ended.
        warnings: one sentence each.
    """

    running: bool
    cycles: int
    left_out: int
    slots: int
    slot_s: float
    seed: int
    log10_e: float = 0.0
    highest_log10_e: float = 0.0
    difference_db: Estimate | None = None
    latency_s: float | None = None
    path_log10_e: Floats = field(default_factory=lambda: np.zeros(0))
    path_ns: Floats = field(default_factory=lambda: np.zeros(0))
    warnings: tuple[str, ...] = ()

    @property
    def p_value(self) -> float:
        """At most the chance of ever reaching odds this high if no slot differed (Ville's inequality)."""
        return float(min(1.0, 10.0**-self.highest_log10_e))
