"""Hear a saved session: as it was, quiet and polled turn about, or the interference alone."""

from __future__ import annotations

from collections.abc import Iterator
from enum import StrEnum
from itertools import cycle
from pathlib import Path
from typing import Protocol

import numpy as np
import numpy.typing as npt

from telltick.engine.gates import gate_near
from telltick.measure.clips import interference_clip, polled_clip, quiet_clip
from telltick.model.errors import BadInputError
from telltick.model.readings import Latency
from telltick.model.traffic import Gate
from telltick.sources.loudspeaker import Loudspeaker
from telltick.store.session import SessionReader

Samples = npt.NDArray[np.int16]

BLOCK_S = 0.1
AROUND_S = 30.0  # audio on each side of the moment that clips are made from
TURN_S = 2.0
PAUSE_S = 0.25


class Hearing(StrEnum):
    """What can be heard."""

    NOTHING = "nothing"
    SESSION = "the session from here on"
    TURNS = "quiet and polled audio turn about"
    ALONE = "the interference alone"


ORDER = (Hearing.SESSION, Hearing.TURNS, Hearing.ALONE, Hearing.NOTHING)


class Speaker(Protocol):
    """What plays; `sources.loudspeaker` does."""

    def play(self, blocks: Iterator[Samples], rate_hz: int) -> None:
        """Play blocks."""

    def stop(self) -> None:
        """Be silent."""

    def turn(self, by_db: float) -> float:
        """Turn the volume; returns it."""


class Ears:
    """Ears on one saved session; reads it by itself, so that the picture does not wait for the sound."""

    def __init__(self, folder: Path, speaker: Speaker | None = None) -> None:
        """Prepare; nothing is opened before something is played.

        Args:
            folder: the session.
            speaker: what plays; None takes this machine's sound output.
        """
        self._folder = folder
        self._speaker = speaker or Loudspeaker()
        self._reader: SessionReader | None = None
        self.hearing = Hearing.NOTHING

    def next(self, now_ns: int, latency: Latency | None) -> Hearing:
        """Hear the next kind of thing at a moment of the session.

        Raises:
            BadInputError: nothing of that kind can be heard here, or the machine has no sound output; what
                was heard before has stopped.
        """
        at = ORDER.index(self.hearing) if self.hearing in ORDER else -1
        return self.hear(ORDER[(at + 1) % len(ORDER)], now_ns, latency)

    def hear(self, what: Hearing, now_ns: int, latency: Latency | None) -> Hearing:
        """Hear one kind of thing; `next` says what can go wrong."""
        self._speaker.stop()
        self.hearing = what
        if what is not Hearing.NOTHING:
            reader = self._open()
            self._speaker.play(self._blocks(reader, what, now_ns, latency), reader.facts.rate_hz)
        return what

    def turn(self, by_db: float) -> float:
        """Turn the volume up or down; returns it, 0 dB being as recorded."""
        return self._speaker.turn(by_db)

    def stop(self) -> None:
        """Be silent."""
        self._speaker.stop()
        self.hearing = Hearing.NOTHING

    def close(self) -> None:
        """Be silent and let go of the session."""
        self.stop()
        if self._reader is not None:
            self._reader.close()
            self._reader = None

    def _open(self) -> SessionReader:
        if self._reader is None:
            self._reader = SessionReader(self._folder)
        return self._reader

    def _blocks(
        self, reader: SessionReader, what: Hearing, now_ns: int, latency: Latency | None
    ) -> Iterator[Samples]:
        at = int(float(reader.clock.nearest_s([now_ns])[0]) * reader.facts.rate_hz)
        if what is Hearing.SESSION:
            return _from_here(reader, at)
        samples, first, gate = _around(reader, at, latency)
        rate = reader.facts.rate_hz
        if what is Hearing.ALONE:
            alone = interference_clip(samples, first, rate, gate)
            if alone is None:
                raise BadInputError(
                    "nothing that repeats stands out here: the interference cannot be heard alone"
                )
            return _cut(np.tile(alone, 100), rate)
        quiet = quiet_clip(samples, first, rate, gate, seconds=TURN_S)
        polled = polled_clip(samples, first, rate, gate, seconds=TURN_S)
        if quiet is None or polled is None:
            raise BadInputError(
                "there is not both quiet and polled audio here: move to where the radio is polled"
            )
        return _turn_about(quiet, polled, rate)


def _from_here(reader: SessionReader, at: int) -> Iterator[Samples]:
    """The session's audio from a sample on."""
    step = int(BLOCK_S * reader.facts.rate_hz)
    while at < reader.audio.samples:
        yield reader.audio.read(at, min(step, reader.audio.samples - at))
        at += step


def _around(reader: SessionReader, at: int, latency: Latency | None) -> tuple[Samples, int, Gate]:
    """Audio around a sample within its capture run, and the gate in audio time."""
    rate, reach = reader.facts.rate_hz, int(AROUND_S * reader.facts.rate_hz)
    runs = [(int(first), int(min(end, reader.audio.samples))) for first, end in reader.clock.runs]
    low, high = next((run for run in reversed(runs) if run[0] <= at), runs[0] if runs else (0, 0))
    first = max(low, at - reach)
    end = max(first, min(high, at + reach))
    gate = gate_near(reader, first / rate, end / rate)
    if latency is not None:
        gate = gate.shifted(latency.shift_s(gate.start_s))
    return reader.audio.read(first, end - first), first, gate


def _turn_about(quiet: Samples, polled: Samples, rate_hz: int) -> Iterator[Samples]:
    """Quiet, polled, quiet, polled, with a pause before each, for as long as anybody listens."""
    pause = np.zeros(int(PAUSE_S * rate_hz), dtype=np.int16)
    for clip in cycle((quiet, polled)):
        yield pause
        yield from _cut(clip, rate_hz)


def _cut(samples: Samples, rate_hz: int) -> Iterator[Samples]:
    step = int(BLOCK_S * rate_hz)
    for at in range(0, len(samples), step):
        yield samples[at : at + step]
