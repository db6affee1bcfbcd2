"""The computer's clocks are set, slewed, or stand still while it sleeps; time is the test's."""

from __future__ import annotations

import threading
import time

import numpy as np
import pytest

from telltick.engine.clocks import Clocks, ClockWatch
from telltick.engine.inputs import Inputs
from telltick.engine.recorder import Recorder, record
from telltick.model.clock import NS
from telltick.model.session import GapKind, SessionFacts, Verb
from telltick.sources.audio import AudioBlock
from telltick.sources.serial_port import open_port
from telltick.store.journal import Journal
from telltick.store.session import SessionReader

RATE = 8_000
BLOCK = RATE // 50


class Machine:
    """A computer whose clocks are in the hands of a test."""

    def __init__(self) -> None:
        self.mono_ns, self.wall_ns, self.asleep_ns = 5_000 * NS, 1_777_748_580 * NS, 0

    @property
    def clocks(self) -> Clocks:
        return Clocks(lambda: self.mono_ns, lambda: self.wall_ns, lambda: self.asleep_ns)

    def run(self, seconds: float) -> None:
        self.mono_ns += round(seconds * NS)
        self.wall_ns += round(seconds * NS)

    def sleep(self, seconds: float) -> None:
        self.wall_ns += round(seconds * NS)
        self.asleep_ns += round(seconds * NS)


@pytest.fixture
def machine() -> Machine:
    return Machine()


def news_after(machine: Machine, watch: ClockWatch) -> tuple[float, float] | None:
    machine.run(1.0)
    news = watch.watch()
    return None if news is None else (news.slept_s, news.set_s)


def test_clocks_that_agree_are_no_news_even_when_a_time_server_slews_one(machine):
    watch = ClockWatch(machine.clocks)
    for _ in range(1000):
        machine.wall_ns += 500_000  # 500 ppm: the most that adjtime(3) slews (Linux, documented limit)
        assert news_after(machine, watch) is None


@pytest.mark.parametrize("by_s", [3600.0, -3600.0, 2.5])
def test_a_wall_clock_that_is_set_is_told_once(machine, by_s):
    watch = ClockWatch(machine.clocks)
    machine.wall_ns += round(by_s * NS)
    assert news_after(machine, watch) == (0.0, by_s)
    assert news_after(machine, watch) is None


def test_a_sleep_is_told_at_once_and_not_taken_for_a_clock_that_was_set(machine):
    watch = ClockWatch(machine.clocks)
    machine.sleep(300)
    news = watch.watch()  # no half second of running has passed yet
    assert (news.slept_s, news.set_s) == (300.0, 0.0)
    assert watch.watch() is None


def test_the_real_clocks_agree_with_each_other():
    watch = ClockWatch(Clocks())
    assert watch.watch() is None
    assert -NS < Clocks().asleep_ns() < 10**18  # two clocks are read one after the other
    assert abs(Clocks().mono_ns() - time.monotonic_ns()) < NS


class Played:
    """A sound input that plays what happens to the machine: a second, an event, a second."""

    name = "played"
    rate_hz = RATE
    over = False

    def __init__(self, machine: Machine, event) -> None:
        self._machine, self._event = machine, event
        self._turn = threading.Semaphore(0)
        self.left = 0

    def start(self, sink) -> None:
        threading.Thread(target=self._play, args=(sink,), daemon=True).start()

    def stop(self) -> None:
        pass

    def problem(self) -> None:
        self._turn.release()  # asked once each turn of the recorder

    def _play(self, sink) -> None:
        for part in range(2):
            for _ in range(50):
                self._machine.run(BLOCK / RATE)
                sink(AudioBlock(np.full(BLOCK, part + 1, dtype=np.int16), self._machine.mono_ns))
                self._wait_for_turns()
            if part == 0:
                self._event(self._machine)
        self.over = True

    def _wait_for_turns(self) -> None:
        while self._turn.acquire(blocking=False):
            pass
        for _ in range(2):  # one turn may have been under way when the block was handed over
            assert self._turn.acquire(timeout=20)


def recorded(folder, machine: Machine, event) -> SessionReader:
    source = Played(machine, event)
    facts = SessionFacts(name="t", started_wall_ns=machine.wall_ns, rate_hz=RATE, source="sound card")
    inputs = Inputs(source, None, open_port, zero_ns=machine.mono_ns, clocks=machine.clocks)
    assert record(Recorder(folder, facts, inputs)).how == "source ended"
    return SessionReader(folder)


def test_a_clock_set_by_an_hour_leaves_the_timeline_whole_and_is_told(tmp_path, machine):
    def set_back(machine: Machine) -> None:
        machine.wall_ns -= 3600 * NS

    with recorded(tmp_path, machine, set_back) as reader:
        assert reader.gaps == ()
        assert reader.audio.samples == 2 * RATE
        t_ns = [anchor.t_ns for anchor in reader.anchors]
        assert t_ns == sorted(t_ns)
        assert reader.end_ns == pytest.approx(2 * NS, abs=NS // 1000)
        (note,) = (note for note in reader.health if note.kind == "clock set")
        assert note.value == -3600.0
        # The wall anchors tell what the wall clock said; nothing else follows it.
        walls = [anchor.wall_ns for anchor in reader.anchors]
        assert walls[-1] < walls[0]


def test_a_sleep_is_a_gap_between_two_runs(tmp_path, machine):
    with recorded(tmp_path, machine, lambda machine: machine.sleep(300)) as reader:
        (gap,) = reader.gaps
        assert gap.kind is GapKind.PAUSED
        assert gap.note == "the computer slept for 300 s"
        assert gap.sample == RATE
        assert list(reader.audio.read(RATE - 1, 2)) == [1, 2]
        assert {anchor.run for anchor in reader.anchors} == {0, 1}
        assert [note.value for note in reader.health if note.kind == "sleep"] == [300.0]


def test_requests_still_work_after_a_clock_was_set(tmp_path, machine):
    def set_and_ask(machine: Machine) -> None:
        machine.wall_ns += 86_400 * NS
        with Journal.open(tmp_path) as journal:
            journal.add_request(0, Verb.START_POLLING)

    with recorded(tmp_path, machine, set_and_ask) as reader:
        assert [outcome.done for outcome in reader.outcomes] == [False]
