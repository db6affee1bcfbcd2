"""The far end of a serial line: a pseudo-terminal that tests read and write by hand."""

from __future__ import annotations

import os
import queue
import select
import time
import tty
from dataclasses import dataclass, field

from telltick.model.plan import PollPlan
from telltick.model.traffic import Burst, Direction, Poll
from telltick.model.trial import TrialSlot
from telltick.sources.poller import Poller

PATIENCE_S = 10.0


class FarEnd:
    """A pty; the near end's name is `path`."""

    def __init__(self) -> None:
        self.fd, self._near = os.openpty()
        tty.setraw(self._near)
        self.path = os.ttyname(self._near)

    def hear(self, count: int, within_s: float = PATIENCE_S) -> bytes:
        """Exactly `count` bytes, or what came in time."""
        got, deadline = b"", time.monotonic() + within_s
        while len(got) < count and (left := deadline - time.monotonic()) > 0:
            if select.select([self.fd], [], [], left)[0]:
                got += os.read(self.fd, count - len(got))
        return got

    def say(self, data: bytes) -> None:
        os.write(self.fd, data)

    def hang_up(self) -> None:
        for fd in (self.fd, self._near):
            if fd >= 0:
                os.close(fd)
        self.fd = self._near = -1


@dataclass
class Heard:
    """What a poller reports, each kind waited for with patience."""

    bursts: queue.Queue[Burst] = field(default_factory=queue.Queue)
    polls: queue.Queue[Poll] = field(default_factory=queue.Queue)
    troubles: queue.Queue[tuple[str, str]] = field(default_factory=queue.Queue)
    draws: queue.Queue[TrialSlot] = field(default_factory=queue.Queue)

    def burst(self, direction: Direction | None = None) -> Burst:
        while True:
            burst = self.bursts.get(timeout=PATIENCE_S)
            if direction in (None, burst.direction):
                return burst

    def poll(self) -> Poll:
        return self.polls.get(timeout=PATIENCE_S)

    def draw(self) -> TrialSlot:
        return self.draws.get(timeout=PATIENCE_S)

    def trouble(self) -> tuple[str, str]:
        return self.troubles.get(timeout=PATIENCE_S)


def poller_for(plan: PollPlan, heard: Heard, open_port, **options) -> Poller:
    return Poller(
        plan,
        open_port=open_port,
        clock_ns=time.monotonic_ns,
        seed=1,
        on_burst=heard.bursts.put,
        on_poll=heard.polls.put,
        on_trouble=lambda kind, words: heard.troubles.put((kind, words)),
        on_draw=heard.draws.put,
        **options,
    )
