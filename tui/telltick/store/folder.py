"""Session folders: where they go, what they are called, and whether a folder is one."""

from __future__ import annotations

import contextlib
import os
import re
import tempfile
import unicodedata
from datetime import UTC, datetime
from itertools import count
from pathlib import Path

from platformdirs import user_data_path

from telltick.model.clock import NS
from telltick.model.errors import BadInputError, BadSessionError, SessionBusyError
from telltick.model.plan import Settings
from telltick.store.lock import LOCK_NAME, held, holder

JOURNAL_NAME = "journal.sqlite"
AUDIO_NAME = "audio"
LOG_NAME = "recorder.log"
BAG_NAME, BAG_PAYLOAD = "bagit.txt", "data"
PRIVATE = 0o700
_COMPANIONS = tuple(f"{JOURNAL_NAME}-{kind}" for kind in ("wal", "shm", "journal"))
_NAMES = (JOURNAL_NAME, *_COMPANIONS, AUDIO_NAME)


def sessions_folder(settings: Settings) -> Path:
    """Where new sessions go: the operator's choice, or the platform's place for a user's data."""
    if settings.sessions:
        return Path(settings.sessions).expanduser()
    return user_data_path("telltick", appauthor=False) / "sessions"


def new_session_folder(base: Path, name: str, wall_ns: int) -> Path:
    """Make a new folder such as ``2026-05-02T1903Z-larkfell-hut`` that only its owner can enter.

    Args:
        base: folder that holds sessions; made when missing.
        name: the bench's name.
        wall_ns: wall-clock time (Unix epoch).

    Raises:
        BadInputError: it cannot be made there.
    """
    stamp = datetime.fromtimestamp(wall_ns // NS, UTC).strftime("%Y-%m-%dT%H%MZ")
    stem = f"{stamp}-{slug(name)}"
    try:
        base.mkdir(parents=True, exist_ok=True)
        for number in count(1):
            folder = base / (stem if number == 1 else f"{stem}-{number}")
            with contextlib.suppress(FileExistsError):
                folder.mkdir(mode=PRIVATE)
                return folder
    except OSError as why:
        raise _unwritable(base, why) from why
    raise AssertionError("count() never ends")


def slug(name: str) -> str:
    """Lower-case ASCII words of a name joined by hyphens; ``bench`` when none are left."""
    ascii_name = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    return "-".join(re.findall(r"[a-z0-9]+", ascii_name.lower()))[:40].strip("-") or "bench"


def prepare_folder(path: Path) -> Path:
    """Make `path` ready to record into: a new or empty folder that only its owner can enter.

    Raises:
        SessionBusyError: a recorder is at work in it.
        BadInputError: it holds something already, or cannot be written.
    """
    if held(path):
        raise SessionBusyError(f"{path} is being recorded by process {holder(path)}; choose another folder")
    if is_session(path):
        raise BadInputError(f"{path} already holds a session; choose a new folder")
    try:
        path.mkdir(mode=PRIVATE, parents=True, exist_ok=True)
        others = {entry.name for entry in path.iterdir()} - {LOG_NAME, LOCK_NAME}
        if others:
            raise BadInputError(f"{path} is not empty (it holds {min(others)}); choose a new folder")
        path.chmod(PRIVATE)
        with tempfile.TemporaryFile(dir=path):
            pass
    except OSError as why:
        raise _unwritable(path, why) from why
    return path


def is_session(path: Path) -> bool:
    """Whether a folder holds a journal."""
    return os.path.lexists(path / JOURNAL_NAME)


def check_session_folder(path: Path) -> Path:
    """Return `path` if it looks like a session.

    Raises:
        BadSessionError: it is missing, not a folder, or holds no journal of its own.
    """
    if not path.is_dir():
        if path.suffix == ".zip" and path.is_file():
            raise BadSessionError(f"{path} is an archive; unpack it, then give the folder")
        problem = "is a file" if path.exists() else "does not exist"
        raise BadSessionError(f"{path} {problem}; give the folder of a session")
    journal = path / JOURNAL_NAME
    if not os.path.lexists(journal):
        raise BadSessionError(f"{path} is not a session: it holds no {JOURNAL_NAME}")
    if not journal.is_file():
        raise BadSessionError(f"{path} is not a session: its {JOURNAL_NAME} is not a plain file")
    odd = next((name for name in _COMPANIONS if (path / name).exists() and not (path / name).is_file()), None)
    if odd is not None:
        raise BadSessionError(f"{path} is not a session: its {odd} is not a plain file")
    link = next((name for name in _NAMES if (path / name).is_symlink()), None)
    if link is not None:
        raise BadSessionError(f"{path} is not a session: its {link} is a link to somewhere else")
    return path


def session_within(path: Path) -> Path:
    """The session that a path leads to: itself, or the one in the payload of a bag (BagIt, RFC 8493).

    Raises:
        BadSessionError: it is a bag that does not hold exactly one session.
    """
    if is_session(path) or not (path / BAG_NAME).is_file():
        return path
    payload = path / BAG_PAYLOAD
    found = sorted(one for one in payload.iterdir() if is_session(one)) if payload.is_dir() else []
    if len(found) != 1:
        raise BadSessionError(
            f"{path} is a bag that holds {len(found)} sessions, not one; give a folder in it"
        )
    return found[0]


def is_bagged(path: Path) -> bool:
    """Whether a session lies in the payload of a bag, where every change breaks the bag's checksums."""
    above = path.absolute().parent
    return above.name == BAG_PAYLOAD and (above.parent / BAG_NAME).is_file()


def _unwritable(path: Path, why: OSError) -> BadInputError:
    return BadInputError(f"{path} cannot be written ({why.strerror or why}); choose another folder")
