"""How much sound the header of a WAV or AIFF file promises, and a file that was cut short does not hold.

libsndfile reads what is there and says nothing of the rest. Formats: Microsoft and IBM, "Multimedia
Programming Interface and Data Specifications 1.0" (RIFF); EBU Tech 3306 (RF64); Apple, "AIFF 1.3".
"""

from __future__ import annotations

import struct
from pathlib import Path
from typing import BinaryIO

_BY_DS64 = 0xFFFF_FFFF  # RF64: the size stands in the ds64 chunk
_UNKNOWN = (
    range(1),
    range(0x7FFF_F000, 0x8000_0000),
    range(0xFFFF_F000, 0x1_0000_0000),
)  # written as a stream
_MOST_CHUNKS = 1000  # before the sound


def share_there(path: Path) -> float:
    """Share of the promised sound that the file holds, 0 to 1; 1 where no promise can be read."""
    try:
        with path.open("rb") as file:
            size = path.stat().st_size
            promised, start = _sound(file)
    except (OSError, struct.error):
        return 1.0
    there = size - start
    return there / promised if 0 <= there < promised else 1.0


def _sound(file: BinaryIO) -> tuple[int, int]:
    """Bytes of sound promised, 0 when nobody knows, and where they begin."""
    kind, _, _ = struct.unpack("<4sI4s", file.read(12))
    if kind not in (b"RIFF", b"RF64", b"FORM"):
        return 0, 0
    order, long_size = ">" if kind == b"FORM" else "<", 0
    for _ in range(_MOST_CHUNKS):
        name, size = struct.unpack(f"{order}4sI", file.read(8))
        start = file.tell()
        if name in (b"data", b"SSND"):
            if kind == b"RF64" and size == _BY_DS64:
                return long_size, start
            return (0 if any(size in sizes for sizes in _UNKNOWN) else size), start
        if name == b"ds64":
            _, long_size = struct.unpack("<QQ", file.read(16))
        file.seek(start + size + size % 2)
    return 0, 0
