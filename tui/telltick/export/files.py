"""Exports of text: what goes where, and never half of it."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

from telltick.export.csv_out import bursts_csv, changes_csv, findings_csv, journal_csv, steps_csv
from telltick.export.json_out import session_document
from telltick.export.markdown import report_markdown
from telltick.export.placing import check_file_place, new_file, place_explained
from telltick.export.report.page import report_html
from telltick.export.vtt_out import captions_vtt
from telltick.model.document import SessionDocument
from telltick.model.errors import BadInputError
from telltick.model.evidence import Evidence
from telltick.model.measurement import Measurement

FORMATS = ("csv", "json", "vtt")
TABLES = ("journal.csv", "steps.csv", "changes.csv", "findings.csv", "bursts.csv")
REPORTS: dict[str, Callable[[Evidence], str]] = {"html": report_html, "md": report_markdown}


def export_session(
    session: SessionDocument,
    measurement: Measurement,
    to: str,
    output: Path | None = None,
    *,
    overwrite: bool = False,
) -> tuple[Path, ...]:
    """Write a session in one format.

    Args:
        session: the session.
        measurement: what was measured of it.
        to: one of `FORMATS`. ``csv`` writes tables into a folder: journal.csv, steps.csv, changes.csv,
            findings.csv, bursts.csv.
        output: the file, or for ``csv`` the folder, which is made. None writes into the present folder under
            the session's name.
        overwrite: files there may be replaced.

    Returns:
        the files written.

    Raises:
        BadInputError: the format is unknown, the place cannot be written, or a file is there already.
        StorageError: the disk is full.
    """
    if to == "csv":
        folder = output or Path(f"{session.name}-csv")
        texts = (
            journal_csv(session),
            steps_csv(session, measurement),
            changes_csv(measurement),
            findings_csv(measurement),
            bursts_csv(session),
        )
        tables = {folder / name: text for name, text in zip(TABLES, texts, strict=True)}
        with place_explained(folder):
            folder.mkdir(exist_ok=True)
        return write_texts(tables, overwrite=overwrite)
    if to == "json":
        document = json.dumps(session_document(session, measurement), indent=2, allow_nan=False)
        return write_texts({output or Path(f"{session.name}.json"): f"{document}\n"}, overwrite=overwrite)
    if to == "vtt":
        return write_texts(
            {output or Path(f"{session.name}.vtt"): captions_vtt(session)}, overwrite=overwrite
        )
    raise BadInputError(f"there is no export to {to!r}; choose {', '.join(FORMATS)}")


def check_place(name: str, to: str, output: Path | None, *, overwrite: bool = False) -> None:
    """Refuse a place for an export of text before anything is measured.

    Args:
        name: of the session.
        to: one of `FORMATS` or `REPORTS`.
        output: as for `export_session`.
        overwrite: files there may be replaced.

    Raises:
        BadInputError: the place cannot be written, or a file is there already.
    """
    if to != "csv":
        check_file_place(output or Path(f"{name}.{to}"), overwrite=overwrite)
        return
    folder = output or Path(f"{name}-csv")
    if not folder.is_dir():
        check_file_place(folder)
    for table in TABLES if folder.is_dir() else ():
        check_file_place(folder / table, overwrite=overwrite)


def export_report(
    evidence: Evidence, to: str, output: Path | None = None, *, overwrite: bool = False
) -> tuple[Path, ...]:
    """Write a report: ``html`` as one page that needs nothing else, ``md`` for a forum or an issue tracker.

    Raises:
        BadInputError: the place cannot be written, or a file is there already.
        StorageError: the disk is full.
    """
    path = output or Path(f"{evidence.session.name}.{to}")
    check_file_place(path, overwrite=overwrite)  # before any figure is drawn
    return write_texts({path: REPORTS[to](evidence)}, overwrite=overwrite)


def write_texts(texts: dict[Path, str], *, overwrite: bool = False) -> tuple[Path, ...]:
    """Write files of text.

    Args:
        texts: what goes where.
        overwrite: files there may be replaced.

    Raises:
        BadInputError: a place cannot be written, or holds a file that may not be replaced.
        StorageError: the disk is full.
    """
    for path in texts:
        check_file_place(path, overwrite=overwrite)
    for path, text in texts.items():
        with new_file(path, overwrite=overwrite) as draft:
            draft.write_text(text, encoding="utf-8", newline="")
    return tuple(texts)
