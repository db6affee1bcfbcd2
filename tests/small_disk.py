"""A disk that is soon full."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest


@contextmanager
def small_disk_at(place: Path, megabytes: int) -> Iterator[Path]:
    """A mounted disk of some megabytes; without the right to mount the test is skipped."""
    place.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", f"size={megabytes}m", "telltick-test", str(place)]
    try:
        mounted = subprocess.run(command, capture_output=True, check=False).returncode == 0
    except FileNotFoundError:
        mounted = False
    if not mounted:
        pytest.skip("a small disk cannot be mounted here")
    try:
        yield place
    finally:
        subprocess.run(["umount", "--lazy", str(place)], check=True)
