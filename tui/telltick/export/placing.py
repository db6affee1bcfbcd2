"""Where exports go: never half a file, never over something that nobody named."""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
from collections.abc import Iterator
from pathlib import Path

from telltick.model.errors import BadInputError, StorageError


def refuse_what_is_there(path: Path) -> None:
    """Refuse a place that holds something already.

    Raises:
        BadInputError: it does.
    """
    if os.path.lexists(path):
        raise BadInputError(f"{path} exists; name a place with -o to write there")


@contextlib.contextmanager
def new_file(path: Path) -> Iterator[Path]:
    """A draft beside `path` to write to; it takes the place of `path` at the end, or vanishes after an error.

    Raises:
        BadInputError: the place cannot be written.
        StorageError: the disk is full.
    """
    draft = _draft(path.absolute())
    with place_explained(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            yield draft
            draft.replace(path)
        except BaseException:
            draft.unlink(missing_ok=True)
            raise


@contextlib.contextmanager
def new_folder(path: Path) -> Iterator[Path]:
    """The same for a folder that must not exist yet, or be empty.

    Raises:
        BadInputError: it holds something, or the place cannot be written.
        StorageError: the disk is full.
    """
    draft = _draft(path.absolute())
    with place_explained(path):
        if path.is_dir() and any(path.iterdir()):
            raise BadInputError(f"{path} is not empty; name a new folder with -o")
        path.parent.mkdir(parents=True, exist_ok=True)
        draft.mkdir(mode=0o700)
        try:
            yield draft
            draft.replace(path)
        except BaseException:
            shutil.rmtree(draft, ignore_errors=True)
            raise


def _draft(path: Path) -> Path:
    return path.with_name(f".{path.name}.{os.getpid()}")


@contextlib.contextmanager
def place_explained(path: Path) -> Iterator[None]:
    """Turn the system's complaints about a place into a sentence."""
    try:
        yield
    except OSError as why:
        if why.errno == errno.ENOSPC:
            raise StorageError(f"the disk is full: free some space for {path}") from why
        raise BadInputError(
            f"{path} cannot be written ({why.strerror or why}); choose another place with -o"
        ) from why
