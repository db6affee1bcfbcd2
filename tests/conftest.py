"""For every test: random draws repeat, and a busy machine fails nothing."""

from __future__ import annotations

import os

import pytest
from hypothesis import settings

settings.register_profile("telltick", derandomize=True, deadline=None, database=None)
settings.load_profile("telltick")


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """A worker more than cores: the one with real terminals, sound and recorders spends its time waiting."""
    return (os.cpu_count() or 1) + 1


@pytest.hookimpl(tryfirst=True)  # before the plugin that reads the groups
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Real parts go one after the other, so that they never hurry each other; all else goes file by file."""
    for item in items:
        real = item.get_closest_marker("bench_part") is not None
        item.add_marker(pytest.mark.xdist_group("real parts" if real else item.nodeid.partition("::")[0]))
