"""For every test: random draws repeat, and a busy machine fails nothing."""

from __future__ import annotations

import os

import pytest
from hypothesis import settings

settings.register_profile("telltick", derandomize=True, deadline=None, database=None)
settings.load_profile("telltick")


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """One worker more than cores: tests with real terminals, sound and recorders spend half their time waiting."""
    return (os.cpu_count() or 1) + 1
