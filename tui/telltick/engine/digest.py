"""What is kept of a measured session, so that it can be compared without being measured again."""

from __future__ import annotations

from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from telltick import __version__
from telltick.engine.antenna_levels import AntennaLevels
from telltick.engine.measuring import SessionMeasurer
from telltick.engine.parts import Progress
from telltick.export.values import wall_utc
from telltick.measure.across import SetupSides, sides_of
from telltick.measure.setups import pooled_setups
from telltick.measure.vocabulary import CONTROLS
from telltick.model.answers import SetupReading
from telltick.model.comparison import SessionLine
from telltick.model.measurement import Measurement, MeasuringOptions
from telltick.model.readings import Verdict
from telltick.store.copying import file_digests
from telltick.store.folder import session_within
from telltick.store.session import SessionReader

VERSION = 4  # raise when a digest holds something else: old ones are then made anew


@dataclass(frozen=True)
class SessionDigest:
    """A session, measured.

    Attributes:
        key: checksum of the session's files and of what measured them.
        line: as it stands in a table.
        input: what the audio came through; levels compare only where that is the same.
        setups: its setups, for comparing.
    """

    key: str
    line: SessionLine
    input: str
    setups: tuple[SetupSides, ...]


def digest_key(folder: Path, options: MeasuringOptions) -> str:
    """SHA-256 over the session's files, the program's version and the options.

    Raises:
        BadSessionError: it is not a session, or cannot be read.
    """
    told = [f"telltick {__version__} digest {VERSION} {options!r}"]
    told += [f"{one.name} {one.size} {one.sha256}" for one in file_digests(session_within(folder))]
    return sha256("\n".join(told).encode()).hexdigest()


def digest_session(
    folder: Path, key: str, options: MeasuringOptions, progress: Progress = lambda _: True
) -> SessionDigest:
    """Measure a session and keep what comparing needs.

    Raises:
        BadSessionError: it is not a session, or cannot be read.
        CancelledError: progress said to give up.
    """
    with SessionReader(folder, sparing=True) as reader:
        measurer = SessionMeasurer(reader, options)
        measurement = measurer.measure(progress)
        rows, known = measurer.step_rows(), measurer.stretches()
        setups, drift = pooled_setups(measurement.steps, rows, measurement.latency, known)
        steps = [one.step for one in measurement.steps]
        readings = [one.reading for one in measurement.steps]
        levels = AntennaLevels(reader.facts, options, steps, readings)
        sides = sides_of(setups, drift, levels.antenna_db)
        return SessionDigest(key, _line(reader, measurement), _input_of(reader), sides)


def _line(reader: SessionReader, measurement: Measurement) -> SessionLine:
    document = reader.document(bursts=False)
    top = _top(measurement)
    first = measurement.steps[0].step.setup if measurement.steps else {}
    told = [] if top is None else [item for item in top.setup.items() if item[0] not in CONTROLS]
    changed = {factor: value for factor, value in told if first.get(factor) != value}
    return SessionLine(
        name=document.name,
        bench=document.facts.name,
        started_utc=wall_utc(document.facts),
        seconds=document.seconds,
        steps=len(measurement.steps),
        whole=measurement.whole,
        top=top.reading if top else None,
        top_setup=changed,
        warnings=measurement.warnings,
    )


def _top(measurement: Measurement) -> SetupReading | None:
    tied = [
        one
        for one in measurement.answers.setups
        if one.reading.verdict is Verdict.TIED and one.reading.excess_db is not None
    ]
    return max(
        tied, key=lambda one: one.reading.excess_db.value if one.reading.excess_db else 0.0, default=None
    )


def _input_of(reader: SessionReader) -> str:
    """What stands between antenna socket and file, as far as the journal knows it."""
    facts = reader.facts
    return f"{facts.source}: {facts.audio_name} on {facts.host or 'an unknown machine'}"
