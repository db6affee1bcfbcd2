"""Measure a session folder and write it out, in whatever form."""

from __future__ import annotations

import json
from pathlib import Path
from tempfile import TemporaryDirectory

from telltick import __version__
from telltick.engine.exhibits import evidence_of
from telltick.engine.offline import measure_session
from telltick.engine.parts import Progress, part_of
from telltick.export.bag import bag_info, make_bag, name_in_bag, readme_text, zip_bag
from telltick.export.cues import cues_of, wav_info
from telltick.export.files import REPORTS, check_place, export_report, export_session
from telltick.export.json_out import session_document
from telltick.export.placing import check_file_place, new_file, new_folder
from telltick.export.report.page import report_html
from telltick.export.report.telling import story_of
from telltick.export.wav_out import write_wav
from telltick.model.cautions import ALL as CAUTIONS
from telltick.model.errors import BadInputError
from telltick.model.evidence import Evidence
from telltick.model.measurement import MeasuringOptions
from telltick.store.copying import copy_session
from telltick.store.folder import session_within
from telltick.store.session import SessionReader


def export_folder(
    folder: Path,
    to: str,
    output: Path | None,
    progress: Progress = lambda _: True,
    options: MeasuringOptions | None = None,
    *,
    overwrite: bool = False,
) -> tuple[Path, ...]:
    """Measure a session folder and write it in one format; returns the files written.

    Args:
        folder: the session, or a bag with one.
        to: csv, json, vtt, html, md, wav or bag.
        output: file to write (``csv`` and ``bag``: a folder); None chooses a name.
        progress: told the share done, 0 to 1; answers False to give up.
        options: what the user says that the session does not.
        overwrite: files at the output may be replaced.

    Raises:
        BadInputError: not a session, an unknown format, a place that cannot be written, or that holds
            something.
        CancelledError: progress said to give up; nothing is left behind.
    """
    if to == "bag" and options not in (None, MeasuringOptions()):
        raise BadInputError(
            "a bag must measure to the same numbers by itself, so nothing can be said over it; "
            "export without those options"
        )
    if to == "bag":
        return (export_bag(folder, output, progress, options, overwrite=overwrite),)
    with SessionReader(folder) as reader:
        if to == "wav":
            return (export_wav(reader, output, progress, options, overwrite=overwrite),)
        name = reader.document(bursts=False).name
        check_place(name, to, output, overwrite=overwrite)  # before a long measurement
        if to in REPORTS:
            evidence = _evidence(reader, progress, options)
            return export_report(evidence, to, output, overwrite=overwrite)
        measurement = measure_session(reader, progress, options)
        return export_session(reader.document(), measurement, to, output, overwrite=overwrite)


def export_wav(
    reader: SessionReader,
    output: Path | None,
    progress: Progress = lambda _: True,
    options: MeasuringOptions | None = None,
    *,
    overwrite: bool = False,
) -> Path:
    """Write the whole audio of a session as one WAV file with cues; a second of it in memory at a time.

    Raises:
        BadInputError: the place cannot be written, or a file is there already.
        StorageError: the disk is full.
        CancelledError: progress said to give up; nothing is left behind.
    """
    session = reader.document()
    place = output or Path(f"{session.name}.wav")
    check_file_place(place, overwrite=overwrite)  # before a long measurement
    measurement = measure_session(reader, part_of(progress, 0.0, 0.8), options)
    rate, samples = session.facts.rate_hz, session.samples
    blocks = (reader.audio.read(at, min(rate, samples - at)) for at in range(0, samples, rate))
    cues = cues_of(session, measurement)
    info = wav_info(session, measurement, f"telltick {__version__}")
    writing = part_of(progress, 0.8, 1.0)
    write_wav(place, blocks, samples, rate, cues=cues, info=info, progress=writing, overwrite=overwrite)
    return place


def export_bag(
    folder: Path,
    output: Path | None,
    progress: Progress = lambda _: True,
    options: MeasuringOptions | None = None,
    *,
    overwrite: bool = False,
) -> Path:
    """Copy a session, measure the copy, and put both with a report into an evidence bag.

    Args:
        folder: the session; it may be recorded at the time.
        output: folder to make, or a file that ends in ``.zip``; None makes ``NAME-bag`` beside the present
            folder.
        progress: told the share done, 0 to 1; answers False to give up.
        options: what the user says that the session does not.
        overwrite: a ``.zip`` file there may be replaced; a folder that holds something never is.

    Returns:
        the folder, or the file.

    Raises:
        BadInputError: not a session, or a place that cannot be written or holds something.
        StorageError: the disk is full.
        CancelledError: progress said to give up; nothing is left behind.
    """
    name = name_in_bag(session_within(folder).resolve().name)
    place = output or Path(f"{name}-bag")
    if place.suffix.lower() != ".zip":
        with new_folder(place) as draft:
            _fill_bag(folder, draft, name, progress, options)
        return place
    with (
        new_file(place, overwrite=overwrite) as archive,
        TemporaryDirectory(dir=archive.parent, prefix=".bag-") as unzipped,
    ):
        bag = Path(unzipped)
        _fill_bag(folder, bag, name, part_of(progress, 0.0, 0.9), options)
        zip_bag(bag, archive, name_in_bag(place.stem), part_of(progress, 0.9, 1.0))
    return place


def _fill_bag(
    folder: Path, bag: Path, name: str, progress: Progress, options: MeasuringOptions | None
) -> None:
    copy = copy_session(folder, bag / name, part_of(progress, 0.0, 0.1))
    with SessionReader(copy) as reader:
        evidence = _evidence(reader, part_of(progress, 0.1, 0.95), options)
    story = story_of(evidence)
    results = session_document(evidence.session, evidence.measurement)
    texts = {
        "results.json": json.dumps(results, indent=2, allow_nan=False) + "\n",
        "report.html": report_html(evidence),
        "README.txt": readme_text(evidence, story.subtitle, CAUTIONS),
    }
    for file, text in texts.items():
        (bag / file).write_text(text, encoding="utf-8", newline="")
    make_bag(bag, bag_info(evidence, story.title, story.subtitle))
    progress(1.0)


def _evidence(reader: SessionReader, progress: Progress, options: MeasuringOptions | None) -> Evidence:
    measurement = measure_session(reader, part_of(progress, 0.0, 0.8), options)
    return evidence_of(reader, measurement, part_of(progress, 0.8, 1.0))
