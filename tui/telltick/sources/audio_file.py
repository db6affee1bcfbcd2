"""Existing recordings, through libsndfile."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from telltick.model.closing import Closing
from telltick.model.errors import BadInputError
from telltick.model.text import plain_text
from telltick.sources.wav_length import share_there

Samples = npt.NDArray[np.int16]

BLOCK_FRAMES = 48_000
FULL_SCALE = 32_768.0
_DATE_LENGTH = 40
MAX_CHANNELS = 64
RATES_HZ = (8_000, 384_000)  # below, the passband does not fit


class AudioFile(Closing):
    """An audio file opened to read.

    Attributes:
        rate_hz: sample rate.
        frames: samples in each channel that are there.
        promised_frames: samples that the header promises; more than `frames` in a file that was cut short.
        channels: number of channels.
        recorded: when it was recorded, in the file's own words (its metadata); empty when it says nothing.
        clipped: samples met so far that were beyond full scale and had to be clipped.
    """

    def __init__(self, path: Path) -> None:
        """Open a file.

        Raises:
            BadInputError: missing, not audio, or libsndfile itself is missing.
        """
        self._path = path
        self.clipped = 0
        soundfile = _library()
        if not path.is_file():
            problem = "is not a file" if path.exists() else "does not exist"
            raise BadInputError(f"{path} {problem}; give an audio file such as WAV, FLAC or OGG")
        try:
            self._file = soundfile.SoundFile(str(path))
        except (soundfile.LibsndfileError, OSError, TypeError) as why:
            raise BadInputError(f"{path} cannot be read as audio ({_words(why)})") from why
        self.rate_hz = int(self._file.samplerate)
        self.frames = int(self._file.frames)
        self.promised_frames = round(self.frames / max(share_there(path), 1e-9))
        self.channels = int(self._file.channels)
        self.recorded = plain_text(str(self._file.date), _DATE_LENGTH).strip()
        try:
            self._check()
        except BadInputError:
            self._file.close()
            raise

    def blocks(self, channel: int = 1, frames: int = BLOCK_FRAMES) -> Iterator[Samples]:
        """One channel from the beginning, block by block; a new call starts anew.

        Float and 24-bit files are scaled to 16 bits and rounded; what is beyond full scale is clipped and
        counted in `clipped`. 16-bit files come through unchanged.

        Args:
            channel: counted from 1.
            frames: longest block.

        Yields:
            shape (n,) int16, 0 < n <= frames.

        Raises:
            BadInputError: the file has no such channel, or is damaged further on.
        """
        for (one,) in self.blocks_of((channel,), frames):
            yield one

    def blocks_of(
        self, channels: tuple[int, ...], frames: int = BLOCK_FRAMES
    ) -> Iterator[tuple[Samples, ...]]:
        """The same for several channels at once; yields one array for each.

        Raises:
            BadInputError: as `blocks`.
        """
        for channel in channels:
            if not 1 <= channel <= self.channels:
                raise BadInputError(
                    f"{self._path} has {_channels(self.channels)}; there is no channel {channel}"
                )
        self.clipped = 0
        self._file.seek(0)
        exact = self._file.subtype in {"PCM_16", "PCM_S8", "PCM_U8"}
        while True:
            block = self._read(frames, "int16" if exact else "float64")
            if not len(block):
                return
            chosen = (block[:, channel - 1] for channel in channels)
            yield tuple(np.ascontiguousarray(one) if exact else self._rounded(one) for one in chosen)

    def close(self) -> None:
        """Close the file."""
        self._file.close()

    def _check(self) -> None:
        low, high = RATES_HZ
        if not low <= self.rate_hz <= high:
            raise BadInputError(
                f"{self._path} has a sample rate of {self.rate_hz} Hz; it must be {low} to {high} Hz"
            )
        if not 1 <= self.channels <= MAX_CHANNELS:
            raise BadInputError(
                f"{self._path} has {self.channels} channels; at most {MAX_CHANNELS} can be read"
            )
        if self.frames == 0:
            raise BadInputError(f"{self._path} holds no audio")

    def _read(self, frames: int, dtype: str) -> npt.NDArray[Any]:
        soundfile = _library()
        try:
            block: npt.NDArray[Any] = self._file.read(frames, dtype=dtype, always_2d=True)
        except soundfile.LibsndfileError as why:
            raise BadInputError(f"{self._path} is damaged ({_words(why)}); take a fresh copy of it") from why
        return block

    def _rounded(self, block: npt.NDArray[np.float64]) -> Samples:
        scaled = np.rint(np.nan_to_num(block, posinf=2.0, neginf=-2.0) * FULL_SCALE)
        bounded = np.clip(scaled, -FULL_SCALE, FULL_SCALE - 1)
        self.clipped += int(np.count_nonzero(np.abs(scaled) > FULL_SCALE))
        return bounded.astype(np.int16)


def _library() -> Any:
    """The soundfile package.

    Raises:
        BadInputError: it, or the C library under it, is missing.
    """
    try:
        import soundfile
    except (ImportError, OSError) as why:
        raise BadInputError(
            f"audio files cannot be read: libsndfile is missing ({why}); install the system's package "
            "libsndfile1 (or libsndfile), or reinstall the Python package soundfile"
        ) from why
    return soundfile


def _channels(count: int) -> str:
    return "1 channel" if count == 1 else f"{count} channels"


def _words(why: BaseException) -> str:
    """The library's own words, without the file name it repeats."""
    text = str(getattr(why, "error_string", why))
    return text.rstrip(".\n") or type(why).__name__
