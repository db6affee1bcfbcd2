"""Turn an existing recording into a session."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from pathlib import Path

from telltick import __version__
from telltick.engine.fresh import fresh_folder
from telltick.engine.line_channel import LineChannel
from telltick.engine.versions import host, library_versions
from telltick.model.clock import NS, Anchor
from telltick.model.errors import BadInputError
from telltick.model.framing import Framing
from telltick.model.marks import Mark
from telltick.model.session import CUT_SHORT, IMPORTED, Ending, HealthNote, SessionFacts
from telltick.model.tap import ChannelPlan
from telltick.model.traffic import Burst, Direction
from telltick.sources.audio_file import AudioFile
from telltick.sources.tables import read_bursts_csv, read_marks_csv
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
    poll_channel: int | None = None,
    direction: Direction = Direction.TX,
    progress: Callable[[float], object] = lambda _: None,
) -> str:
    """Copy a recording and its tables into a new session; whatever goes wrong, no half session is left.

    Args:
        audio: any file libsndfile reads (WAV, FLAC, OGG and others).
        folder: where to make the session; a new or empty folder.
        bursts: CSV of bursts, times from the first audio sample.
        marks: CSV of marks.
        channel: channel of the audio, counted from 1.
        baud: character rate, if known.
        framing: character framing, if known.
        poll_channel: channel that carries the data line itself; its bursts are taken from it.
        direction: which way the bytes of that channel flow.
        progress: told the share done, 0 to 1.

    Returns:
        what the recording lacks, in a sentence; empty when nothing.

    Raises:
        BadInputError: a file is missing, is not audio, or a table has a bad line; the folder cannot be used.
    """
    line = _line(baud, framing)
    data_line = _data_line(poll_channel, channel, line, direction)
    if data_line is not None and bursts is not None:
        raise BadInputError("--bursts and --poll-channel both say when bytes flow; choose one of them")
    burst_rows = read_bursts_csv(bursts) if bursts else ()
    mark_rows = read_marks_csv(marks) if marks else ()
    with AudioFile(audio) as source:
        facts = _facts(audio, source, line)
        with fresh_folder(folder), hold(folder), Journal.create(folder, facts) as journal:
            heard: list[Burst] = []
            hearing = None if data_line is None else LineChannel(data_line, source.rate_hz, heard.append)
            samples = _copy_audio(source, channel, folder, progress, hearing)
            with journal.batch():
                journal.add_anchor(Anchor(0, 0, 0, facts.started_wall_ns))
                journal.add_bursts([*burst_rows, *heard])
                _add_marks(journal, mark_rows)
                return _end(journal, source, samples)


def _end(journal: Journal, source: AudioFile, samples: int) -> str:
    """Journal the end and what is missing there; returns what the recording lacks."""
    end_ns, lacks = samples * NS // source.rate_hz, _lacks(source, samples)
    if lacks:
        missing_s = (source.promised_frames - samples) / source.rate_hz
        journal.add_health(HealthNote(end_ns, CUT_SHORT, missing_s, lacks))
    journal.end(Ending(end_ns, "source ended"))
    return lacks


def _lacks(source: AudioFile, samples: int) -> str:
    """What a recording that was cut short lacks, in a sentence; empty when nothing."""
    if source.promised_frames <= samples:
        return ""
    promised_s, there_s = source.promised_frames / source.rate_hz, samples / source.rate_hz
    return (
        f"the recording was cut short: its header promises {promised_s:.1f} s, {there_s:.1f} s are there; "
        "take a fresh copy of it if there is one"
    )


def _facts(audio: Path, source: AudioFile, line: dict[str, int | str]) -> SessionFacts:
    """What is known of a session that begins as a file."""
    return SessionFacts(
        name=audio.stem,
        started_wall_ns=time.time_ns(),
        recorded=source.recorded,
        rate_hz=source.rate_hz,
        source=IMPORTED,
        audio_name=audio.name,
        poll=line,
        program=f"telltick {__version__}",
        versions=library_versions(),
        host=host(),
    )


def _line(baud: int | None, framing: str | None) -> dict[str, int | str]:
    """What is known of the serial line, checked."""
    if baud is not None and baud <= 0:
        raise BadInputError(f"--baud must be above 0, not {baud}")
    try:
        known = None if framing is None else str(Framing.parse(framing))
    except ValueError as why:
        raise BadInputError(f"{why}") from why
    return {key: value for key, value in (("baud", baud), ("framing", known)) if value is not None}


def _data_line(
    poll_channel: int | None, channel: int, line: dict[str, int | str], direction: Direction
) -> ChannelPlan | None:
    """The line to hear in the recording; None without one."""
    if poll_channel is None:
        return None
    if poll_channel == channel:
        raise BadInputError(
            f"channel {channel} is the receiver's; the data line needs its own --poll-channel"
        )
    baud = line.get("baud")
    try:
        return ChannelPlan(
            channel=poll_channel,
            baud=None if baud is None else int(baud),
            framing=str(line.get("framing", "8N1")),
            direction=direction,
        )
    except ValueError as why:
        raise BadInputError(f"{why}") from why


def _copy_audio(
    source: AudioFile,
    channel: int,
    folder: Path,
    progress: Callable[[float], object],
    line: LineChannel | None,
) -> int:
    """Copy one channel, and hear the line in another; returns how many samples it has."""

    def t_ns(sample: float) -> int:
        return round(sample * NS / source.rate_hz)

    channels = (channel,) if line is None else (channel, line.channel)
    with AudioWriter(folder, source.rate_hz) as writer:
        for block, *beside in source.blocks_of(channels):
            if line is not None:
                line.take(writer.samples, beside[0], t_ns)
            writer.write(block)
            progress(writer.samples / max(source.frames, writer.samples))
    if line is not None:
        line.end_run(t_ns)
    return writer.samples


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
