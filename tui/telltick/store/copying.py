"""Copies of sessions that measure to the same numbers, also while recording goes on; and checksums."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
from collections.abc import Callable, Iterator
from pathlib import Path

from telltick.model.errors import BadSessionError, CancelledError, StorageError
from telltick.model.evidence import FileDigest
from telltick.store.folder import AUDIO_NAME, JOURNAL_NAME, PRIVATE, check_session_folder, session_within
from telltick.store.lock import held
from telltick.store.readonly import ReadOnlyJournal
from telltick.store.segments import FRAME_BYTES, HEADER, SEGMENT_NAME, wav_header

Progress = Callable[[float], bool]
_BLOCK = 1 << 20


def copy_session(folder: Path, target: Path, progress: Progress = lambda _: True) -> Path:
    """Copy journal and audio of a session into a new folder.

    An ended session's audio is copied byte for byte. Of one that is being recorded, the journal is copied at
    one moment and the audio up to the last point that the journal ties to the clock, so that no byte on the
    serial line is missing from the copy that its audio has heard.

    Args:
        folder: the session.
        target: folder to make.
        progress: told the share done, 0 to 1; answers False to give up.

    Raises:
        BadSessionError: it is not a session, or cannot be read.
        StorageError: the disk refuses the copy.
        CancelledError: progress said to give up.
    """
    folder = check_session_folder(session_within(folder))
    with _storage_errors_explained(target):
        (target / AUDIO_NAME).mkdir(mode=PRIVATE, parents=True)
        target.chmod(PRIVATE)
        alive = held(folder)
        journal = ReadOnlyJournal(folder)
        try:
            journal.copy_to(target / JOURNAL_NAME)
        finally:
            journal.close()
        end = _last_anchor(target) if alive else None
        _copy_audio(folder, target, end, progress)
    return target


def file_digests(folder: Path, progress: Progress = lambda _: True) -> tuple[FileDigest, ...]:
    """SHA-256 (FIPS 180-4) of a session's journal and audio files, as they are now.

    Raises:
        BadSessionError: it is not a session, or a file cannot be read.
        CancelledError: progress said to give up.
    """
    paths = list(_files(check_session_folder(folder)))
    whole = max(sum(path.stat().st_size for path in paths), 1)
    done, out = 0, []
    for path in paths:
        digest, size = hashlib.sha256(), 0
        for block in _blocks(path):
            digest.update(block)
            size += len(block)
            done += len(block)
            _go_on(progress, done / whole)
        out.append(FileDigest(path.relative_to(folder).as_posix(), size, digest.hexdigest()))
    return tuple(out)


def _files(folder: Path) -> Iterator[Path]:
    yield folder / JOURNAL_NAME
    yield from _segments(folder)


def _segments(folder: Path) -> list[Path]:
    try:
        return sorted(path for path in (folder / AUDIO_NAME).iterdir() if SEGMENT_NAME.fullmatch(path.name))
    except FileNotFoundError:
        return []


def _blocks(path: Path) -> Iterator[bytes]:
    try:
        if path.is_symlink():
            raise BadSessionError(f"{path} is a link to somewhere else; take a fresh copy of the session")
        if not path.is_file():
            raise BadSessionError(f"{path} is not a plain file; take a fresh copy of the session")
        with path.open("rb") as file:
            while block := file.read(_BLOCK):
                yield block
    except OSError as why:
        raise BadSessionError(f"{path} cannot be read ({why.strerror or why})") from why


def _last_anchor(target: Path) -> int:
    journal = ReadOnlyJournal(target)
    try:
        return int(journal.rows("SELECT coalesce(max(sample), 0) FROM anchor")[0][0])
    finally:
        journal.close()


def _copy_audio(folder: Path, target: Path, end: int | None, progress: Progress) -> None:
    """Copy the segments; with an `end`, only what comes before that sample."""
    segments = _segments(folder)
    for number, path in enumerate(segments):
        first = int(path.name[:12])
        if end is not None and first >= end:
            break
        copy = target / AUDIO_NAME / path.name
        with copy.open("xb") as file:
            for block in _blocks(path):
                file.write(block)
                _go_on(progress, number / len(segments))
        if end is not None and path == _last_before(segments, end):
            _cut(copy, end - first)
    _go_on(progress, 1.0)


def _last_before(segments: list[Path], end: int) -> Path:
    return [path for path in segments if int(path.name[:12]) < end][-1]


def _cut(path: Path, frames: int) -> None:
    """End a copied segment after so many frames, with a header that says so."""
    with path.open("r+b") as file:
        header = file.read(HEADER.size)
        there = max(os.fstat(file.fileno()).st_size - HEADER.size, 0) // FRAME_BYTES
        frames = min(frames, there)
        if len(header) < HEADER.size or not any(header):
            return
        rate_hz = HEADER.unpack(header)[7]
        file.seek(0)
        file.write(wav_header(rate_hz, frames))
        file.truncate(HEADER.size + frames * FRAME_BYTES)


def _go_on(progress: Progress, share: float) -> None:
    if not progress(share):
        raise CancelledError("given up: nothing was written")


@contextlib.contextmanager
def _storage_errors_explained(target: Path) -> Iterator[None]:
    try:
        yield
    except OSError as why:
        words = "the disk is full" if why.errno == errno.ENOSPC else str(why.strerror or why)
        raise StorageError(f"{target} cannot be written ({words}): free some space") from why
