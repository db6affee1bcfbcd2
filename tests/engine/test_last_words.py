"""What a recorder says at the very end: troubles gathered, requests under way, entries without room."""

from __future__ import annotations

import itertools
import re
import sqlite3

import pytest

from telltick.engine.clocks import Clocks
from telltick.engine.errands import OVER
from telltick.engine.inputs import Inputs
from telltick.engine.recorder import Recorder, record
from telltick.model.clock import NS
from telltick.model.plan import PollPlan
from telltick.model.session import Verb
from telltick.store.journal import Journal
from telltick.store.session import SessionReader
from tests.engine.test_recorder import FACTS, ShortSource, recorder

SECONDS = 4.0  # less than troubles of one kind are gathered for
READ_NS = NS // 200


def test_entries_that_found_no_room_are_counted_in_the_ending(tmp_path, monkeypatch):
    """The ending takes a few bytes and may find room where the clock's anchors did not."""

    def full(_self, _anchor):
        raise sqlite3.OperationalError("database or disk is full")

    monkeypatch.setattr(Journal, "add_anchor", full)
    ending = record(recorder(tmp_path, ShortSource()))
    missing = re.fullmatch(
        r"the disk was full to the end: (\d+) entries of the journal are missing", ending.note
    )
    assert missing
    assert ending.how == "source ended"
    with SessionReader(tmp_path) as reader:
        assert reader.ending == ending
        assert (reader.anchors, reader.gaps) == ((), ())
        assert reader.audio.samples > 0
    # An anchor, the gap and the note that recording stopped: written together or not at all.
    assert int(missing[1]) == 3


def test_a_session_that_was_written_whole_ends_without_such_words(tmp_path):
    assert record(recorder(tmp_path, ShortSource())).note == ""


class GarbledPort:
    """A line on which bytes come that nobody asked for; each read takes 5 ms of session time."""

    baudrate, in_waiting = 9600, 1

    def __init__(self) -> None:
        self.now_ns = 0
        self._reads = itertools.count()

    def read(self, _size: int = 1) -> bytes:
        self.now_ns += READ_NS
        return b"\xff" if next(self._reads) % 20 == 0 else b""

    def write(self, data: bytes) -> int:
        return len(data)

    def close(self) -> None:
        pass


@pytest.fixture
def garbled():
    """Inputs with such a line, which is not polled, and a silent source of sound."""
    port = GarbledPort()
    plan = PollPlan(port="loop://", frame_text="RF;", reply_terminator="3b", enabled=False)
    clocks = Clocks(lambda: port.now_ns, lambda: port.now_ns, lambda: 0)
    return Inputs(ShortSource(0, ends=False), plan, lambda _plan: port, zero_ns=0, clocks=clocks)


def test_troubles_gathered_when_the_session_ends_are_told_and_none_is_lost(tmp_path, garbled):
    ending = record(Recorder(tmp_path, FACTS, garbled, seconds=SECONDS))
    assert ending.how == "time is up"
    with SessionReader(tmp_path) as reader:
        notes = [note for note in reader.health if note.kind == "serial garbage"]
        assert len(notes) < len(reader.bursts)  # else nothing was gathered
        assert sum(note.value for note in notes) == len(reader.bursts) > 10
        assert all(note.t_ns <= ending.t_ns + NS for note in notes)


def test_a_change_of_rate_that_the_port_has_not_answered_is_answered_as_not_done(tmp_path):
    """A request never stays open: who asked is told, whatever became of the recorder."""

    plan = PollPlan(port="loop://", frame_text="RF;", reply_terminator="3b", enabled=False)

    def refuse(_plan):  # the port never opens, so nobody answers
        raise OSError("not plugged in")

    inputs = Inputs(ShortSource(0, ends=False), plan, refuse)

    def ask() -> None:
        with Journal.open(tmp_path) as journal:
            journal.add_request(0, Verb.SET_BAUD, "4800")
            journal.add_request(0, Verb.FINISH)

    assert record(Recorder(tmp_path, FACTS, inputs, seconds=30.0, on_ready=ask)).how == "requested"
    with SessionReader(tmp_path) as reader:
        rate = next(outcome for outcome in reader.outcomes if outcome.request == 1)
        assert (rate.done, rate.note) == (False, OVER)
