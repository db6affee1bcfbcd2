"""The passive tap over real pseudo-terminals, and its rule for telling polls apart."""

from __future__ import annotations

import queue
import time

import numpy as np
import pytest

from telltick.model.tap import TapPlan
from telltick.model.traffic import Direction
from telltick.sources import listener as listener_module
from telltick.sources.listener import Listener, SilenceRule
from telltick.sources.serial_port import open_port
from tests.sources.far_end import PATIENCE_S, FarEnd

MS = 1_000_000


class Hearing:
    """A listener on a far end's line."""

    def __init__(self, port: str) -> None:
        self.bursts: queue.Queue = queue.Queue()
        self.troubles: queue.Queue = queue.Queue()
        self.opened: queue.Queue = queue.Queue()
        self.listener = Listener(
            TapPlan(port=port),
            open_port=self._open,
            clock_ns=time.monotonic_ns,
            on_burst=self.bursts.put,
            on_trouble=lambda kind, words: self.troubles.put((kind, words)),
        )

    def _open(self, plan):
        port = open_port(plan)
        self.opened.put(True)
        return port

    def __enter__(self):
        self.listener.start()
        self.opened.get(timeout=PATIENCE_S)
        return self

    def __exit__(self, *_):
        self.listener.stop()


@pytest.fixture
def far():
    end = FarEnd()
    yield end
    end.hang_up()


def test_it_hears_every_byte_and_writes_none(far):
    with Hearing(far.path) as hearing:
        far.say(b"Q1;")
        burst = hearing.bursts.get(timeout=PATIENCE_S)
        assert (burst.direction, burst.data) == (Direction.RX, b"Q1;")
        assert far.hear(1, within_s=0.1) == b""


def test_what_is_heard_when_it_stops_is_told(far):
    with Hearing(far.path) as hearing:
        far.say(b"Q1;")
        assert hearing.bursts.get(timeout=PATIENCE_S).data == b"Q1;"
        far.say(b"42;")
    assert b"".join(b.data for b in hearing.bursts.queue) in (b"42;", b"")


def test_a_line_that_vanishes_and_comes_back_is_told_once_each(tmp_path, monkeypatch):
    monkeypatch.setattr(listener_module, "RETRY_S", 0.02)
    link = tmp_path / "radio"
    first, second = FarEnd(), FarEnd()
    link.symlink_to(first.path)
    with Hearing(str(link)) as hearing:
        first.hang_up()
        assert hearing.troubles.get(timeout=PATIENCE_S)[0] == "serial lost"
        link.unlink()
        link.symlink_to(second.path)
        assert hearing.troubles.get(timeout=PATIENCE_S)[0] == "serial back"
        second.say(b"Q1;")
        assert hearing.bursts.get(timeout=PATIENCE_S).data == b"Q1;"
    assert hearing.troubles.empty()
    second.hang_up()


@pytest.mark.parametrize(("turnaround_ms", "pause_ms"), [(4, 170), (20, 60), (40, 460), (60, 900), (8, 30)])
def test_requests_go_with_their_replies_at_any_pace(turnaround_ms, pause_ms):
    draw = np.random.default_rng(4)
    rule = SilenceRule()
    parted = []
    for turn in range(200):
        length_ms = pause_ms if turn % 2 else turnaround_ms
        parted.append(rule.parts(round(length_ms * draw.uniform(0.85, 1.15) * MS)))
    learnt = parted[20:]
    assert learnt == [bool(turn % 2) for turn in range(20, 200)]


def test_where_only_requests_are_heard_each_is_a_poll():
    draw = np.random.default_rng(5)
    rule = SilenceRule()
    parted = [rule.parts(round(draw.uniform(180, 220) * MS)) for _ in range(100)]
    assert all(parted)


def test_one_long_pause_does_not_spoil_the_rule():
    rule = SilenceRule()
    for turn in range(60):
        rule.parts((170 if turn % 2 else 5) * MS)
    rule.parts(60_000 * MS)
    assert not rule.parts(5 * MS)
    assert rule.parts(170 * MS)
