"""All that a session holds at one moment, for those who write it out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from telltick.model.clock import AudioClock
from telltick.model.marks import Mark, MarkRow
from telltick.model.session import Ending, Gap, HealthNote, Outcome, Request, SessionFacts
from telltick.model.traffic import Burst


@dataclass(frozen=True, kw_only=True)
class SessionDocument:
    """A session as plain facts; audio stays in its files.

    Attributes:
        name: name of the session's folder.
        facts: what it was opened with.
        clock: maps session time to audio.
        samples: audio samples recorded.
        bursts: bytes on the line.
        marks: the marks that stand, in order of time.
        mark_rows: every statement about a mark, in the order written.
        gaps: stretches without audio.
        health: the recorder's observations about its inputs.
        requests: what viewers asked for.
        outcomes: what became of it.
        ending: how it ended, if it did.
    """

    name: str
    facts: SessionFacts
    clock: AudioClock
    samples: int
    bursts: Sequence[Burst] = ()
    marks: Sequence[Mark] = ()
    mark_rows: Sequence[MarkRow] = ()
    gaps: Sequence[Gap] = ()
    health: Sequence[HealthNote] = ()
    requests: Sequence[Request] = ()
    outcomes: Sequence[Outcome] = ()
    ending: Ending | None = None

    @property
    def seconds(self) -> float:
        """Length of the audio, in seconds."""
        return self.samples / self.facts.rate_hz

    def audio_s(self, t_ns: int) -> float | None:
        """Seconds of audio at a session time, or nearest to it; None without audio."""
        seconds = float(self.clock.nearest_s([t_ns])[0])
        return seconds if seconds == seconds else None  # noqa: PLR0124  (NaN differs from itself)
