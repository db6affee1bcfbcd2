"""Measure a saved session from end to end, and write what was found."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from telltick.engine.measuring import SessionMeasurer
from telltick.engine.parts import Progress
from telltick.export.json_out import measurement_document
from telltick.model.measurement import Measurement, MeasuringOptions
from telltick.store.session import SessionReader


def measure_session(
    reader: SessionReader, progress: Progress = lambda _: True, options: MeasuringOptions | None = None
) -> Measurement:
    """Everything that can be measured of a session.

    Each capture run has a latency of its own; the one told is that of the run with the strongest tie.

    Args:
        reader: an open session.
        progress: told the share done, 0 to 1; answers False to give up.
        options: what the user says that the session does not.

    Raises:
        CancelledError: progress said to give up.
    """
    return SessionMeasurer(reader, options).measure(progress)


def measured_document(
    folder: Path, progress: Progress = lambda _: True, options: MeasuringOptions | None = None
) -> dict[str, Any]:
    """Measure a session folder; the object that ``measure --json`` prints.

    Raises:
        BadSessionError: the folder is not a session that can be read.
        CancelledError: progress said to give up.
    """
    with SessionReader(folder, sparing=True) as reader:
        return measurement_document(reader.document(bursts=False), measure_session(reader, progress, options))
