"""The operator's settings file."""

from __future__ import annotations

from pathlib import Path

from platformdirs import user_config_path

from telltick.model.errors import BadInputError
from telltick.model.plan import Settings
from telltick.store import toml

TEMPLATE = """\
# Settings of telltick. Every line is a comment: take the # away from those you want to change.

# Name of a palette, or a file with one.
# theme = "night"

# Draw with ASCII only; without this line the terminal decides.
# ascii = true

# Folder for new sessions.
# sessions = "~/sessions"

# Use the mouse; keys do everything it does.
# mouse = false

# Keys of your own: action = "key". `?` in the program lists the actions that have keys.
[keys]
# mark = "x"
# antenna = "a"
"""


def settings_path() -> Path:
    """Where the settings file is by default; it need not exist."""
    return user_config_path("telltick", appauthor=False) / "settings.toml"


def load_settings(path: Path | None = None) -> Settings:
    """Read the settings.

    Args:
        path: the file; None reads the default one, and takes the shipped settings where there is none.

    Raises:
        BadInputError: the file, a key or a value cannot be used; the message names it.
    """
    if path is None:
        path = settings_path()
        if not path.exists():
            return Settings()
    return toml.load(path, Settings, "settings file")


def place_of_setting(path: Path | None, key: str) -> str | None:
    """``FILE, line 7`` for a dotted key of the settings file; None for one that does not stand in it."""
    path = settings_path() if path is None else path
    place = toml.place_of(path, key) if path.exists() else str(path)
    return None if place == str(path) else place


def write_settings(path: Path | None = None) -> Path:
    """Write a settings file in which everything is a comment; one that is there stays.

    Raises:
        BadInputError: there is one already, or the place cannot be written.
    """
    path = settings_path() if path is None else path
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8") as file:
            file.write(TEMPLATE)
    except FileExistsError as why:
        raise BadInputError(f"{path} is there already; it was left as it is") from why
    except OSError as why:
        raise BadInputError(f"{path}: it cannot be written there ({why.strerror or why})") from why
    return path
