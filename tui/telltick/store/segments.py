"""Audio on disk: WAV segments of ten minutes, 16-bit PCM mono, named by their first sample index.

The format is RIFF/WAVE with a plain 44-byte header. While a segment grows, its header is brought up to date
each second, so that any program can read it at any time and a killed recorder loses only the block in hand.
The reader trusts file sizes, never the lengths in headers.
"""

from __future__ import annotations

import contextlib
import os
import re
import struct
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from io import FileIO
from pathlib import Path

import numpy as np
import numpy.typing as npt

from telltick.model.closing import Closing
from telltick.model.errors import BadSessionError, StorageError
from telltick.store.folder import AUDIO_NAME

Samples = npt.NDArray[np.int16]

SEGMENT_S = 600
HEADER = struct.Struct("<4sI4s4sIHHIIHH4sI")
FRAME_BYTES = 2
_PCM = 1
SEGMENT_NAME = re.compile(r"\d{12}\.wav")
_sync_data = getattr(os, "fdatasync", os.fsync)


def segment_name(first: int) -> str:
    """File name of the segment that starts at sample `first`."""
    return f"{first:012d}.wav"


def wav_header(rate_hz: int, frames: int) -> bytes:
    """The header of a segment that holds so many frames."""
    data = frames * FRAME_BYTES
    form = (b"fmt ", 16, _PCM, 1, rate_hz, rate_hz * FRAME_BYTES, FRAME_BYTES, 8 * FRAME_BYTES)
    return HEADER.pack(b"RIFF", HEADER.size - 8 + data, b"WAVE", *form, b"data", data)


class AudioWriter(Closing):
    """Appends audio to a session, segment after segment."""

    def __init__(self, folder: Path, rate_hz: int, segment_s: int = SEGMENT_S) -> None:
        """Prepare to write the first segment.

        Raises:
            StorageError: the audio folder cannot be made.
        """
        self._folder = folder / AUDIO_NAME
        self._rate_hz = rate_hz
        self._segment_frames = rate_hz * segment_s
        self._first = 0
        self._frames = 0  # whole frames in the present segment
        self._synced = 0
        self._file: FileIO | None = None
        with self._storage_errors():
            self._folder.mkdir(mode=0o700, exist_ok=True)

    @property
    def samples(self) -> int:
        """Samples written so far."""
        return self._first + self._frames

    def write(self, samples: Samples) -> None:
        """Append samples, shape (n,).

        Raises:
            StorageError: the disk is full or refuses. `samples` then counts what is whole on disk; writing
                may go on later from there.
        """
        left = memoryview(np.ascontiguousarray(samples, dtype="<i2").tobytes())
        with self._storage_errors():
            while left:
                room = (self._segment_frames - self._frames) * FRAME_BYTES
                self._append(left[:room])
                left = left[room:]
                if self._frames == self._segment_frames:
                    self._finish_segment()
                elif self._frames - self._synced >= self._rate_hz:
                    self._sync()

    def sync(self) -> None:
        """Bring the header up to date and have the disk keep what was written.

        Raises:
            StorageError: the disk refuses.
        """
        with self._storage_errors():
            self._sync()

    def close(self) -> None:
        """Finish the present segment.

        Raises:
            StorageError: the disk refuses.
        """
        with self._storage_errors():
            self._finish_segment()

    def _append(self, data: memoryview) -> None:
        """Write bytes of whole frames to the present segment; short writes are carried on."""
        file = self._file or self._begin_segment()
        start = self._frames
        done = 0
        try:
            while done < len(data):
                done += file.write(data[done:]) or 0
                self._frames = start + done // FRAME_BYTES
        except OSError:
            file.truncate(HEADER.size + self._frames * FRAME_BYTES)  # no half frame stays behind
            file.seek(0, os.SEEK_END)
            raise

    def _begin_segment(self) -> FileIO:
        file = FileIO(self._folder / segment_name(self._first), "x")
        try:
            file.write(wav_header(self._rate_hz, 0))
        except OSError:
            file.close()
            Path(file.name).unlink(missing_ok=True)
            raise
        self._file = file
        self._synced = 0
        _sync_folder(self._folder)
        return file

    def _sync(self) -> None:
        if self._file is None:
            return
        self._file.seek(0)
        self._file.write(wav_header(self._rate_hz, self._frames))
        self._file.seek(0, os.SEEK_END)
        _sync_data(self._file.fileno())
        self._synced = self._frames

    def _finish_segment(self) -> None:
        if self._file is None:
            return
        try:
            self._sync()
        finally:
            self._file.close()
            self._file = None
            self._first += self._frames
            self._frames = 0

    @contextlib.contextmanager
    def _storage_errors(self) -> Iterator[None]:
        try:
            yield
        except OSError as why:
            raise StorageError(
                f"audio cannot be written to {self._folder} ({why.strerror or why}): "
                "free some space or check the disk"
            ) from why


def _sync_folder(folder: Path) -> None:
    """Have the disk keep a new file's name, where the system can."""
    with contextlib.suppress(OSError):
        fd = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(fd)
        finally:
            os.close(fd)


@dataclass(frozen=True, slots=True)
class _Segment:
    first: int
    frames: int
    path: Path

    @property
    def end(self) -> int:
        return self.first + self.frames


class AudioReader:
    """Reads a session's audio while it may still grow; never loads it all."""

    def __init__(self, folder: Path, rate_hz: int) -> None:
        """Look at what is there.

        Args:
            folder: the session.
            rate_hz: sample rate that the segments must have.

        Raises:
            BadSessionError: a segment is not of that rate or not 16-bit mono PCM.
        """
        self._folder = folder / AUDIO_NAME
        self.rate_hz = rate_hz
        self._segments: list[_Segment] = []
        self.refresh()

    @property
    def samples(self) -> int:
        """Index after the newest sample."""
        return self._segments[-1].end if self._segments else 0

    def refresh(self) -> bool:
        """Look for new audio; True when there is some.

        Raises:
            BadSessionError: a new segment is not usable audio.
        """
        if self._last_has_grown():
            return True
        before = self.samples
        known = {segment.path.name: segment for segment in self._segments[:-1]}
        names = sorted(name for name in _names_in(self._folder) if SEGMENT_NAME.fullmatch(name))
        self._segments = [known.get(name) or self._look_at(name) for name in names]
        return self.samples != before

    def _last_has_grown(self) -> bool:
        """Whether the newest segment alone tells of new audio; while it grows nothing else does."""
        last = self._segments[-1] if self._segments else None
        if last is None or not last.frames:
            return False
        try:
            frames = (os.lstat(last.path).st_size - HEADER.size) // FRAME_BYTES
        except OSError:
            return False
        if frames <= last.frames:
            return False
        self._segments[-1] = _Segment(last.first, frames, last.path)
        return True

    def read(self, first: int, count: int) -> Samples:
        """Samples `first` to `first + count`, cut at the end of what is recorded; shape (n,), n <= count.

        Raises:
            ValueError: `first` is negative.
            BadSessionError: a segment in between is missing, short or unreadable.
        """
        if first < 0:
            raise ValueError(f"there is no sample {first}")
        end = min(first + count, self.samples)
        pieces = list(
            self._pieces(first, end)
        )  # found before memory is set aside: a stranger's sizes may lie
        out = np.empty(max(end - first, 0), dtype="<i2")
        for segment, start, stop in pieces:
            self._fill(segment, start, out[start - first : stop - first])
        return out.astype(np.int16, copy=False)

    def _pieces(self, first: int, end: int) -> Iterator[tuple[_Segment, int, int]]:
        """(segment, start, stop) of the parts of [first, end), in sample indices."""
        index = max(bisect_right(self._segments, first, key=lambda s: s.first) - 1, 0)
        at = first
        while at < end:
            segment = self._segments[index]
            if not segment.first <= at < segment.end:
                before = index if segment.first <= at else index - 1
                missing = self._segments[before].end if before >= 0 else 0
                raise BadSessionError(
                    f"audio is missing: {self._folder / segment_name(missing)} is not there or not whole; "
                    "take a fresh copy of the session"
                )
            yield segment, at, min(end, segment.end)
            at = min(end, segment.end)
            index += 1

    def _fill(self, segment: _Segment, at: int, out: npt.NDArray[np.int16]) -> None:
        view = out.view(np.uint8).data
        try:
            with FileIO(segment.path) as file:  # several times a second
                file.seek(HEADER.size + (at - segment.first) * FRAME_BYTES)
                while view:
                    got = file.readinto(view)
                    if not got:
                        raise BadSessionError(f"{segment.path} has become shorter; take a fresh copy of it")
                    view = view[got:]
        except OSError as why:
            raise BadSessionError(f"{segment.path} cannot be read ({why.strerror or why})") from why

    def _look_at(self, name: str) -> _Segment:
        """Size and form of one segment; one that was killed in its header counts as empty."""
        path, first = self._folder / name, int(name[:12])
        try:
            if path.is_symlink() or not path.is_file():
                raise BadSessionError(f"{path} is not a plain file; take a fresh copy of the session")
            with path.open("rb") as file:
                header = file.read(HEADER.size)
                size = file.seek(0, os.SEEK_END)
        except OSError as why:
            raise BadSessionError(f"{path} cannot be read ({why.strerror or why})") from why
        if size <= HEADER.size:
            return _Segment(first, 0, path)
        if any(header):  # a power cut may leave the sound and an empty header
            self._check_form(path, header)
        return _Segment(first, (size - HEADER.size) // FRAME_BYTES, path)

    def _check_form(self, path: Path, header: bytes) -> None:
        riff, _, wave, fmt, length, form, channels, rate, _, _, bits, data, _ = HEADER.unpack(header)
        if (riff, wave, fmt, length, form, data) != (b"RIFF", b"WAVE", b"fmt ", 16, _PCM, b"data"):
            raise BadSessionError(
                f"{path} is not a segment of a session: its header is not plain 16-bit PCM WAV"
            )
        if (channels, rate, bits) != (1, self.rate_hz, 16):
            raise BadSessionError(
                f"{path} has {channels} channels of {bits} bits at {rate} Hz, "
                f"but the session is mono, 16 bits, {self.rate_hz} Hz; import such audio with telltick import"
            )


def _names_in(folder: Path) -> list[str]:
    try:
        return [entry.name for entry in os.scandir(folder)]
    except FileNotFoundError:
        return []
    except OSError as why:
        raise BadSessionError(f"{folder} cannot be read ({why.strerror or why})") from why
