"""For every test: random draws repeat, a busy machine fails nothing, real parts never hurry each other."""

from __future__ import annotations

import os

import pytest
from hypothesis import settings
from xdist.scheduler import LoadScopeScheduling

settings.register_profile("telltick", derandomize=True, deadline=None, database=None)
settings.load_profile("telltick")

REAL_PARTS = ("tests/bench_parts/", "tests/ui/test_real_terminal.py")


class RealPartsInTurn(LoadScopeScheduling):  # type: ignore[misc]
    """Hands out whole files; those with real terminals, sound and recorders are one parcel, the first."""

    def _split_scope(self, nodeid: str) -> str:
        path = nodeid.partition("::")[0]
        return "real parts" if path.startswith(REAL_PARTS) else path


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """A worker more than cores: the one with the real parts spends its time waiting."""
    return (os.cpu_count() or 1) + 1


def pytest_xdist_make_scheduler(config: pytest.Config, log: object) -> RealPartsInTurn | None:
    """Parcels of our own in the order of collection, the real parts first; any other ``--dist`` is kept."""
    if config.getvalue("dist") != "load":
        return None
    config.option.loadscopereorder = False
    return RealPartsInTurn(config, log)
