"""The operator's settings file."""

from __future__ import annotations

from pathlib import Path

from platformdirs import user_config_path

from telltick.model.plan import Settings
from telltick.store import toml


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
