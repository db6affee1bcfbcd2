"""Measure a session folder and write it out, in whatever form."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from telltick.engine.exhibits import evidence_of
from telltick.engine.offline import measure_session
from telltick.export.files import FORMATS, REPORTS, export_report, export_session
from telltick.export.placing import refuse_what_is_there
from telltick.model.errors import BadInputError
from telltick.store.session import SessionReader

Progress = Callable[[float], bool]
WAYS_OUT = (*FORMATS, *REPORTS)
_FOLDERS = ("csv", "bag")  # written as a folder


def export_folder(
    folder: Path, to: str, output: Path | None, progress: Progress = lambda _: True
) -> tuple[Path, ...]:
    """Measure a session folder and write it in one format; returns the files written.

    Args:
        folder: the session.
        to: one of `WAYS_OUT`.
        output: file to write (``csv``: a folder); None chooses a name, and replaces nothing.
        progress: told the share done, 0 to 1; answers False to give up.

    Raises:
        BadInputError: not a session, an unknown format, or a place that cannot be written.
        CancelledError: progress said to give up; nothing is left behind.
    """
    if output is not None and to not in _FOLDERS and output.is_dir():
        raise BadInputError(f"{output} is a folder; name a file with -o")
    with SessionReader(folder) as reader:
        if to in REPORTS:
            if output is None:
                refuse_what_is_there(Path(f"{reader.document().name}.{to}"))  # before a long measurement
            measurement = measure_session(reader, part_of(progress, 0.0, 0.8))
            evidence = evidence_of(reader, measurement, part_of(progress, 0.8, 1.0))
            return export_report(evidence, to, output)
        return export_session(reader.document(), measure_session(reader, progress), to, output)


def part_of(progress: Progress, begin: float, end: float) -> Progress:
    """The progress of one part of the work."""
    return lambda share: progress(begin + (end - begin) * share)
