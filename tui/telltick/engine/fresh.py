"""New session folders that vanish again when what was to be written into them fails at the start."""

from __future__ import annotations

import contextlib
import shutil
from collections.abc import Iterator
from pathlib import Path

from telltick.store.folder import AUDIO_NAME, JOURNAL_NAME, prepare_folder
from telltick.store.lock import LOCK_NAME


@contextlib.contextmanager
def fresh_folder(path: Path) -> Iterator[Path]:
    """A new or empty folder at `path`; when the body fails, what it wrote there is removed.

    Raises:
        BadInputError: it holds something, or cannot be written.
    """
    was_there = path.exists()
    prepare_folder(path)
    try:
        yield path
    except BaseException:
        clear(path, remove=not was_there)
        raise


def clear(folder: Path, *, remove: bool) -> None:
    """Take away a session that never came to be; files of other names stay.

    Args:
        folder: where it was begun.
        remove: take the folder away too, if nothing else is in it.
    """
    shutil.rmtree(folder / AUDIO_NAME, ignore_errors=True)
    journal = (f"{JOURNAL_NAME}{end}" for end in ("", "-wal", "-shm", "-journal", ".new"))
    for name in (*journal, LOCK_NAME):
        with contextlib.suppress(OSError):
            (folder / name).unlink()
    if remove:
        with contextlib.suppress(OSError):
            folder.rmdir()
