"""Exports of text: what goes where, and never half of it."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

from telltick.export.csv_out import bursts_csv, changes_csv, findings_csv, journal_csv, steps_csv
from telltick.export.json_out import session_document
from telltick.export.markdown import report_markdown
from telltick.export.placing import new_file, refuse_what_is_there
from telltick.export.report.page import report_html
from telltick.export.vtt_out import captions_vtt
from telltick.model.document import SessionDocument
from telltick.model.errors import BadInputError
from telltick.model.evidence import Evidence
from telltick.model.measurement import Measurement

FORMATS = ("csv", "json", "vtt")
REPORTS: dict[str, Callable[[Evidence], str]] = {"html": report_html, "md": report_markdown}


def export_session(
    session: SessionDocument, measurement: Measurement, to: str, output: Path | None = None
) -> tuple[Path, ...]:
    """Write a session in one format.

    Args:
        session: the session.
        measurement: what was measured of it.
        to: one of `FORMATS`. ``csv`` writes tables into a folder: journal.csv, steps.csv, changes.csv,
            findings.csv, bursts.csv.
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
            folder / "changes.csv": changes_csv(measurement),
            folder / "findings.csv": findings_csv(measurement),
            folder / "bursts.csv": bursts_csv(session),
        }
        return write_texts(tables, replace=named)
    if to == "json":
        document = json.dumps(session_document(session, measurement), indent=2, allow_nan=False)
        return write_texts({output or Path(f"{session.name}.json"): f"{document}\n"}, replace=named)
    if to == "vtt":
        return write_texts({output or Path(f"{session.name}.vtt"): captions_vtt(session)}, replace=named)
    raise BadInputError(f"there is no export to {to!r}; choose {', '.join(FORMATS)}")


def export_report(evidence: Evidence, to: str, output: Path | None = None) -> tuple[Path, ...]:
    """Write a report: ``html`` as one page that needs nothing else, ``md`` for a forum or an issue tracker.

    Raises:
        BadInputError: the place cannot be written, or a file there would be replaced that nobody named.
        StorageError: the disk is full.
    """
    path = output or Path(f"{evidence.session.name}.{to}")
    if output is None:
        refuse_what_is_there(path)  # before any figure is drawn
    return write_texts({path: REPORTS[to](evidence)}, replace=True)


def write_texts(texts: dict[Path, str], *, replace: bool) -> tuple[Path, ...]:
    """Write files of text.

    Args:
        texts: what goes where.
        replace: files there may be replaced.

    Raises:
        BadInputError: a place cannot be written, or holds a file that may not be replaced.
        StorageError: the disk is full.
    """
    for path in texts:
        if not replace:
            refuse_what_is_there(path)
    for path, text in texts.items():
        with new_file(path) as draft:
            draft.write_text(text, encoding="utf-8", newline="")
    return tuple(texts)
