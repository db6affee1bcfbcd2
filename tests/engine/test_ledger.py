"""A journal that others keep locked, or that a full disk refuses: nothing is lost and nobody waits."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable

import numpy as np
import pytest

from telltick.engine import ledger as ledger_module
from telltick.engine.inputs import Inputs
from telltick.engine.ledger import Ledger
from telltick.engine.recorder import Recorder, record
from telltick.model.clock import NS
from telltick.model.errors import JournalLockedError, StorageError
from telltick.model.session import Gap, GapKind, HealthNote, Verb
from telltick.model.traffic import Burst, Direction
from telltick.sources.audio import AudioBlock
from telltick.sources.serial_port import open_port
from telltick.store.journal import Journal
from telltick.store.session import SessionReader
from tests.engine.test_recorder import FACTS, RATE


class Lock:
    """Another program that keeps the journal to itself."""

    def __init__(self, folder) -> None:
        self._db = sqlite3.connect(folder / "journal.sqlite", isolation_level=None)
        self._db.execute("BEGIN IMMEDIATE")

    def release(self, verb: Verb | None = None) -> None:
        """Let go, having written a request or nothing."""
        if verb is not None:
            self._db.execute("INSERT INTO request (t_ns, verb, value) VALUES (0, ?, '')", (str(verb),))
        self._db.execute("COMMIT")
        self._db.close()


class Scene:
    """A ledger; time is the test's."""

    def __init__(self, folder) -> None:
        self.folder = folder
        self.now_s = 0.0
        self.journal = Journal.create(folder, FACTS)
        self.ledger = Ledger(self.journal, lambda: round(self.now_s * NS))

    def settle_after(self, seconds: float) -> None:
        self.now_s += seconds
        self.ledger.settle()

    def read(self) -> SessionReader:
        return SessionReader(self.folder)


@pytest.fixture
def scene(tmp_path, monkeypatch):
    monkeypatch.setattr(ledger_module, "BRIEF_S", 0.0)
    monkeypatch.setattr(ledger_module, "BUSY_S", 0.0)
    one = Scene(tmp_path)
    yield one
    one.journal.close()


def burst(number: int) -> Burst:
    return Burst(number * NS, number * NS + 1, Direction.TX, b"%d" % number, number)


def test_what_a_locked_journal_refuses_is_written_in_order_once_it_is_free(scene):
    lock = Lock(scene.folder)
    gap = scene.ledger.open_gap(Gap(GapKind.STALLED, 5, NS, None, "lost"))
    for number in range(10):
        scene.ledger.add_bursts([burst(number)])
        scene.settle_after(1)
    scene.ledger.close_gap(gap, 5, 2 * NS)
    with scene.read() as reader:
        assert reader.bursts == ()
    lock.release()
    scene.settle_after(1)
    scene.settle_after(0)
    with scene.read() as reader:
        assert reader.bursts == tuple(burst(number) for number in range(10))
        assert reader.gaps == (Gap(GapKind.STALLED, 5, NS, 2 * NS, "lost"),)
        (note,) = reader.health
        assert (note.kind, note.value) == ("journal locked", pytest.approx(10, abs=0.01))


def test_a_lock_of_a_moment_is_not_worth_words(scene):
    lock = Lock(scene.folder)
    scene.ledger.add_bursts([burst(1)])
    scene.settle_after(0.1)
    lock.release()
    scene.settle_after(1)
    scene.settle_after(1)
    with scene.read() as reader:
        assert (reader.bursts, reader.health) == ((burst(1),), ())


def test_a_lock_that_lasts_is_told_once_while_it_lasts(scene, caplog):
    lock = Lock(scene.folder)
    scene.ledger.add_bursts([burst(1)])
    for _ in range(20):
        scene.settle_after(1)
    lock.release()
    assert [record.message.split(":")[0] for record in caplog.records] == [
        "another program keeps the journal locked"
    ]


def test_a_full_disk_keeps_what_it_refused_for_when_there_is_room(scene, monkeypatch):
    taken = scene.journal.add_health

    def full(_note):
        raise sqlite3.OperationalError("database or disk is full")

    monkeypatch.setattr(scene.journal, "add_health", full)
    scene.ledger.add_bursts([burst(1), burst(2)])
    scene.ledger.add_health(HealthNote(0, "clipping", 3.0))
    with pytest.raises(StorageError, match="disk is full"):
        scene.settle_after(0)
    with scene.read() as reader:
        assert reader.bursts == ()
    monkeypatch.setattr(scene.journal, "add_health", taken)
    scene.settle_after(1)
    with scene.read() as reader:
        assert reader.bursts == (burst(1), burst(2))
        assert [note.kind for note in reader.health] == ["clipping"]


def test_at_the_end_a_lock_that_never_goes_is_an_error_and_not_silence(scene):
    lock = Lock(scene.folder)
    scene.ledger.add_bursts([burst(1)])
    with pytest.raises(JournalLockedError, match="close it"):
        scene.ledger.settle_at_last()
    lock.release()
    scene.ledger.settle_at_last()
    with scene.read() as reader:
        assert reader.bursts == (burst(1),)


class Blocks:
    """Delivers a block each time the test says so."""

    name, rate_hz, over = "blocks", RATE, False

    def start(self, sink: Callable[[AudioBlock], None]) -> None:
        self._sink = sink

    def play(self) -> None:
        self._sink(AudioBlock(np.zeros(RATE // 50, dtype=np.int16), time.monotonic_ns()))

    def stop(self) -> None:
        pass

    def problem(self) -> str | None:
        return None


def test_a_recording_goes_on_writing_audio_while_another_program_keeps_the_journal_locked(tmp_path):
    source = Blocks()

    class Turns:
        """Asked once each turn: locks the journal, sees audio grow all the same, lets go, ends."""

        turn, lock, grown = 0, None, 0

        @property
        def how(self) -> str:
            self.turn += 1
            source.play()
            match self.turn:
                case 5:
                    with Journal.open(tmp_path) as journal:
                        journal.add_request(0, Verb.RESUME)
                    self.lock = Lock(tmp_path)
                    self.before = self.samples()
                case 60:
                    self.grown = self.samples() - self.before
                    self.lock.release(Verb.RESUME)
            return "signal" if self.turn >= 62 else ""

        def samples(self) -> int:
            with SessionReader(tmp_path) as reader:
                return reader.audio.samples

    turns = Turns()
    ending = record(Recorder(tmp_path, FACTS, Inputs(source, None, open_port), stop=turns))
    assert ending.how == "signal"
    assert turns.grown == 55 * RATE // 50
    with SessionReader(tmp_path) as reader:
        assert reader.ending == ending
        assert [outcome.request for outcome in reader.outcomes] == [1, 2]
        assert reader.audio.samples == turns.turn * RATE // 50
        assert {anchor.run for anchor in reader.anchors} == {0}
