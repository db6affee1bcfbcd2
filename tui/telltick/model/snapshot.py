"""What the screen shows at one moment: a frozen picture for the widgets."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from telltick.model.characteristics import CharacterRate
from telltick.model.clock import Floats
from telltick.model.marks import Mark
from telltick.model.readings import Latency, Reading, Spectrum, TrialReading


@dataclass(frozen=True, slots=True)
class View:
    """What the screen wants to see.

    Attributes:
        strip_cells: columns of the poll-activity strip.
        strip_cell_ns: session time of one column.
        window_s: length of the sliding window of the meter, in seconds.
    """

    strip_cells: int = 100
    strip_cell_ns: int = 50_000_000
    window_s: float = 30.0


class Phase(StrEnum):
    """State of the session on screen."""

    STARTING = "starting"  # a recorder has been started, no audio yet
    RECORDING = "recording"
    ENDED = "ended"  # the recorder closed the session
    STOPPED = "recorder gone"  # no ending and no recorder: it was killed
    PLAYING = "playing"  # replay
    PAUSED = "paused"  # replay


@dataclass(frozen=True, slots=True)
class PollingState:
    """How the radio is being polled and answering.

    Attributes:
        available: a poller of ours is part of this session.
        on: it is polling now (in replay: polls lie around the playhead).
        interval_s: its interval.
        baud: bits per second.
        framing: such as ``8N1``.
        polls: polls so far.
        replies: of them, answered.
        timeouts: of them, not answered in time.
        errors: of them, failed on the port.
        late: replies that came after their poll had been given up.
        garbage: replies that broke off, and bytes that nobody had asked for.
        reply_ms: median time from request to reply over the last polls.
    """

    available: bool = False
    on: bool = False
    interval_s: float | None = None
    baud: int | None = None
    framing: str = ""
    polls: int = 0
    replies: int = 0
    timeouts: int = 0
    errors: int = 0
    late: int = 0
    garbage: int = 0
    reply_ms: float | None = None


@dataclass(frozen=True, slots=True)
class InputHealth:
    """Is the audio input fit to measure?

    Attributes:
        level_dbfs: r.m.s. over the last second.
        peak_dbfs: largest sample over the last second, re full scale (a full-scale sine peaks at +3.01 dBFS
            on the r.m.s. scale; here 0 means the largest code).
        clipped: samples at full scale over the last ten seconds.
        gaps: gaps so far.
        last_gap: what the last gap was.
        audio_age_s: time since the newest audio arrived; grows when a recorder stalls.
        advice: one sentence when something should be done, else empty.
    """

    level_dbfs: float | None = None
    peak_dbfs: float | None = None
    clipped: int = 0
    gaps: int = 0
    last_gap: str = ""
    audio_age_s: float = 0.0
    advice: str = ""


@dataclass(frozen=True)
class Strip:
    """Poll activity on a grid of columns; column k covers session time `start_ns` + k * `cell_ns`.

    `start_ns` is a whole multiple of the strip's length, so a picture that sweeps in place keeps old columns:
    columns from `head` on are left over from the sweep before.

    Attributes:
        start_ns: session time of column 0 in the present sweep.
        cell_ns: session time per column.
        head: columns already swept.
        tx: shape (cells,) bool: bytes to the radio flow at some time in the column.
        rx: shape (cells,) bool: bytes from the radio.
        envelope_dbfs: shape (cells,): in-band audio power, latency taken out; NaN without audio.
        marks: (column, mark) for the marks on the strip.
        tx_share: shape (cells,): share of the column's time during which bytes to the radio flow; None where
            only `tx` is known.
        rx_share: likewise from the radio.
    """

    start_ns: int
    cell_ns: int
    head: int
    tx: npt.NDArray[np.bool_]
    rx: npt.NDArray[np.bool_]
    envelope_dbfs: Floats
    marks: tuple[tuple[int, Mark], ...] = ()
    tx_share: Floats | None = None
    rx_share: Floats | None = None


@dataclass(frozen=True)
class Snapshot:
    """Everything on the main screen at one moment.

    Attributes:
        phase: recording, ended, playing and so on.
        now_ns: session time shown (the playhead in replay, the newest audio live).
        duration_ns: length of the session so far.
        speed: replay speed; 1 live.
        window: reading over the sliding window.
        step: reading since the last step began.
        step_seconds: how long that step has lasted.
        step_start_ns: session time at which it began; None during hands-on time. A mark may be known before
            the step that it begins is.
        latency: serial to audio latency in use.
        spectrum: over the sliding window; None before the first audio.
        strip: poll activity.
        polling: poller state.
        health: input health.
        setup: factor -> value now.
        marks: marks up to now, in order of time (all of them in replay).
        open_mark: the change whose hands-on time runs, if any.
        notices: one sentence each, newest last: request outcomes, warnings.
        trial: the coin trial so far; None without one.
        character: the character rate found in the sound; None where none leads.
    """

    phase: Phase
    now_ns: int = 0
    duration_ns: int = 0
    speed: float = 1.0
    window: Reading = field(default_factory=lambda: Reading(0, 0.0))
    step: Reading = field(default_factory=lambda: Reading(0, 0.0))
    step_seconds: float = 0.0
    step_start_ns: int | None = None
    latency: Latency | None = None
    spectrum: Spectrum | None = None
    strip: Strip | None = None
    polling: PollingState = field(default_factory=PollingState)
    health: InputHealth = field(default_factory=InputHealth)
    setup: Mapping[str, str] = field(default_factory=dict)
    marks: tuple[Mark, ...] = ()
    open_mark: Mark | None = None
    notices: tuple[str, ...] = ()
    trial: TrialReading | None = None
    character: CharacterRate | None = None

    def moved_on(
        self, now_ns: int, duration_ns: int, *, strip: Strip | None, health: InputHealth
    ) -> Snapshot:
        """The same at a later moment: `dataclasses.replace`, in a fifth of its time, nine times a second."""
        moved = object.__new__(Snapshot)
        moved.__dict__.update(
            self.__dict__, now_ns=now_ns, duration_ns=duration_ns, strip=strip, health=health
        )
        return moved
