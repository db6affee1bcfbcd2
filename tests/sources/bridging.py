"""A bridge at work, what it tells, and bytes through the ends of a pseudo-terminal."""

from __future__ import annotations

import contextlib
import os
import queue
import select
import time

from telltick.model.tap import LineChange, TapPlan
from telltick.model.traffic import Burst, Direction
from telltick.sources.bridge import Bridge
from telltick.sources.program_end import ProgramEnd
from telltick.sources.serial_port import open_port
from tests.sources.far_end import PATIENCE_S


class Side:
    """What a bridge reports, each kind waited for with patience."""

    def __init__(self) -> None:
        self.bursts: queue.Queue[Burst] = queue.Queue()
        self.troubles: queue.Queue[tuple[str, str]] = queue.Queue()
        self.changes: queue.Queue[LineChange] = queue.Queue()

    def burst(self, direction: Direction) -> Burst:
        while (burst := self.bursts.get(timeout=PATIENCE_S)).direction is not direction:
            pass
        return burst

    def change(self) -> tuple[str, str]:
        change = self.changes.get(timeout=PATIENCE_S)
        return change.factor, change.value


def bridge_to(tap: TapPlan, end: ProgramEnd, told: Side) -> Bridge:
    """A bridge that is still to be started."""
    return Bridge(
        tap,
        end,
        open_port=open_port,
        clock_ns=time.monotonic_ns,
        on_burst=told.bursts.put,
        on_trouble=lambda kind, words: told.troubles.put((kind, words)),
        on_change=told.changes.put,
    )


def read(fd: int, count: int) -> bytes:
    got, deadline = bytearray(), time.monotonic() + 60
    while len(got) < count and time.monotonic() < deadline:
        if select.select([fd], [], [], 1.0)[0]:
            got += os.read(fd, 65_536)
    return bytes(got)


def write(fd: int, data: bytes) -> None:
    left = memoryview(data)
    while left:
        select.select([], [fd], [], 1.0)
        with contextlib.suppress(BlockingIOError):
            left = left[os.write(fd, left[:4096]) :]
