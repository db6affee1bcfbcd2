"""Turn an existing recording into a session."""

from __future__ import annotations

import contextlib
import shutil
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from telltick import __version__
from telltick.engine.versions import host, library_versions
from telltick.model.clock import NS, Anchor
from telltick.model.marks import Mark
from telltick.model.session import Ending, SessionFacts
from telltick.sources.audio_file import AudioFile
from telltick.sources.tables import read_bursts_csv, read_marks_csv
from telltick.store.folder import prepare_folder
from telltick.store.journal import Journal
from telltick.store.lock import hold
from telltick.store.segments import AudioWriter


def import_recording(
    audio: Path,
    folder: Path,
    *,
    bursts: Path | None = None,
    marks: Path | None = None,
    channel: int = 1,
    baud: int | None = None,
    framing: str | None = None,
    progress: Callable[[float], None] = lambda _: None,
) -> None:
    """Copy a recording and its tables into a new session; everything is read before anything is written.

    Args:
        audio: any file libsndfile reads (WAV, FLAC, OGG and others).
        folder: the session to make; a new or empty folder.
        bursts: CSV of bursts, times from the first audio sample.
        marks: CSV of marks.
        channel: channel of the audio, counted from 1.
        baud: character rate, if known.
        framing: character framing, if known.
        progress: told the share done, 0 to 1.

    Raises:
        BadInputError: a file is missing, is not audio, or a table has a bad line.
    """
    burst_rows = read_bursts_csv(bursts) if bursts else ()
    mark_rows = read_marks_csv(marks) if marks else ()
    with AudioFile(audio) as source:
        line = {key: value for key, value in (("baud", baud), ("framing", framing)) if value is not None}
        facts = SessionFacts(
            name=audio.stem,
            started_wall_ns=time.time_ns(),
            rate_hz=source.rate_hz,
            source="imported",
            audio_name=audio.name,
            poll=line,
            program=f"telltick {__version__}",
            versions=library_versions(),
            host=host(),
        )
        with _all_or_nothing(prepare_folder(folder)), hold(folder), Journal.create(folder, facts) as journal:
            writer = AudioWriter(folder, source.rate_hz)
            for block in source.blocks(channel):
                writer.write(block)
                progress(writer.samples / max(source.frames, 1))
            writer.close()
            end_ns = writer.samples * NS // source.rate_hz
            with journal.batch():
                journal.add_anchor(Anchor(0, 0, 0, facts.started_wall_ns))
                journal.add_bursts(burst_rows)
                _add_marks(journal, mark_rows)
                journal.end(Ending(end_ns, "source ended"))


def _add_marks(journal: Journal, marks: Iterable[Mark]) -> None:
    for mark in marks:
        journal.add_mark(
            t_ns=mark.t_ns,
            settled_ns=mark.settled_ns,
            kind=mark.kind,
            factor=mark.factor,
            value=mark.value,
            note=mark.note,
        )


@contextlib.contextmanager
def _all_or_nothing(folder: Path) -> Iterator[None]:
    """Remove what was begun when it cannot be finished; the folder held nothing before."""
    try:
        yield
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
