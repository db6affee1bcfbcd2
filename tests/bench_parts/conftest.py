"""Fixtures for tests with real sound, ports and processes; without the parts they skip and say so."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.bench_parts.sound_server import SoundServer, missing_part


@pytest.fixture(scope="session")
def sound_parts() -> None:
    """Skips where no private sound server can run."""
    missing = missing_part()
    if missing is not None:
        pytest.skip(f"no private sound server on this machine: it lacks {missing}")


@pytest.fixture
def sound_server(sound_parts: None, tmp_path: Path) -> Iterator[SoundServer]:
    """A private sound server with the inputs ``rxpipe`` and ``rx``."""
    with SoundServer(tmp_path) as server:
        yield server
