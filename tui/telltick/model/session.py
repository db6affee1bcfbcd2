"""Facts about a session: how it was opened, how it ended, and what went wrong in between."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from telltick.model.on_air import CalibrationPoint, Place

SCHEMA = 2
IMPORTED = "imported"
CUT_SHORT = "cut short"


@dataclass(frozen=True, kw_only=True)
class SessionFacts:
    """What a session is opened with; never changed afterwards.

    Attributes:
        name: the bench's name.
        started_wall_ns: wall-clock time of session time 0 (Unix epoch); of an imported recording, the time of
            the import.
        recorded: when an imported recording was made, in its file's own words; empty where it has none.
        started_mono_ns: monotonic clock at session time 0; means something only on the machine that records,
            until it is restarted.
        utc_offset_s: local time minus UTC where it was recorded, in seconds.
        rate_hz: audio sample rate.
        source: where the audio came from: ``sound card``, ``simulated bench`` or ``imported``.
        audio_name: name of the input or file.
        port: the serial port or URL; empty without one.
        poll: the poll plan as plain values (keys as in the TOML file); empty without one.
        setup: factor -> value at the start.
        seed: seed of every random draw of the recorder (schedule jitter, coin trial).
        program: name and version of the program that recorded it.
        versions: library -> version.
        host: description of the machine (system, not its owner).
        calibration: a level known at the antenna socket; None without one.
        place: kind of place and frequency; None where nobody said.
    """

    name: str
    started_wall_ns: int
    rate_hz: int
    source: str
    recorded: str = ""
    started_mono_ns: int = 0
    utc_offset_s: int = 0
    audio_name: str = ""
    port: str = ""
    poll: Mapping[str, Any] = field(default_factory=dict)
    setup: Mapping[str, str] = field(default_factory=dict)
    seed: int = 0
    program: str = ""
    versions: Mapping[str, str] = field(default_factory=dict)
    host: str = ""
    calibration: CalibrationPoint | None = None
    place: Place | None = None

    @property
    def imported(self) -> bool:
        """It was made from an existing recording: nothing is known of the wall clock while that ran."""
        return self.source == IMPORTED


class GapKind(StrEnum):
    """Why audio is missing."""

    OVERFLOW = "overflow"  # the sound system dropped samples
    DEVICE_LOST = "device lost"
    PAUSED = "paused"
    STALLED = "stalled"  # no callback for too long, or fewer samples than the clock says
    DISK_FULL = "disk full"


@dataclass(frozen=True, slots=True)
class Gap:
    """Missing audio; the samples on its two sides are never joined silently.

    Attributes:
        kind: why.
        sample: index of the first sample after the gap.
        start_ns: session time at which audio stopped.
        end_ns: session time at which it came back; None while it has not.
        note: the library's own words, if any.
    """

    kind: GapKind
    sample: int
    start_ns: int
    end_ns: int | None
    note: str = ""


class Verb(StrEnum):
    """What a viewer may ask a recorder to do."""

    START_POLLING = "start polling"
    STOP_POLLING = "stop polling"
    SET_INTERVAL = "set interval"  # value: seconds
    SET_BAUD = "set baud"  # value: bits per second
    SET_REQUEST = "set request"  # value: "answered" or "unanswered"
    START_TRIAL = "start coin trial"
    STOP_TRIAL = "stop coin trial"
    RESUME = "resume"  # go on recording after the disk was full
    FINISH = "finish"  # end the session cleanly
    UNKNOWN = "unknown"  # what a newer program, or a stranger, wrote; the request's value says the word


@dataclass(frozen=True, slots=True)
class Request:
    """A viewer's request in the journal.

    Attributes:
        number: identity.
        t_ns: session time at which it was made.
        verb: what is asked.
        value: its argument as text; empty when it takes none.
    """

    number: int
    t_ns: int
    verb: Verb
    value: str = ""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a request.

    Attributes:
        request: number of the request.
        t_ns: session time at which it was carried out or refused.
        done: True when carried out.
        note: why not, or what it led to.
    """

    request: int
    t_ns: int
    done: bool
    note: str = ""


@dataclass(frozen=True, slots=True)
class HealthNote:
    """One observation of the recorder about its inputs.

    Attributes:
        t_ns: session time.
        kind: such as ``cut short`` (an imported file that lacks the end it promises), ``clipping``,
            ``serial lost``, ``serial back``, ``serial garbage``.
        value: a number that goes with it (count or dBFS).
        note: the library's own words, if any.
    """

    t_ns: int
    kind: str
    value: float = 0.0
    note: str = ""


@dataclass(frozen=True, slots=True)
class Ending:
    """How a session ended; a session without one is still recording, or its recorder was killed.

    Attributes:
        t_ns: session time.
        how: ``requested``, ``time is up``, ``signal``, ``source ended``, ``failed``.
        note: more about it.
    """

    t_ns: int
    how: str
    note: str = ""
