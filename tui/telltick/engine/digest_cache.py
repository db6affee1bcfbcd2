"""Digests kept in a file, so that nothing is measured twice. The file may be deleted at any time."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

import msgspec

from telltick.engine.digest import SessionDigest
from telltick.model.closing import Closing

_LARGEST = 256 << 20  # bytes; such a file is not ours


class DigestCache(Closing):
    """One digest a line (JSON). A line that was cut by a kill, or that is none, counts as not there."""

    def __init__(self, path: Path | None) -> None:
        """Read what is kept.

        Args:
            path: the file; it need not exist. None keeps nothing.
        """
        self._path = path
        self._known: dict[str, SessionDigest] = {}
        self._file: int | None = None
        with contextlib.suppress(OSError):
            self._read()

    def get(self, key: str) -> SessionDigest | None:
        """The digest with a key, if it was kept."""
        return self._known.get(key)

    def add(self, digest: SessionDigest) -> None:
        """Keep a digest at once; where that is not possible, all the same go on."""
        self._known[digest.key] = digest
        if self._path is None:
            return
        with contextlib.suppress(OSError):
            if self._file is None:
                self._path.parent.mkdir(parents=True, exist_ok=True)
                self._file = os.open(self._path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
            # A line of its own, whatever the one before was cut to.
            os.write(self._file, b"\n" + msgspec.json.encode(digest) + b"\n")

    def close(self) -> None:
        """Let go of the file."""
        if self._file is not None:
            os.close(self._file)
            self._file = None

    def _read(self) -> None:
        if self._path is None or self._path.stat().st_size > _LARGEST:
            return
        decoder = msgspec.json.Decoder(SessionDigest)
        with self._path.open("rb") as file:
            for line in file:
                with contextlib.suppress(msgspec.MsgspecError, UnicodeError, ValueError):
                    digest = decoder.decode(line)
                    self._known[digest.key] = digest
