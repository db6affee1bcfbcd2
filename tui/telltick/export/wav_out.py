"""The whole audio as one WAV file, with cue points, labels and regions where something happens.

RIFF/WAVE with ``cue ``, ``LIST adtl`` (``labl``, ``ltxt``) and ``LIST INFO`` chunks after the Multimedia
Programming Interface and Data Specifications 1.0 (IBM and Microsoft, 1991). What does not fit into 4 GiB is
written as RF64 (EBU Tech 3306), the same with 64-bit sizes.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt

from telltick.export.cues import Cue
from telltick.export.placing import new_file
from telltick.model.errors import BadInputError, CancelledError

Progress = Callable[[float], bool]
_FRAME = 2  # bytes
_LARGEST = 0xFFFFFFFF
LARGEST_RIFF = _LARGEST  # bytes that a RIFF header can count


def write_wav(
    path: Path,
    blocks: Iterable[npt.NDArray[np.int16]],
    samples: int,
    rate_hz: int,
    *,
    cues: Sequence[Cue] = (),
    info: Mapping[str, str] | None = None,
    progress: Progress = lambda _: True,
    overwrite: bool = False,
) -> None:
    """Write a file, a block at a time; it appears whole or not at all.

    Args:
        path: where.
        blocks: the audio in order, shape (n,) each.
        samples: how many samples `blocks` have together.
        rate_hz: sample rate.
        cues: places of interest, in order of time.
        info: four-letter INFO keys, such as ``ICMT``, and their text.
        progress: told the share done, 0 to 1; answers False to give up.
        overwrite: a file there may be replaced.

    Raises:
        BadInputError: the place cannot be written, a file is there already, or a cue lies where no cue
            chunk can point.
        StorageError: the disk is full.
        CancelledError: progress said to give up.
    """
    if cues and cues[-1].sample > _LARGEST:
        hours = _LARGEST / rate_hz / 3600
        raise BadInputError(f"a cue chunk cannot point beyond {hours:.0f} h; export the marks as vtt instead")
    after = b"".join((*_cue_chunks(cues), _info_chunk(info or {})))
    with new_file(path, overwrite=overwrite) as draft, draft.open("wb") as file:
        file.write(_head(samples, rate_hz, len(after)))
        written = 0
        for block in blocks:
            file.write(np.ascontiguousarray(block, dtype="<i2").tobytes())
            written += len(block)
            if not progress(written / max(samples, 1)):
                raise CancelledError("given up: nothing was written")
        if written != samples:
            raise BadInputError(
                f"the audio ended after {written} of {samples} samples; take a fresh copy of it"
            )
        file.write(after)


def _head(samples: int, rate_hz: int, after: int) -> bytes:
    """Everything before the first sample."""
    data = samples * _FRAME
    form = struct.pack("<4sIHHIIHH", b"fmt ", 16, 1, 1, rate_hz, rate_hz * _FRAME, _FRAME, 8 * _FRAME)
    size = 4 + len(form) + 8 + data + after
    if size <= LARGEST_RIFF:
        return struct.pack("<4sI4s", b"RIFF", size, b"WAVE") + form + struct.pack("<4sI", b"data", data)
    ds64 = struct.pack("<4sIQQQI", b"ds64", 28, size + 36, data, samples, 0)
    riff = struct.pack("<4sI4s", b"RF64", _LARGEST, b"WAVE")
    return riff + ds64 + form + struct.pack("<4sI", b"data", _LARGEST)


def _cue_chunks(cues: Sequence[Cue]) -> tuple[bytes, ...]:
    if not cues:
        return ()
    points = b"".join(
        struct.pack("<II4sIII", number, cue.sample, b"data", 0, 0, cue.sample)
        for number, cue in enumerate(cues, start=1)
    )
    labels = b"".join(
        _chunk(b"labl", struct.pack("<I", n) + _text(cue.label)) for n, cue in enumerate(cues, 1)
    )
    regions = b"".join(_region(n, cue) for n, cue in enumerate(cues, 1) if cue.length > 0)
    return (
        _chunk(b"cue ", struct.pack("<I", len(cues)) + points),
        _chunk(b"LIST", b"adtl" + labels + regions),
    )


def _region(number: int, cue: Cue) -> bytes:
    """How long a cue lasts; what it is stands in its label. No country, language or code page is claimed."""
    return _chunk(b"ltxt", struct.pack("<II4sHHHH", number, min(cue.length, _LARGEST), b"rgn ", 0, 0, 0, 0))


def _info_chunk(info: Mapping[str, str]) -> bytes:
    if not info:
        return b""
    return _chunk(
        b"LIST", b"INFO" + b"".join(_chunk(key.encode("ascii"), _text(text)) for key, text in info.items())
    )


def _text(text: str) -> bytes:
    return text.encode("utf-8", "replace") + b"\0"


def _chunk(name: bytes, body: bytes) -> bytes:
    """A chunk, padded to an even length as RIFF wants it."""
    return struct.pack("<4sI", name, len(body)) + body + b"\0" * (len(body) % 2)
