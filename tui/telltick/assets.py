"""Where the files that ship with the program are: palettes and example sessions."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def shipped(folder: str) -> Path:
    """Return the folder of shipped data files.

    An installed wheel carries the folder inside the package; a source checkout has it at the top level.

    Args:
        folder: ``"themes"`` or ``"recordings"``.

    Raises:
        FileNotFoundError: neither place has it, so the installation is damaged.
    """
    for place in (_PACKAGE / folder, _PACKAGE.parent.parent / folder):
        if place.is_dir():
            return place
    raise FileNotFoundError(f"the shipped folder {folder!r} is missing; install telltick again")
