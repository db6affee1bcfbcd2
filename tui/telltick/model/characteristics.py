"""What the interference is like: shape around a poll, rhythm, character rate, how loud it sounds."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from telltick.model.clock import Floats
from telltick.model.framing import Framing
from telltick.model.readings import Estimate, Reading


class Carrier(StrEnum):
    """Which part of a poll the interference comes with."""

    REQUEST = "carried by the request bytes"
    REPLY = "carried by the reply bytes"
    BYTES = "carried by the bytes both ways"
    TURNAROUND = "between request and reply"
    WHOLE = "from the request's start to the reply's end"
    UNKNOWN = "cannot tell"


@dataclass(frozen=True)
class Portrait:
    """Mean response around a poll.

    Attributes:
        at_s: shape (cells,), time from the start of the request, latency taken out.
        ratio: shape (cells,), mean power over the noise floor; 1 is the floor.
        low: shape (cells,), lower end of its 95 % band (one cell at a time).
        high: shape (cells,).
        request_s: median length of the request.
        reply_s: median (start, end) of the reply, counted like `at_s`; None without replies.
        carrier: which bytes carry the interference.
        lead: standard errors by which `carrier` (or the best guess, where it cannot be told) leads.
        polls: polls averaged.
    """

    at_s: Floats
    ratio: Floats
    low: Floats
    high: Floats
    request_s: float
    reply_s: tuple[float, float] | None
    carrier: Carrier
    lead: float
    polls: int


@dataclass(frozen=True)
class Heard:
    """How loud it sounds, in dBqps re a full-scale sine of 1 kHz (Rec. ITU-R BS.468-4).

    Attributes:
        floor_db: without the polls: they and a guard around them are cut out and the ends joined.
        polled_db: as it is, polls included; None where there are none.
    """

    floor_db: float
    polled_db: float | None

    @property
    def more_db(self) -> float | None:
        """How much louder the polls make it; None where there are none."""
        return None if self.polled_db is None else self.polled_db - self.floor_db


@dataclass(frozen=True)
class Period:
    """A rhythm in the audio.

    Attributes:
        seconds: the period, with its 95 % interval.
        phase_s: audio time of the middle of a beat's loud part, the first one after zero.
        score: -log10 of the chance that noise alone has such lines at one given period.
        p_value: chance of a score this high at any period, in audio without rhythm.
        reading: gated by this rhythm, not by bytes, so not shown to be polling; None where not done.
        on_s: length of the loud part of a beat; None where not known.
    """

    seconds: Estimate
    phase_s: float
    score: float
    p_value: float
    reading: Reading | None = None
    on_s: float | None = None


@dataclass(frozen=True)
class CharacterRate:
    """The character rate that the audio speaks of.

    Attributes:
        baud: bits per second.
        framing: bits per character and stop bits; None when only the baud is sure.
        score: correlation with its predicted spectrum.
        lead: how far that is above the best candidate of another baud.
        shift_hz: shift of the spectrum; 0 when the line itself is heard.
    """

    baud: int
    framing: Framing | None
    score: float
    lead: float
    shift_hz: float = 0.0


@dataclass(frozen=True)
class CoherentAverage:
    """What bursts with the same bytes share, noise averaged away.

    Attributes:
        bursts: how many were averaged.
        reply: they come from the radio.
        i_over_n_db: shared power over the noise while these bytes flow, with its 95 % interval.
        gain_db: how much higher the average stands over its noise than a single burst: 10 log10 of the
            bursts, less what is lost where they do not lie on each other exactly.
        free_timing: each burst was moved to fit.
        free_phase: each burst was turned in phase to fit, as when it is picked up at radio frequency.
    """

    bursts: int
    reply: bool
    i_over_n_db: Estimate
    gain_db: float
    free_timing: bool
    free_phase: bool


@dataclass(frozen=True)
class BitsHeard:
    """What the waveform predicted from the bytes says, as a matched detector.

    Attributes:
        log10_e: odds that polls are heard, as the power of ten of the e-value.
        polls: polls that count.
        upright: True or False (inverted) when the waveform keeps its sign; None when each burst has a
            phase of its own, as when it is picked up at radio frequency.
        heard: the bits themselves are heard, not only noise of the same length.
        because: one sentence: why so, or why it cannot be told.
    """

    log10_e: float
    polls: int
    upright: bool | None
    heard: bool
    because: str = ""
