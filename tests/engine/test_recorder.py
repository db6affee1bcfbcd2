"""The recorder in this process, with inputs that end, refuse or break; time passes as it does."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

import numpy as np
import pytest

from telltick.engine.inputs import Inputs
from telltick.engine.recorder import Recorder, StopSignal, record
from telltick.model.errors import DeviceError, SessionBusyError, StorageError
from telltick.model.plan import PollPlan
from telltick.model.session import SessionFacts, Verb
from telltick.model.trial import drawn_slot
from telltick.sources.audio import AudioBlock
from telltick.sources.serial_port import open_port
from telltick.store.journal import Journal
from telltick.store.lock import hold
from telltick.store.segments import AudioWriter
from telltick.store.session import SessionReader

RATE = 8_000
FACTS = SessionFacts(name="t", started_wall_ns=0, rate_hz=RATE, source="sound card")


class ShortSource:
    """Delivers its blocks at once, and then is over or silent."""

    name = "short"
    rate_hz = RATE

    def __init__(self, blocks: int = 5, *, ends: bool = True, refuses: bool = False) -> None:
        self.blocks, self.ends, self.refuses = blocks, ends, refuses
        self.over = False
        self.stopped = False

    def start(self, sink: Callable[[AudioBlock], None]) -> None:
        if self.refuses:
            raise DeviceError('the sound input "short" could not be opened: it is taken')
        for number in range(self.blocks):
            sink(AudioBlock(np.full(RATE // 50, number, dtype=np.int16), time.monotonic_ns()))
        self.over = self.ends

    def stop(self) -> None:
        self.stopped = True

    def problem(self) -> str | None:
        return None


def recorder(folder, source: ShortSource, **more) -> Recorder:
    return Recorder(folder, FACTS, Inputs(source, None, open_port), **more)


def test_a_source_that_is_over_ends_the_session_with_all_it_gave(tmp_path):
    source = ShortSource()
    ending = record(recorder(tmp_path, source))
    assert ending.how == "source ended"
    assert source.stopped
    with SessionReader(tmp_path) as reader:
        assert reader.ending == ending
        assert reader.audio.samples == 5 * RATE // 50


@pytest.mark.parametrize("made", [True, False])
def test_an_input_that_cannot_be_started_leaves_no_session(tmp_path, made):
    folder = tmp_path / "s"
    folder.mkdir()
    with pytest.raises(DeviceError, match="it is taken"):
        record(recorder(folder, ShortSource(refuses=True), folder_made=made))
    assert folder.exists() is not made
    if not made:
        assert list(folder.iterdir()) == []


def test_a_session_in_other_hands_is_left_alone(tmp_path):
    with hold(tmp_path), pytest.raises(SessionBusyError):
        record(recorder(tmp_path, ShortSource()))
    assert not (tmp_path / "journal.sqlite").exists()


def test_a_signal_before_the_first_block_still_ends_it_cleanly(tmp_path):
    stop = StopSignal()
    stop.set("signal")
    stop.set("requested")  # the first reason stays
    assert record(recorder(tmp_path, ShortSource(0, ends=False), stop=stop)).how == "signal"


@pytest.mark.parametrize(
    "fault",
    [StorageError("audio cannot be written: free some space"), ZeroDivisionError("a fault of our own")],
)
def test_whatever_fails_is_journalled_as_the_end(tmp_path, monkeypatch, fault):
    def fail(_self, _samples):
        raise fault

    monkeypatch.setattr(AudioWriter, "write", fail)
    with pytest.raises(type(fault)):
        record(recorder(tmp_path, ShortSource(ends=False)))
    with SessionReader(tmp_path) as reader:
        assert reader.ending.how == "failed"
        assert reader.ending.note == str(fault)


def test_a_coin_trial_is_started_and_stopped_on_request_and_its_draws_are_journalled(tmp_path):
    plan = PollPlan(port="loop://", frame_text="RF;", interval_s=0.05, reply_terminator="3b")
    inputs = Inputs(ShortSource(ends=False), plan, open_port)

    def ask() -> None:
        with Journal.open(tmp_path) as journal:
            journal.add_request(0, Verb.START_TRIAL)

    def go_on() -> None:
        with SessionReader(tmp_path) as reader, Journal.open(tmp_path) as journal:
            while len(reader.trial_slots) < 5 and not reader.ending:
                time.sleep(0.01)
                reader.refresh()
            for verb in (Verb.START_TRIAL, Verb.STOP_TRIAL, Verb.STOP_TRIAL, Verb.FINISH):
                journal.add_request(0, verb)

    viewer = threading.Thread(target=go_on)

    def ready() -> None:
        ask()
        viewer.start()

    ending = record(Recorder(tmp_path, FACTS, inputs, seconds=30.0, on_ready=ready))
    viewer.join()
    assert ending.how == "requested"
    with SessionReader(tmp_path) as reader:
        assert [outcome.done for outcome in reader.outcomes] == [True, False, True, False, True]
        assert "slots of" in reader.outcomes[0].note
        assert [(mark.factor, mark.value) for mark in reader.marks] == [
            ("coin trial", "on"),
            ("coin trial", "off"),
        ]
        drawn = reader.trial_slots
        assert len(drawn) >= 5
        seed = reader.facts.seed
        assert all(one.slot == drawn_slot(seed, one.leg, one.cycle, one.slots) for one in drawn)
        assert {one.poll for one in drawn} <= {poll.number for poll in reader.polls}


def test_polling_cannot_be_asked_of_a_session_without_a_plan(tmp_path):
    def ask() -> None:
        with Journal.open(tmp_path) as journal:
            journal.add_request(0, Verb.START_POLLING)
            journal.add_request(0, Verb.FINISH)

    ending = record(recorder(tmp_path, ShortSource(ends=False), on_ready=ask, seconds=30.0))
    assert ending.how == "requested"
    with SessionReader(tmp_path) as reader:
        assert [outcome.done for outcome in reader.outcomes] == [False, True]
        assert "no poll plan" in reader.outcomes[0].note
        assert reader.marks == ()
