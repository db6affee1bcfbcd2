"""``telltick check SESSION``: is a session whole, and if not, what is wrong with it? Nothing is changed."""

from __future__ import annotations

import logging
import os
import stat
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from telltick.model.clock import NS
from telltick.model.errors import BadSessionError
from telltick.model.session import CUT_SHORT, Gap
from telltick.model.text import plain_text
from telltick.store.folder import AUDIO_NAME, JOURNAL_NAME, check_session_folder, session_within
from telltick.store.lock import held
from telltick.store.readonly import ReadOnlyJournal
from telltick.store.reserve import RESERVE_NAME
from telltick.store.segments import FRAME_BYTES, HEADER, SEGMENT_NAME
from telltick.store.session import SessionReader

MOST_PROBLEMS = 10  # of one kind, in words
_RECORDING = "recording: "
LATE_S = 3.0  # audio may end so long before the recorder does


class Level(StrEnum):
    """How bad a finding is."""

    FINE = "fine"
    NOTE = "note"  # worth knowing; nothing is lost by it
    DAMAGE = "DAMAGED"


@dataclass(frozen=True, slots=True)
class Finding:
    """One sentence about a session."""

    level: Level
    what: str


def check_session(folder: Path) -> tuple[Finding, ...]:
    """Everything there is to say about a session's state.

    Raises:
        BadSessionError: the folder is not a session at all.
    """
    bag, folder = folder, check_session_folder(session_within(folder))
    alive = held(folder)
    findings = [
        *(_bag(bag) if bag != folder else ()),
        *_journal(folder),
        *_left_over(folder, alive),
        *_segments(folder, alive),
        *_access(folder),
    ]
    try:
        with SessionReader(folder) as reader:
            findings += [*_contents(reader), *_ending(reader, alive)]
    except BadSessionError as why:
        if not is_damaged(findings):
            findings.append(Finding(Level.DAMAGE, str(why)))
    return tuple(findings)


def _bag(bag: Path) -> Iterator[Finding]:
    """Whether everything in a bag is as it was packed: files, checksums (BagIt, RFC 8493)."""
    import bagit

    logging.getLogger("bagit").setLevel(logging.CRITICAL)  # what it has to say is told here
    try:
        bagit.Bag(str(bag)).validate()
    except (bagit.BagError, OSError, ValueError) as why:
        yield Finding(Level.DAMAGE, f"bag: {plain_text(str(why), 500)}")
    else:
        yield Finding(Level.FINE, "bag: every file is as it was packed, by its checksums")


def is_damaged(findings: Iterable[Finding]) -> bool:
    """Whether something is wrong, rather than just worth knowing."""
    return any(finding.level is Level.DAMAGE for finding in findings)


def _journal(folder: Path) -> Iterator[Finding]:
    try:
        journal = ReadOnlyJournal(folder)
    except BadSessionError as why:
        yield Finding(Level.DAMAGE, str(why))
        return
    try:
        said = [str(row[0]) for row in journal.rows(f"PRAGMA integrity_check({MOST_PROBLEMS})")]
        version = journal.version()
    except BadSessionError as why:
        yield Finding(Level.DAMAGE, str(why))
        return
    finally:
        journal.close()
    if said == ["ok"]:
        yield Finding(Level.FINE, f"journal: whole (schema {version})")
    else:
        for words in said[:MOST_PROBLEMS]:
            yield Finding(Level.DAMAGE, f"journal: {plain_text(words)}")


def _left_over(folder: Path, alive: bool) -> Iterator[Finding]:
    log = _size(folder / f"{JOURNAL_NAME}-wal")
    if log and not alive:
        yield Finding(
            Level.NOTE, f"journal: a write-ahead log of {log} bytes was left over; it is read along"
        )
    if (folder / RESERVE_NAME).exists() and not alive:
        yield Finding(
            Level.NOTE, f"{RESERVE_NAME}: left over by a recorder that was killed; it may be deleted"
        )


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _access(folder: Path) -> Iterator[Finding]:
    if os.name == "posix" and stat.S_IMODE(folder.stat().st_mode) & 0o077:
        yield Finding(Level.NOTE, "folder: others on this machine may enter it (chmod 700 makes it private)")


# ---- audio


def _segments(folder: Path, alive: bool) -> Iterator[Finding]:
    """Each segment's header against its size, and the segments against one another."""
    try:
        paths = sorted(path for path in (folder / AUDIO_NAME).iterdir() if SEGMENT_NAME.fullmatch(path.name))
    except OSError:
        yield Finding(Level.NOTE, "audio: there is none")
        return
    end, odd = 0, 0
    for path in paths:
        first = int(path.name[:12])
        if first != end:
            odd += 1
            yield Finding(Level.DAMAGE, f"audio: {first - end} samples are missing before {path.name}")
        size = max(_size(path) - HEADER.size, 0)
        end = first + size // FRAME_BYTES
        for finding in _segment(path, alive=alive and path == paths[-1]):
            odd += 1
            yield finding
    if not odd:
        yield Finding(Level.FINE, f"audio: {len(paths)} segments, one after the other, headers true")


def _segment(path: Path, *, alive: bool) -> Iterator[Finding]:
    name, size = f"audio: {path.name}", _size(path)
    if path.is_symlink() or not path.is_file():
        yield Finding(Level.DAMAGE, f"{name} is not a plain file")
        return
    if size <= HEADER.size:
        yield Finding(Level.NOTE, f"{name} holds no sound: the recorder was killed as it began")
        return
    try:
        with path.open("rb") as file:
            header = file.read(HEADER.size)
    except OSError as why:
        yield Finding(Level.DAMAGE, f"{name} cannot be read ({why.strerror or why})")
        return
    if (size - HEADER.size) % FRAME_BYTES:
        yield Finding(
            Level.NOTE, f"{name} ends in half a sample: its last write was torn; the half is left out"
        )
    if not any(header):
        yield Finding(Level.NOTE, f"{name} has an empty header; its sound is read all the same")
        return
    claimed = HEADER.unpack(header)[-1] // FRAME_BYTES
    there = (size - HEADER.size) // FRAME_BYTES
    if claimed > there:
        yield Finding(
            Level.DAMAGE, f"{name} was cut: its header knows {claimed - there} samples more than it has"
        )
    elif claimed < there and not alive:
        yield Finding(
            Level.NOTE, f"{name}: its header is {there - claimed} samples behind; its size is what counts"
        )


# ---- what the journal knows of the audio


def _contents(reader: SessionReader) -> Iterator[Finding]:
    seconds = reader.audio.samples / reader.facts.rate_hz
    polls = len(reader.polls) or reader.gate().polls  # nobody counts those of an imported recording
    counts = f"{polls} polls, {len(reader.burst_columns)} bursts, {len(reader.marks)} marks"
    yield Finding(Level.FINE, f"contents: {seconds:.1f} s of audio, {counts}")
    if reader.anchors and reader.anchors[-1].sample > reader.audio.samples:
        missing = (reader.anchors[-1].sample - reader.audio.samples) / reader.facts.rate_hz
        yield Finding(Level.DAMAGE, f"audio: its end is missing, {missing:.1f} s or more of it")
    if reader.audio.samples and not reader.anchors:
        yield Finding(Level.DAMAGE, "journal: nothing ties the audio to the clock")
    for note in reader.health:
        if note.kind == CUT_SHORT:
            yield Finding(Level.NOTE, f"{_RECORDING}{note.note}")
    for gap in reader.gaps[:MOST_PROBLEMS]:
        yield Finding(Level.NOTE, f"gap: {_gap_words(gap)}")
    if len(reader.gaps) > MOST_PROBLEMS:
        yield Finding(Level.NOTE, f"gap: and {len(reader.gaps) - MOST_PROBLEMS} more")


def _gap_words(gap: Gap) -> str:
    lasted = "to the end" if gap.end_ns is None else f"for {(gap.end_ns - gap.start_ns) / NS:.1f} s"
    return f"{gap.kind} at {gap.start_ns / NS:.1f} s {lasted}"


def _ending(reader: SessionReader, alive: bool) -> Iterator[Finding]:
    ending = reader.ending
    if alive:
        yield Finding(Level.FINE, "ending: it is being recorded now")
    elif ending is None:
        yield Finding(
            Level.NOTE,
            f"ending: none; the recorder crashed or was killed at about {reader.end_ns / NS:.1f} s, "
            "and what came before is kept",
        )
    else:
        said = f"ending: {ending.how} at {ending.t_ns / NS:.1f} s {ending.note}".rstrip()
        yield Finding(Level.NOTE if ending.how == "failed" else Level.FINE, said)
        yield from _silence_before(reader, ending.t_ns)


def _silence_before(reader: SessionReader, end_ns: int) -> Iterator[Finding]:
    gap_is_open = bool(reader.gaps) and reader.gaps[-1].end_ns is None
    missing_s = (end_ns - reader.end_ns) / NS
    if reader.anchors and missing_s > LATE_S and not gap_is_open:
        yield Finding(Level.NOTE, f"audio: it ends {missing_s:.1f} s before the recorder did")


def findings_text(folder: Path, findings: tuple[Finding, ...]) -> str:
    """The findings for reading, with a last line that sums them up."""
    lines = [f"{finding.level:<8} {plain_text(finding.what, 1000)}" for finding in findings]
    name = plain_text(str(folder), 1000)
    if is_damaged(findings):
        lines.append(f"{name} is damaged: take a fresh copy of it if there is one")
    elif any(finding.what.startswith(_RECORDING) for finding in findings):
        lines.append(f"{name} is whole; the recording that it was imported from was not")
    else:
        lines.append(f"{name} is whole")
    return "\n".join(lines)
