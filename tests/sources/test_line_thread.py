"""Whatever ends the watch over a serial line is told, and the port is let go of."""

from __future__ import annotations

import pytest

from telltick.model.plan import PollPlan
from telltick.model.tap import TapPlan
from telltick.sources.line_thread import FAILED
from telltick.sources.listener import Listener
from telltick.sources.poller import Poller


class Port:
    """A port whose driver has a fault that nobody foresaw."""

    baudrate = 9600
    in_waiting = 1

    def __init__(self) -> None:
        self.closed = False

    def read(self, size: int = 1, /) -> bytes:
        raise ZeroDivisionError("a fault of the driver")

    def write(self, data: bytes, /) -> int:
        raise ZeroDivisionError("a fault of the driver")

    def close(self) -> None:
        self.closed = True


def _listener(port: Port, tell) -> Listener:
    plan = TapPlan(port="/dev/none")
    return Listener(plan, open_port=lambda _: port, clock_ns=lambda: 0, on_burst=print, on_trouble=tell)


def _poller(port: Port, tell) -> Poller:
    plan = PollPlan(port="/dev/none", frame_text="RF;", reply_terminator="3b")
    return Poller(
        plan,
        open_port=lambda _: port,
        clock_ns=lambda: 0,
        seed=1,
        on_burst=lambda _: None,
        on_poll=lambda _: None,
        on_trouble=tell,
    )


@pytest.mark.parametrize("make", [_listener, _poller])
def test_a_fault_that_nobody_foresaw_is_told_and_frees_the_port(make):
    port, told = Port(), []
    line = make(port, lambda kind, words: told.append((kind, words)))
    line.start()
    line._thread.join(timeout=10)
    ((kind, words),) = told
    assert kind == FAILED
    assert "a fault of the driver" in words
    assert port.closed
    line.stop()
