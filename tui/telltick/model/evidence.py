"""What a report or a bag is made of: a session, what was measured of it, and what can be seen and heard."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from telltick.model.clock import Floats
from telltick.model.document import SessionDocument
from telltick.model.measurement import Measurement


@dataclass(frozen=True)
class Clip:
    """A few seconds of sound worth listening to.

    Attributes:
        name: short name, also of its file: ``quiet``, ``polled``, ``interference``.
        title: as a reader sees it.
        caption: what to listen for, and where it comes from.
        samples: shape (n,), full scale is 1.
        rate_hz: sample rate.
        own_level: it was brought to a level of its own, which says nothing about how loud it was.
    """

    name: str
    title: str
    caption: str
    samples: Floats
    rate_hz: int
    own_level: bool = False


@dataclass(frozen=True)
class Timeline:
    """In-band level over the whole session, in columns of equal length.

    Attributes:
        at_s: shape (columns,), seconds of audio at the middle of each column.
        middle_dbfs: shape (columns,), median of the column's 1 ms cells; NaN without audio.
        peak_dbfs: shape (columns,), their 99th percentile.
    """

    at_s: Floats
    middle_dbfs: Floats
    peak_dbfs: Floats


@dataclass(frozen=True, slots=True)
class FileDigest:
    """A file of the session as it was when the report was made.

    Attributes:
        name: path within the session's folder, with forward slashes.
        size: bytes.
        sha256: SHA-256 (FIPS 180-4) in hex digits.
    """

    name: str
    size: int
    sha256: str


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """Everything a report is made of.

    Attributes:
        session: the session.
        measurement: what was measured of it.
        clips: what can be heard.
        timeline: level over time; None without audio.
        files: the session's files.
        program: name and version of the program that measured.
        versions: library -> version, of those that measured.
        made_wall_ns: wall-clock time (Unix epoch) at which it was made.
    """

    session: SessionDocument
    measurement: Measurement
    clips: tuple[Clip, ...] = ()
    timeline: Timeline | None = None
    files: tuple[FileDigest, ...] = ()
    program: str = ""
    versions: Mapping[str, str] = field(default_factory=dict)
    made_wall_ns: int = 0
