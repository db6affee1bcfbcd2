"""Exports as files: what goes where, and never half of it."""

from __future__ import annotations

import errno
import json
import os
from pathlib import Path

from telltick.export.csv_out import bursts_csv, journal_csv, steps_csv
from telltick.export.json_out import session_document
from telltick.export.vtt_out import captions_vtt
from telltick.model.document import SessionDocument
from telltick.model.errors import BadInputError, StorageError
from telltick.model.measurement import Measurement

FORMATS = ("csv", "json", "vtt")


def export_session(
    session: SessionDocument, measurement: Measurement, to: str, output: Path | None = None
) -> tuple[Path, ...]:
    """Write a session in one format.

    Args:
        session: the session.
        measurement: what was measured of it.
        to: one of `FORMATS`. ``csv`` writes three tables into a folder: journal.csv, steps.csv, bursts.csv.
        output: the file, or for ``csv`` the folder; files there are replaced. None writes beside the
            present folder under the session's name, and replaces nothing.

    Returns:
        the files written.

    Raises:
        BadInputError: the format is unknown, the place cannot be written, or a file there would be replaced
            that nobody named.
        StorageError: the disk is full.
    """
    named = output is not None
    if to == "csv":
        folder = output or Path(f"{session.name}-csv")
        tables = {
            folder / "journal.csv": journal_csv(session),
            folder / "steps.csv": steps_csv(session, measurement),
            folder / "bursts.csv": bursts_csv(session),
        }
        return _write(tables, replace=named)
    if to == "json":
        document = json.dumps(session_document(session, measurement), indent=2, allow_nan=False)
        return _write({output or Path(f"{session.name}.json"): f"{document}\n"}, replace=named)
    if to == "vtt":
        return _write({output or Path(f"{session.name}.vtt"): captions_vtt(session)}, replace=named)
    raise BadInputError(f"there is no export to {to!r}; choose {', '.join(FORMATS)}")


def _write(texts: dict[Path, str], *, replace: bool) -> tuple[Path, ...]:
    if not replace:
        there = next((path for path in texts if path.exists()), None)
        if there is not None:
            raise BadInputError(f"{there} exists; name a place with -o to write there")
    for path, text in texts.items():
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            _write_whole(path, text)
        except OSError as why:
            if why.errno == errno.ENOSPC:
                raise StorageError(f"the disk is full: free some space for {path}") from why
            raise BadInputError(
                f"{path} cannot be written ({why.strerror or why}); choose another place with -o"
            ) from why
    return tuple(texts)


def _write_whole(path: Path, text: str) -> None:
    """Write a file beside its place and move it there, so that a file is never half new."""
    draft = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        draft.write_text(text, encoding="utf-8", newline="")
        draft.replace(path)
    except BaseException:
        draft.unlink(missing_ok=True)
        raise
