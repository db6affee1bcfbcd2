"""What this program runs on: versions and the machine, for the record and for ``telltick check``."""

from __future__ import annotations

import platform
from importlib import metadata

LIBRARIES = ("textual", "numpy", "scipy", "sounddevice", "soundfile", "pyserial")


def library_versions() -> dict[str, str]:
    """Version of Python and of each library the evidence depends on."""
    found = {"python": platform.python_version()}
    for name in LIBRARIES:
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            found[name] = "missing"
    return found


def host() -> str:
    """The machine's kind; not its name, and nothing about its owner."""
    return f"{platform.system()} {platform.machine()}"
