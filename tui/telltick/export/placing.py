"""Where exports go: never half a file, never over something that nobody gave up."""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
from collections.abc import Iterator
from pathlib import Path

from telltick.model.errors import BadInputError, StorageError


def check_file_place(path: Path, *, overwrite: bool = False) -> None:
    """Refuse a place for a file before any work is done for it.

    Args:
        path: the file to write.
        overwrite: a file there may be replaced.

    Raises:
        BadInputError: it is a folder, its folder is missing, or a file is there that may not be replaced.
    """
    if path.is_dir():
        raise BadInputError(f"{path} is a folder; name a file with -o")
    _check_parent(path)
    if os.path.lexists(path) and not overwrite:
        raise BadInputError(f"{path} exists; name another place with -o, or replace it with --overwrite")


def check_folder_place(path: Path) -> None:
    """Refuse a place for a new folder before any work is done for it; one that is empty will do.

    Raises:
        BadInputError: it holds something, or the folder around it is missing.
    """
    with place_explained(path):
        if path.is_dir() and any(path.iterdir()):
            raise BadInputError(f"{path} is not empty; name a new folder with -o")
    _check_parent(path)


def _check_parent(path: Path) -> None:
    """Refuse a place whose folder is missing: it may well be a slip of the pen."""
    if not path.absolute().parent.is_dir():
        raise BadInputError(
            f"{path} cannot be written: there is no folder {path.parent}; "
            "make it, or choose another place with -o"
        )


@contextlib.contextmanager
def new_file(path: Path, *, overwrite: bool = False) -> Iterator[Path]:
    """A draft beside `path` to write to; it takes the place of `path` at the end, or vanishes after an error.

    Args:
        path: the file to write; the folder around it must be there.
        overwrite: a file there may be replaced.

    Raises:
        BadInputError: the place cannot be written, or holds a file that may not be replaced.
        StorageError: the disk is full.
    """
    check_file_place(path, overwrite=overwrite)
    draft = _draft(path.absolute())
    with place_explained(path):
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
    check_folder_place(path)
    draft = _draft(path.absolute())
    with place_explained(path):
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
