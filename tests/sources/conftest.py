"""What tests of a bridge begin with: a radio, what the bridge tells, bridges that are stopped in the end."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest

from telltick.model.tap import TapPlan
from telltick.sources.program_end import ProgramEnd
from tests.sources.bridging import Side, bridge_to
from tests.sources.far_end import FarEnd


@pytest.fixture
def radio() -> Iterator[FarEnd]:
    end = FarEnd()
    yield end
    end.hang_up()


@pytest.fixture
def told() -> Side:
    return Side()


@pytest.fixture
def start_bridge(told: Side) -> Iterator[Callable[[TapPlan, ProgramEnd], None]]:
    """Starts bridges and stops them afterwards."""
    started = []

    def start(tap: TapPlan, end: ProgramEnd) -> None:
        started.append(bridge_to(tap, end, told))
        started[-1].start()

    yield start
    for bridge in started:
        bridge.stop()
